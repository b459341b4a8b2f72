"""The annunciator: takes conditions through their delays and alerts through their states.

Every state an alert enters is journalled. A delay ends on a tick, or at once where it is
zero. When a prompt's work is done (the piece was wrapped) the prompt counts as acknowledged
by whoever did it.
"""

from __future__ import annotations

from collections.abc import Callable

from pitlogger.model.alerts import ANNUNCIATED, TAKEN_BACK, AlertState, alert_class
from pitlogger.model.journal import AlertActed, AlertChanged
from pitlogger.rules.conditions import Limit, Watch, judge
from pitlogger.rules.machine import AlertEvent, transition
from pitlogger.rules.messages import Units, condition_message, limit_message
from pitlogger.rules.policies import AlertRule, RulePolicy

Timer = Callable[[int, str, str], None]  # due_ms, what, key
Record = Callable[[int, AlertChanged, str], object]  # t_ms, body, by

NOT_YET = "not yet"
AGAIN_AFTER_MS = 30 * 60_000  # common practice, no source: look again after half an hour
AGAIN_ABOVE_MC = 1_111  # or 2 F more
_HAND_EVENTS = {
    "acknowledge": AlertEvent.ACKNOWLEDGED,
    "unacknowledge": AlertEvent.UNACKNOWLEDGED,
    "reset": AlertEvent.RESET,
    "shelve": AlertEvent.SHELVED,
}


class Annunciator:
    """Owns the watches; hands its timers and its journal entries to whoever made it."""

    def __init__(
        self,
        watches: dict[str, Watch],
        policy: RulePolicy,
        units: Units,
        timer: Timer,
        record: Record,
        answers: Callable[[Limit], bool],
    ) -> None:
        """Take what an engine gives.

        Args:
            answers: Whether what a limit is judged on gives values, be it with short breaks.
        """
        self._answers = answers
        self.watches = watches
        self.policy = policy
        self.units = units
        self._timer = timer
        self._record = record
        self._limits: dict[str, Limit] = {}

    # -- which limits there are -----------------------------------------------------------

    def set_limits(self, limits: list[Limit], t_ms: int, by: str) -> None:
        """Watch these limits from now on; what no longer applies is settled."""
        wanted = {limit.key: limit for limit in limits}
        dropped = self._limits.keys() - wanted.keys()
        for limit in limits:
            self.watch(limit.key, limit.rule.kind, piece=limit.piece, channel=limit.channel)
            previous = self._limits.get(limit.key)
            if previous is not None and previous.limit != limit.limit:
                self.watches[limit.key].pending_ms = None  # the delay was for another limit
        self._limits = wanted
        for key in sorted(dropped & self.watches.keys()):
            self._retire(self.watches[key], t_ms, by)

    def watch(
        self, key: str, kind: str, piece: str | None = None, channel: str | None = None
    ) -> Watch:
        """Return the watch of an alert, made if it is new."""
        watch = self.watches.get(key)
        if watch is None:
            rule = self.policy.rules[kind]
            watch = self.watches[key] = Watch(
                key, kind, piece, channel, priority=rule.priority, wakes=rule.wakes
            )
        watch.channel = channel or watch.channel
        return watch

    def _retire(self, watch: Watch, t_ms: int, by: str) -> None:
        """Settle an alert that no longer applies in the stage its piece is in."""
        watch.pending_ms = watch.clearing_ms = None
        rule = self.policy.rules[watch.kind]
        if alert_class(watch.kind) == "prompt":
            self._happen(watch, AlertEvent.ACKNOWLEDGED, t_ms, by)
        if watch.holds:
            self._clear(watch, rule, t_ms, by)

    # -- conditions ---------------------------------------------------------------------

    def judge(self, limit: Limit, t_ms: int, value: int, level: float) -> None:
        """Take a value for a limit through its delays."""
        watch = self.watches[limit.key]
        watch.value = value
        if watch.again_ms is not None:
            self.ask_again(limit.key, t_ms)
        due_ms = judge(limit, watch, t_ms, value, level)
        if due_ms is not None:
            self._after(due_ms, watch, limit.rule, t_ms)

    def condition(
        self, key: str, t_ms: int, true: bool, message: str = "", remedy: str = ""
    ) -> None:
        """Take a condition that is simply true or false through its delays.

        ``message`` and ``remedy`` say what is known of it beyond what its rule says.
        """
        watch = self.watches[key]
        rule = self.policy.rules[watch.kind]
        if true and watch.settled:
            return
        if true:
            watch.detail, watch.detail_remedy = message, remedy
        if true == watch.holds:
            watch.pending_ms = watch.clearing_ms = None
        elif true and watch.pending_ms is None:
            watch.pending_ms = t_ms
            self._after(t_ms + rule.on_delay_ms, watch, rule, t_ms)
        elif not true and watch.clearing_ms is None:
            watch.clearing_ms = t_ms
            self._after(t_ms + rule.off_delay_ms, watch, rule, t_ms)

    def tell(
        self, kind: str, subject: str, t_ms: int, true: bool, message: str = "", remedy: str = "",
        piece: str | None = None, channel: str | None = None,
    ) -> None:  # fmt: skip
        """Take a condition to its watch; a watch is made only once it is true."""
        key = f"{kind}/{subject}"
        if not true and key not in self.watches:
            return
        self.watch(key, kind, piece=piece, channel=channel)
        self.condition(key, t_ms, true, message, remedy)

    def ask_anew(self, key: str) -> None:
        """Let a prompt that was answered for good be raised again: it is about something else."""
        if key in self.watches:
            self.watches[key].settled = False

    def freeze(self, limits: list[Limit]) -> None:
        """Stop running delays that hang on a channel which is not believed.

        A limit of the coldest core is left alone: one bad probe never keeps it from ringing.
        """
        for limit in limits:
            if limit.channel is None:
                continue
            watch = self.watches[limit.key]
            watch.pending_ms = watch.clearing_ms = None

    def _after(self, due_ms: int, watch: Watch, rule: AlertRule, t_ms: int) -> None:
        if due_ms > t_ms:
            self._timer(due_ms, "delay", watch.key)
        else:
            self._settle(watch, rule, t_ms)

    def delay_ended(self, key: str, t_ms: int) -> None:
        """Let a delay that has run out take effect, if it still runs."""
        watch = self.watches.get(key)
        if watch is not None:
            self._settle(watch, self.policy.rules[watch.kind], t_ms)

    def _settle(self, watch: Watch, rule: AlertRule, t_ms: int) -> None:
        limit = self._limits.get(watch.key)
        if limit is not None and not self._answers(limit):
            watch.pending_ms = watch.clearing_ms = None  # without evidence it stays as it is
        if watch.pending_ms is not None and t_ms - watch.pending_ms >= rule.on_delay_ms:
            watch.pending_ms = None
            watch.holds = True
            self._happen(watch, AlertEvent.RAISED, t_ms)
        elif watch.clearing_ms is not None and t_ms - watch.clearing_ms >= rule.off_delay_ms:
            watch.clearing_ms = None
            self._clear(watch, rule, t_ms)

    def _clear(self, watch: Watch, rule: AlertRule, t_ms: int, by: str = "") -> None:
        watch.holds = False
        if rule.notice:
            self._happen(watch, AlertEvent.ACKNOWLEDGED, t_ms, by)
        latches = rule.latching and not watch.disposed
        event = AlertEvent.CLEARED_LATCHING if latches else AlertEvent.CLEARED
        self._happen(watch, event, t_ms, by)

    def withdraw(self, key: str, t_ms: int, message: str) -> None:
        """Take back an alert whose condition was assumed and is found not to hold.

        It latches nothing: there is nothing to dispose of.
        """
        watch = self.watches.get(key)
        if watch is None or not watch.holds:
            return
        watch.holds, watch.pending_ms, watch.clearing_ms = False, None, None
        watch.message = message
        self._happen(watch, AlertEvent.CLEARED, t_ms)

    def take_back(self, key: str, t_ms: int, message: str = TAKEN_BACK) -> None:
        """Take an alert back to normal that was raised on an entry which counts no more."""
        watch = self.watches.get(key)
        if watch is None:
            return
        watch.holds, watch.pending_ms, watch.clearing_ms = False, None, None
        watch.raised_by, watch.again_ms, watch.again_value = "", None, None
        watch.message = message
        for event in (AlertEvent.CLEARED, AlertEvent.ACKNOWLEDGED, AlertEvent.RESET):
            self._happen(watch, event, t_ms)

    def dispose(self, key: str, t_ms: int, words: str, by: str) -> None:
        """Take what became of food whose limit was not met: its alarm latches for nobody then."""
        watch = self.watches.get(key)
        if watch is None or watch.state is AlertState.NORMAL:
            return
        watch.disposed = words
        if watch.holds:
            self._happen(watch, AlertEvent.ACKNOWLEDGED, t_ms, by)
        else:
            self.take_back(key, t_ms, words)

    def raise_now(
        self, kind: str, piece: str, t_ms: int, message: str, value_mc: int | None = None
    ) -> None:
        """Raise an alert whose condition is known to have held; nothing where it is open.

        Args:
            value_mc: What was read furthest beyond its limit.
        """
        watch = self.watch(f"{kind}/{piece}", kind, piece=piece)
        if watch.state is AlertState.NORMAL:
            watch.holds, watch.pending_ms, watch.detail = True, None, message
            watch.value = watch.value if value_mc is None else value_mc
            self._happen(watch, AlertEvent.RAISED, t_ms)

    # -- people ---------------------------------------------------------------------------

    def act(self, body: AlertActed, t_ms: int, by: str) -> None:
        """Do what a person asked; ``commands.accept`` has checked that it can be done."""
        watch = self.watches[body.alert]
        watch.reason = body.reason
        if body.action == "shelve" and body.until_ms is not None:
            longest = t_ms + self.policy.rules[watch.kind].shelf_max_ms
            watch.until_ms = min(body.until_ms, longest)
            self._timer(watch.until_ms, "shelf", watch.key)
        if body.action == "unshelve":
            event = AlertEvent.UNSHELVED_TRUE if watch.holds else AlertEvent.UNSHELVED_FALSE
        elif body.action == "answer":
            self._answer(watch, body.reason, t_ms, by)
            return
        else:
            event = _HAND_EVENTS[body.action]
        if event is AlertEvent.UNACKNOWLEDGED:
            watch.settled, watch.again_ms, watch.again_value = False, None, None
        self._happen(watch, event, t_ms, by)
        rule = self.policy.rules[watch.kind]
        if event is AlertEvent.ACKNOWLEDGED and rule.momentary and watch.holds:
            watch.settled = rule.notice  # skipped: not asked again
            self._clear(watch, rule, t_ms, by)

    def _answer(self, watch: Watch, answer: str, t_ms: int, by: str) -> None:
        """Take the answer to a prompt: ``not yet`` asks again later, others settle it."""
        self._happen(watch, AlertEvent.ACKNOWLEDGED, t_ms, by)
        if answer == NOT_YET:
            watch.again_ms = t_ms + AGAIN_AFTER_MS
            watch.again_value = None if watch.value is None else watch.value + AGAIN_ABOVE_MC
            self._timer(watch.again_ms, "again", watch.key)
        else:
            watch.settled = True

    def ask_again(self, key: str, t_ms: int) -> None:
        """Ask a prompt again that was answered with ``not yet``, once it is time or hotter."""
        watch = self.watches.get(key)
        if watch is None or watch.again_ms is None or not watch.holds:
            return
        hotter = watch.again_value is not None and (watch.value or 0) >= watch.again_value
        if t_ms >= watch.again_ms or hotter:
            watch.again_ms = watch.again_value = None
            self._happen(watch, AlertEvent.REALARMED, t_ms)

    def shelf_ended(self, key: str, t_ms: int) -> None:
        """Take an alert from its shelf when its time is over."""
        watch = self.watches.get(key)
        if watch is None or watch.state is not AlertState.SHELVED:
            return
        if watch.until_ms is not None and watch.until_ms <= t_ms:
            event = AlertEvent.UNSHELVED_TRUE if watch.holds else AlertEvent.UNSHELVED_FALSE
            self._happen(watch, event, t_ms)

    def realarm(self, key: str, t_ms: int) -> None:
        """Sound an acknowledged alert again whose condition still holds."""
        watch = self.watches.get(key)
        if watch is None or not watch.holds:
            return
        rule = self.policy.rules[watch.kind]
        if rule.realarm_ms is not None and t_ms - watch.raised_ms >= rule.realarm_ms:
            self._happen(watch, AlertEvent.REALARMED, t_ms)

    # -- the machine ------------------------------------------------------------------------

    def _happen(self, watch: Watch, event: AlertEvent, t_ms: int, by: str = "") -> None:
        after = transition(watch.state, event)
        if after is None:
            return
        rule = self.policy.rules[watch.kind]
        was, watch.state, watch.since_ms = watch.state, after, t_ms
        if after is not AlertState.SHELVED:
            watch.until_ms = None
        if after is AlertState.UNACKNOWLEDGED:
            watch.occurrence += 1
            watch.disposed = ""
            watch.raised_ms = t_ms
            watch.priority, watch.wakes = rule.priority, rule.wakes
            watch.remedy = watch.detail_remedy or rule.remedy
            limit = self._limits.get(watch.key)
            watch.limit = None if limit is None else limit.limit
            watch.crossed = watch.value
            watch.message = self._message(watch, rule)
            if rule.realarm_ms is not None:
                self._timer(t_ms + rule.realarm_ms, "realarm", watch.key)
        changed = AlertChanged(
            alert=watch.key, alert_kind=watch.kind, was=was, now=after, priority=watch.priority,
            wakes=watch.wakes and after in ANNUNCIATED, piece=watch.piece, channel=watch.channel,
            value=None if watch.kind == "battery-low" else watch.value,
            unit=None if watch.value is None or watch.kind == "battery-low" else "c",
            limit=watch.limit, message=watch.message, remedy=watch.remedy, until_ms=watch.until_ms,
        )  # fmt: skip
        self._record(t_ms, changed, by)

    def _message(self, watch: Watch, rule: AlertRule) -> str:
        limit = self._limits.get(watch.key)
        if limit is not None:
            words = limit_message(limit, watch.value, self.units, foreseen=watch.forced)
            return f"{words}; {watch.note}" if watch.note else words
        return condition_message(watch, watch.detail or rule.cause)
