"""``Engine.step``: one input in, outputs out, in one visible order.

    reading   adjust > vet > level and trend, or steadiness > limits > tag
    command   accept > journal > book folded anew > lanes and limits compiled anew
    tick      delays that ended, channels gone silent, shelves that ran out, forecasts due
    forecast  journal

No clock, file, socket or loop in here. Time comes with the input and never runs back.
"""

from __future__ import annotations

from collections.abc import Iterable

from pitlogger.engine.annunciator import Annunciator
from pitlogger.engine.commands import accept, renamed
from pitlogger.engine.compiled import Compiled, compiled
from pitlogger.engine.compiled_channel import Lane, build_lane
from pitlogger.engine.forecasts.requests import requests_due
from pitlogger.engine.inputs import Command, ForecastResult, Input, Output, SteadyMass, Tick
from pitlogger.engine.reading_steps import follow_level, tag, vet
from pitlogger.engine.state import ChannelState, EngineState
from pitlogger.engine.timers import Timers
from pitlogger.engine.watch.cores import answers
from pitlogger.engine.watch.doubting import follow_doubt
from pitlogger.engine.watch.enough import judge_enough
from pitlogger.engine.watch.external import PASSING, take_outside
from pitlogger.engine.watch.instruments import Instruments
from pitlogger.engine.watch.limits import Judging
from pitlogger.engine.watch.periodic import Lookout
from pitlogger.engine.watch.pits import judge_pit
from pitlogger.engine.watch.rate import follow_rate
from pitlogger.engine.watch.recognition import Recognition
from pitlogger.engine.watch.routines import run_routines
from pitlogger.engine.watch.silence import Hearing
from pitlogger.engine.watch.taken_back import end_with, restore
from pitlogger.engine.watch.weights import WeightRecognition
from pitlogger.model import journal
from pitlogger.model.book import Book
from pitlogger.model.cooks import Channel
from pitlogger.model.folding import fold
from pitlogger.model.readings import Quality, Reading, Site, Tagged
from pitlogger.rules.conditions import inert
from pitlogger.rules.messages import Units
from pitlogger.rules.policies import RulePolicy
from pitlogger.safety.policy import DEFAULT, shipped_policy
from pitlogger.safety.policy import Policy as SafetyPolicy

FORECAST_EVERY_MS = 600_000
MINUTE_MS = 60_000


class Engine:
    """Runs inputs through the pipeline, the rules and the journal.

    Args:
        state: Everything it knows; new, or from a snapshot.
        policy: How alerts behave and what the targets are.
        units: In which messages speak.
        channels: Channels of the configuration, as their drivers declare them.
        safety: Food-safety policy the clocks run by.
    """

    def __init__(
        self,
        state: EngineState,
        policy: RulePolicy,
        units: Units | None = None,
        channels: Iterable[Channel] = (),
        safety: SafetyPolicy | None = None,
    ) -> None:
        self.state = state
        self.policy = policy
        self.safety = safety or shipped_policy(DEFAULT)
        self.book = Book()
        self.compiled = Compiled()
        self._known = {channel.id: channel for channel in channels}
        self._timers = Timers()
        self._out: list[Output] = []
        units = units or Units()
        self.alerts = Annunciator(
            state.watches, policy, units, self._timers.set, self._enter,
            lambda limit: answers(limit, state, self.book),
        )  # fmt: skip
        self.lookout = Lookout(state, self.alerts, self.safety, units)
        self.instruments = Instruments(state, self.alerts, units)
        self.recognition = Recognition(state, policy, self.alerts)
        self.weights = WeightRecognition(
            state, policy, self.alerts, self._timers.set, self.recognition.proposals
        )
        self.hearing = Hearing(self._timers, self.alerts)
        self.judging = Judging(state, self.alerts)
        self._compile(state.t_ms, "")
        self._timers.resume(state, policy)

    @property
    def lanes(self) -> dict[str, Lane]:
        """Each channel as compiled."""
        return self.compiled.lanes

    # -- the step -------------------------------------------------------------------------

    def step(self, given: Input) -> tuple[Output, ...]:
        """Take one input and return what follows from it.

        Raises:
            UsageError: A command that cannot be used; nothing was changed.
            RefusedError: A command that is refused as things stand; nothing was changed.
        """
        if type(given) is Reading:
            tagged = self._reading(given)
            return (tagged, *self._taken()) if self._out else (tagged,)
        if type(given) is Tick:
            self._tick(given.t_ms)
        elif isinstance(given, Command):
            self._command(given)
        elif isinstance(given, ForecastResult):
            self.state.t_ms = max(self.state.t_ms, given.t_ms)
            if given.memory is not None:
                self.state.forecasts[given.body.of] = given.memory
            if isinstance(given.body, journal.ForecastMade):
                self.state.foreseen[given.body.of] = given.body
            self._enter(given.t_ms, given.body, "")
        return self._taken() if self._out else ()

    def _taken(self) -> tuple[Output, ...]:
        out, self._out = tuple(self._out), []
        return out

    # -- readings -------------------------------------------------------------------------

    def _reading(self, reading: Reading) -> Tagged:
        channel, t_ms, raw, quality, stable = reading
        lane = self.compiled.lanes.get(channel) or self._new_lane(channel)
        state = lane.state
        self.state.t_ms = t_ms
        gap_ms = self.hearing.heard(lane, t_ms)
        if raw is None or quality is not Quality.GOOD:
            worst = Quality.NO_VALUE if quality is Quality.GOOD else quality
            self.instruments.set_quality(lane, t_ms, worst)
            return tag(lane, reading, None if raw is None else raw + lane.offset, state.quality)
        value = raw + lane.offset
        quality = vet(lane, t_ms, value)
        if quality is not Quality.GOOD:
            return tag(lane, reading, value, quality)
        if state.quality is not Quality.GOOD:
            self.instruments.set_quality(lane, t_ms, Quality.GOOD)
        if lane.is_temperature:
            follow_level(lane, t_ms, value, gap_ms)
        state.value, state.good_ms = value, t_ms
        if lane.is_temperature:
            if state.trend.update(t_ms, value):
                self._bin(lane, t_ms)
            if lane.site is Site.PIT and state.pit.update(t_ms, value):
                self._pit_bin(lane, t_ms)
        elif lane.site is Site.BENCH and state.steadiness.update(t_ms, value, stable):
            self._out.append(SteadyMass(channel, t_ms, state.steadiness.steady_mg))
            self.weights.settled(channel, state.steadiness, self.book, t_ms)
        elif lane.site is Site.GRATE:
            self.weights.cell(lane, value, self.lanes, self.book, t_ms)
        if state.doubt == "stuck":
            return tag(lane, reading, value, Quality.STUCK)
        if not lane.low <= value <= lane.high:
            if lane.site is Site.CORE:
                follow_rate(lane, self.state.channels, self.book, t_ms)
            self.judging.lane(lane, t_ms, doubted=not state.is_believed())
        return Tagged(channel, t_ms, raw, value, quality, lane.site, lane.piece, stable)

    def _bin(self, lane: Lane, t_ms: int) -> None:
        """Take what is looked at every ten seconds: minutes for forecasts, safety clocks."""
        lane.state.keep_minute(t_ms)
        if lane.site is Site.CORE:
            follow_rate(lane, self.state.channels, self.book, t_ms)
        self.instruments.bin(lane, self.lanes, self.book, t_ms)
        self._follow_doubt(lane, t_ms)
        if lane.site is Site.CORE and lane.piece is not None:
            self.lookout.core_bin(self.book, lane.piece, t_ms)

    def _follow_doubt(self, lane: Lane, t_ms: int) -> None:
        if lane.site is Site.CORE and lane.piece in self.book.pieces:
            for body in follow_doubt(lane, t_ms):
                self.state.entries.append(self._enter(t_ms, body, ""))
                self.book.doubted.append(("", body))

    def _pit_bin(self, lane: Lane, t_ms: int) -> None:
        if lane.state.first_ms < 0:
            lane.state.first_ms = t_ms
        if judge_pit(self.alerts, lane, self.book, t_ms):
            self._compile(t_ms, "")

    def _new_lane(self, channel: str) -> Lane:
        state = self.state.channels.setdefault(channel, ChannelState(channel))
        lane = self.lanes[channel] = build_lane(state, self.book, self._known)
        self._watch_channel(lane)
        return lane

    # -- ticks ------------------------------------------------------------------------------

    def know(self, channel: Channel) -> None:
        """Learn what a channel measures that the configuration does not name."""
        self._known[channel.id] = channel
        self.state.channels.setdefault(channel.id, ChannelState(channel.id))
        self._compile(self.state.t_ms, "")

    def declared(self, channel: str) -> Channel | None:
        """Return a channel as the book, else the configuration, has it."""
        assignment = self.book.assignment(channel)
        known = self._known.get(channel)
        if assignment is None or assignment.channel.quantity is None:
            return known or (None if assignment is None else assignment.channel)
        return assignment.channel

    def next_due_ms(self) -> int | None:
        """Return when the next timer is due, ``None`` if none is set."""
        return self._timers.next_ms()

    def recognised(self) -> list[journal.StageSet | journal.Weighed]:
        """Return the stages and weights that were recognised and are to be set, each once."""
        stages = self.recognition.take(self.book) if self.recognition.proposals else []
        return [*stages, *self.weights.take()]

    def _tick(self, t_ms: int) -> None:
        self.state.t_ms = self.state.tick_ms = t_ms
        for what, key in self._timers.due(t_ms):
            if what == "silence":
                self.hearing.fell_due(self.lanes[key], self.book, t_ms)
            elif what == "delay":
                self.alerts.delay_ended(key, t_ms)
                if (watch := self.state.watches.get(key)) is not None:  # else its cook is forgotten
                    self.judging.reband(watch.piece)
            elif what == "shelf":
                self.alerts.shelf_ended(key, t_ms)
            elif what == "realarm":
                self.alerts.realarm(key, t_ms)
            elif what == "again":
                self.alerts.ask_again(key, t_ms)
            elif what == "weights":
                self.weights.judge(self.book, t_ms)
            elif what == "minute":
                self._minute(t_ms)
            elif what == "forecast":
                self._ask_forecasts(t_ms)

    def _minute(self, t_ms: int) -> None:
        if self.book.cook is None or self.book.finished_ms is not None:
            self.state.minute_ms = None
            return
        self.instruments.minute(self.lanes, self.book, t_ms)
        for lane in list(self.lanes.values()):
            self._follow_doubt(lane, t_ms)
        self.lookout.minute(self.book, self.lanes, t_ms)
        self.recognition.minute(self.book, self.lanes, t_ms)
        run_routines(self.state, self.alerts, self.policy, self.book, self.lanes, t_ms)
        self.state.minute_ms = (t_ms // MINUTE_MS + 1) * MINUTE_MS
        self._timers.set(self.state.minute_ms, "minute", "")

    # -- forecasts ------------------------------------------------------------------------------

    def _ask_forecasts(self, t_ms: int) -> None:
        if self.book.cook is None or self.book.finished_ms is not None:
            self.state.forecast_ms = None
            return
        requests = requests_due(self.book, self.compiled, self.state.watches, t_ms)
        self._out += requests
        foreseen = self.state.foreseen
        for of in set(foreseen) - {request.of for request in requests}:
            del foreseen[of]  # it lies behind
        self.state.forecast_ms = t_ms + FORECAST_EVERY_MS
        self._timers.set(self.state.forecast_ms, "forecast", "")

    # -- commands ---------------------------------------------------------------------------------

    def _command(self, command: Command) -> None:
        state = self.state
        if command.key and command.key in state.keys:
            return
        if command.past:
            state.t_ms = max(state.t_ms, command.t_ms)
            entry = self._enter(command.t_ms, command.body, command.by, command.key)
            if command.key:
                state.keys[command.key] = (entry.run, entry.seq)
            if isinstance(command.body, PASSING):  # an alarm about its food may go on until then
                self._take_outside(command.body, command)
            return
        body = renamed(command.body, state.origins)
        body = accept(body, self.book, state.entries, state.watches, command.t_ms)
        if isinstance(body, journal.AlertActed):
            self.weights.check(body)
        state.t_ms = max(state.t_ms, command.t_ms)
        if isinstance(body, journal.CookStarted):
            state.forget_finished(self.book)
        entry = self._enter(command.t_ms, body, command.by, command.key)
        if command.key:
            state.keys[command.key] = (entry.run, entry.seq)
        if command.origin is not None:
            state.origins[f"{command.origin[0]}/{command.origin[1]}"] = (entry.run, entry.seq)
        if isinstance(body, journal.AlertActed):
            if body.alert in state.watches:
                self.alerts.act(body, command.t_ms, command.by)
            if body.action == "answer" and body.reason == "no":
                self.recognition.denied(body.alert, command.t_ms)
            if body.action == "answer":
                self.weights.answered(body.alert, body.reason, command.t_ms)
                self._compile(command.t_ms, command.by)
        elif isinstance(body, journal.ForecastTaught):
            state.taught = body.scores
        elif isinstance(body, PASSING):
            self._take_outside(body, command)
        else:
            state.entries.append(entry)
            before = self.book
            self._changed(entry, command, before)
            if isinstance(body, journal.Undone | journal.Corrected):
                restore(self, before, body, command.t_ms)
            elif isinstance(body, journal.CookFinished | journal.StageSet):
                end_with(self, body, command.t_ms)

    def _take_outside(self, body: journal.Body, command: Command) -> None:
        take_outside(body, self.alerts, self.instruments, self.lanes, command.t_ms, command.by)

    def _changed(self, entry: journal.Entry, command: Command, before: Book) -> None:
        """Let a decision take effect on what is compiled and watched."""
        body = entry.body
        if isinstance(body, journal.ProbeMoved) and body.channel in self.state.channels:
            self.state.channels[body.channel].trend.restart()
        self._compile(command.t_ms, command.by)
        self.recognition.told(self.book, command.t_ms)
        self.weights.told(entry, self.book, command.t_ms)
        if isinstance(body, journal.ClockSet) and body.gap_ms is not None:
            self.lookout.gap_known(self.book, body.gap_ms, command.t_ms)
        if isinstance(body, journal.ChannelDoubted):
            self.lookout.doubt_told(self.book, body.piece)
        if isinstance(body, journal.ChannelAssigned) and body.at_ms is not None:
            self.lookout.retold(self.book, body, before)
        if isinstance(body, journal.SpotRead) and body.piece is not None:
            self._spot(body, command.t_ms, f"{entry.run}/{entry.seq}")
        if isinstance(body, journal.Weighed | journal.SpotRead):
            self.lookout.touched(self.book, body, command.t_ms)
        judge_enough(self.book, self.alerts, body, command.t_ms, self.alerts.units.mass)
        if isinstance(body, journal.CookStarted):
            if self.state.forecast_ms is None:
                self._ask_forecasts(command.t_ms)
            if self.state.minute_ms is None:
                self._minute(command.t_ms)

    def _spot(self, spot: journal.SpotRead, t_ms: int, entry: str) -> None:
        self.judging.spot(spot, t_ms, entry)
        self.lookout.by_hand(self.book, spot, t_ms, entry)

    def _enter(self, t_ms: int, body: journal.Body, by: str, key: str = "") -> journal.Entry:
        """Write the next journal entry."""
        self.state.seq += 1
        entry = journal.Entry(self.state.run, self.state.seq, t_ms, body, by, key)
        self._out.append(entry)
        return entry

    # -- compiling ---------------------------------------------------------------------

    def _compile(self, t_ms: int, by: str) -> None:
        """Fold the book anew and find which limits each channel is judged by."""
        self.book = book = fold(self.state.entries)
        self.compiled = compiled(
            self.state, book, self.policy, self._known, self.safety.cold_hold.mc
        )
        self.judging.book, self.judging.compiled = book, self.compiled
        self.alerts.set_limits(self.compiled.limits(), t_ms, by)
        for lane in self.lanes.values():
            self._watch_channel(lane)
            self.hearing.arm(lane)
            lane.low, lane.high = inert(lane.limits, self.state.watches)
        self.lookout.follow(book, t_ms)

    def _watch_channel(self, lane: Lane) -> None:
        for key in (lane.stale_key, lane.fault_key):
            if key is not None:
                kind = key.partition("/")[0]
                self.alerts.watch(key, kind, piece=lane.piece, channel=lane.state.id)
