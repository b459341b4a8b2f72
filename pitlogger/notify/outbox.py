"""The outbox: which alerts are told to whom and when. Pure; time comes with each call.

- A high alarm is told half a second after it arose, with all that waits by then.
- For the rest one wait of ten seconds groups what belongs together; more than ten alerts within
  ten minutes are a flood, and the wait is a minute.
- While nobody acknowledges: told again after 3, 8 and 18 minutes, then every 15. Where priority
  is high, the second contact is told after ten minutes, the third after ten more.
- Acknowledging, shelving and suppressing stop it. What returns to normal is told once more.
- In quiet hours only what wakes is told; the rest waits for their end.

Source of the grouping, flood and repeat figures: ANSI/ISA-18.2 and EEMUA 191 as quoted in
public overviews (alarm floods), common practice (repeats).
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable
from dataclasses import dataclass, field

from pitlogger.model.alerts import ANNUNCIATED, AlertState, Priority, alert_class
from pitlogger.notify.alert_status import CONTACTS, ESCALATE_AFTER_MIN, Contact, UnansweredAlert
from pitlogger.notify.message import MessageKind
from pitlogger.notify.quiet import NEVER_QUIET, QuietHours

GROUP_MS, HIGH_GROUP_MS = 10_000, 500
FLOOD_COUNT, FLOOD_SPAN_MS, FLOOD_GROUP_MS = 10, 600_000, 60_000
_BANDED = ("hot-hold-near",)  # prompts whose value has a band to come back to
_RETURNED_LATCHED = (AlertState.ACKNOWLEDGED, AlertState.LATCHED_ACKNOWLEDGED)
_RETURNED = (AlertState.RETURNED_UNACKNOWLEDGED, AlertState.NORMAL)


@dataclass(frozen=True, slots=True)
class Happened:
    """A state that an alert entered, or is found in after a restart."""

    alert: str
    kind: str
    state: AlertState
    priority: Priority
    wakes: bool
    t_ms: int
    message: str
    remedy: str
    was: AlertState = AlertState.NORMAL


@dataclass(frozen=True, slots=True)
class Push:
    """Some alerts to be told to one contact now."""

    kind: MessageKind
    contact: Contact
    standing: tuple[UnansweredAlert, ...]


@dataclass(slots=True)
class Outbox:
    """What is active and must be reported.

    Attributes:
        notices: Kinds that need no hand.
        standing: By alert key.
    """

    notices: frozenset[str] = frozenset()
    quiet: QuietHours = NEVER_QUIET
    escalate_after_min: float = ESCALATE_AFTER_MIN
    standing: dict[str, UnansweredAlert] = field(default_factory=dict)
    _raised: deque[int] = field(default_factory=deque)
    _group_ms: int | None = None
    _changed: set[str] = field(default_factory=set)
    _hushed: set[str] = field(default_factory=set)

    def restore(self, standing: Iterable[UnansweredAlert]) -> None:
        """Take up what was kept of an earlier run."""
        self.standing |= {each.alert: each for each in standing}

    def take_changes(self) -> dict[str, UnansweredAlert | None]:
        """Return what changed since the last call, ``None`` for what is over."""
        changes = {alert: self.standing.get(alert) for alert in sorted(self._changed)}
        self._changed.clear()
        return changes

    def take_hushed(self) -> set[str]:
        """Return the alerts a person or a rule has silenced since the last call."""
        hushed, self._hushed = self._hushed, set()
        return hushed

    def happened(self, what: Happened) -> None:
        """Take a state that an alert entered."""
        held = self.standing.get(what.alert)
        if what.state in ANNUNCIATED:
            if held is None or held.silenced or held.returned_ms is not None:
                self._raise(what)
        elif held is None or held.returned_ms is not None:
            return
        elif what.state in _RETURNED or (what.was, what.state) == _RETURNED_LATCHED:
            self._return(held, what.t_ms)
        elif what.state is AlertState.ACKNOWLEDGED and held.pushes:
            held.silenced = True
            self._changed.add(what.alert)
            self._hushed.add(what.alert)
        else:
            self._drop(what.alert)
            self._hushed.add(what.alert)

    def _raise(self, what: Happened) -> None:
        self._raised.append(what.t_ms)
        end_ms = self._end_of_group(what.t_ms)
        if what.priority is Priority.HIGH:
            end_ms = min(end_ms, what.t_ms + HIGH_GROUP_MS)
        self.standing[what.alert] = UnansweredAlert(
            what.alert, what.kind, what.priority, what.wakes, what.t_ms,
            end_ms, what.message, what.remedy,
            notice=what.kind in self.notices,
        )  # fmt: skip
        self._changed.add(what.alert)

    def _end_of_group(self, t_ms: int) -> int:
        while self._raised and self._raised[0] < t_ms - FLOOD_SPAN_MS:
            self._raised.popleft()
        if self._group_ms is None or self._group_ms < t_ms:
            flood = len(self._raised) > FLOOD_COUNT
            self._group_ms = t_ms + (FLOOD_GROUP_MS if flood else GROUP_MS)
        return self._group_ms

    def _return(self, held: UnansweredAlert, t_ms: int) -> None:
        has_band = alert_class(held.kind) == "alarm" or held.kind in _BANDED
        if held.pushes and has_band and not held.notice:
            held.returned_ms = t_ms
            self._changed.add(held.alert)
        else:
            self._drop(held.alert)

    def _drop(self, alert: str) -> None:
        del self.standing[alert]
        self._changed.add(alert)

    def reconcile(self, found: Iterable[Happened]) -> None:
        """Bring it in line with the alerts as they are, as after a restart or a lost event.

        ``found`` are all that are not normal.
        """
        listed = {each.alert: each for each in found}
        for held in list(self.standing.values()):
            now = listed.get(held.alert)
            if held.returned_ms is None and (now is None or now.state not in ANNUNCIATED):
                if now is None or now.state is AlertState.SHELVED:
                    self._drop(held.alert)
                else:
                    held.silenced = True
                self._changed.add(held.alert)
                self._hushed.add(held.alert)
        self.catch_up(listed.values())

    def catch_up(self, found: Iterable[Happened]) -> None:
        """Take up alerts that stand and of which no event came, as when a listener was flooded."""
        for each in found:
            if each.state in ANNUNCIATED and each.alert not in self.standing:
                self._raise(each)

    def due(self, now_ms: int, utc_ms: int | None) -> list[Push]:
        """Return what is to be told now, and count it as told.

        Args:
            now_ms: Engine time.
            utc_ms: Wall time; ``None`` where it is not known: then no hour is quiet.
        """
        quiet = utc_ms is not None and self.quiet.holds(utc_ms)
        heard = [each for each in self.standing.values() if each.wakes or not quiet]
        pushes = self._returns(heard)
        for contact in CONTACTS:
            pushes += self._pushes(contact, self._ready(contact, heard, now_ms), now_ms)
        return pushes

    def _ready(
        self, contact: Contact, heard: list[UnansweredAlert], now_ms: int
    ) -> list[UnansweredAlert]:
        """Return what a contact is to be told now; a high alarm takes along what waits."""
        due = [
            (each, due_ms)
            for each in heard
            if (due_ms := each.due_ms(contact, self.escalate_after_min)) is not None
        ]
        takes_along = contact == "first" and any(
            due_ms <= now_ms and each.priority is Priority.HIGH and not each.pushes
            for each, due_ms in due
        )
        return [
            each for each, due_ms in due if due_ms <= now_ms or (takes_along and not each.pushes)
        ]

    def high_unanswered(self, since_ms: int) -> list[str]:
        """Return the high alarms first told by then that nobody answered or was escalated for."""
        return [
            each.alert
            for each in self.standing.values()
            if each.priority is Priority.HIGH
            and each.asks_a_hand
            and each.pushes
            and not each.unreached
            and each.start_ms <= since_ms
        ]

    def unreached(self, alert: str) -> None:
        """Take that no way to the first contact took an alarm."""
        self.standing[alert].unreached = True
        self._changed.add(alert)

    def _pushes(self, contact: Contact, ready: list[UnansweredAlert], now_ms: int) -> list[Push]:
        fresh = tuple(each for each in ready if not each.pushes)
        again = tuple(each for each in ready if each.pushes)
        for each in fresh:
            each.start_ms = now_ms
        for each in ready:
            each.told(contact, now_ms, self.escalate_after_min)
            self._changed.add(each.alert)
        kinds: tuple[tuple[MessageKind, tuple[UnansweredAlert, ...]], ...] = (
            ("raised", fresh),
            ("repeated", again),
        )
        return [Push(kind, contact, some) for kind, some in kinds if some]

    def _returns(self, heard: list[UnansweredAlert]) -> list[Push]:
        returned = [each for each in heard if each.returned_ms is not None]
        for each in returned:
            del self.standing[each.alert]
            self._changed.add(each.alert)
        pushes = []
        for contact in CONTACTS:
            told = tuple(each for each in returned if each.pushed.get(contact))
            if told:
                pushes.append(Push("returned", contact, told))
        return pushes
