"""``Engine.step``: one input in, outputs out, in one visible order.

    reading   adjust > vet > steady or trend > tag > limits
    command   accept > journal > book folded anew > lanes and limits compiled anew
    tick      delays that ended, channels gone silent, shelves that ran out, forecasts due
    forecast  journal

No clock, file, socket or loop in here. Time comes with the input and never runs back.
"""

from __future__ import annotations

from collections.abc import Iterable

from pitlogger.engine.annunciator import Annunciator, coldest
from pitlogger.engine.commands import accept, renamed
from pitlogger.engine.compiled import Compiled, compiled
from pitlogger.engine.inputs import (
    Command,
    ForecastRequest,
    ForecastResult,
    Input,
    Output,
    SteadyMass,
    Tick,
)
from pitlogger.engine.lanes import (
    STALE_LEAST_MS,
    Lane,
    build_lane,
    silence_limit_ms,
    silence_matters,
)
from pitlogger.engine.lookout import Lookout
from pitlogger.engine.state import GAPS_KEPT, LEVEL_TIME_MS, ChannelState, EngineState
from pitlogger.engine.timers import Timers
from pitlogger.model.book import Book, fold
from pitlogger.model.cooks import Channel
from pitlogger.model.journal import (
    AlertActed,
    Body,
    CheckMade,
    CookStarted,
    CorrectiveTaken,
    DeviceChanged,
    Entry,
    ForecastMade,
    ForecastScored,
    ForecastTaught,
    ProbeMoved,
    RunStarted,
    SignedOff,
    SpotRead,
    TroubleChanged,
    Weighed,
)
from pitlogger.model.readings import Quality, Reading, Site, Tagged
from pitlogger.pipeline.vet import JUMP_MC, vet_jump
from pitlogger.rules.conditions import Limit, inert
from pitlogger.rules.messages import Units
from pitlogger.rules.policies import Policy
from pitlogger.rules.targets import targets_ahead
from pitlogger.safety.policy import DEFAULT, shipped_policy
from pitlogger.safety.policy import Policy as SafetyPolicy

SPOT_VALID_MS = 10 * 60_000  # how long a hand reading stands beside the fixed probes
FORECAST_EVERY_MS = 600_000
FORECAST_LAG_MS = 30_000
MINUTE_MS = 60_000
_BAD_PROBE = frozenset({Quality.OPEN, Quality.SHORTED, Quality.FAULT})
_PASSING = (
    AlertActed, CheckMade, CorrectiveTaken, DeviceChanged, ForecastScored, ForecastTaught,
    RunStarted, SignedOff, TroubleChanged,
)  # fmt: skip  # not part of a cook's book


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
        policy: Policy,
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
        self.alerts = Annunciator(state.watches, policy, units, self._timers.set, self._enter)
        self.lookout = Lookout(state, self.alerts, self.safety, units)
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
            if isinstance(given.body, ForecastMade):
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
        gap_ms = self._hear(lane, t_ms)
        if raw is None or quality is not Quality.GOOD:
            self._set_quality(lane, t_ms, Quality.NO_VALUE if quality is Quality.GOOD else quality)
            value = None if raw is None else raw + lane.offset
            return Tagged(channel, t_ms, raw, value, state.quality, lane.site, lane.piece, stable)
        value = raw + lane.offset
        last = state.value
        if not lane.floor <= value <= lane.ceiling:
            quality = Quality.OUT_OF_RANGE
        elif last is not None and lane.is_temperature and not -JUMP_MC <= value - last <= JUMP_MC:
            quality = vet_jump(value, last, state.suspect, t_ms - state.good_ms)
            state.suspect = value if quality is not Quality.GOOD else None
            state.level = value if quality is Quality.GOOD else state.level
        elif state.suspect is not None:
            state.suspect = None
        if quality is not Quality.GOOD:
            return Tagged(channel, t_ms, raw, value, quality, lane.site, lane.piece, stable)
        if state.quality is not Quality.GOOD:
            self._set_quality(lane, t_ms, Quality.GOOD)
        state.value = value
        state.good_ms = t_ms
        if lane.is_temperature:
            if last is None:
                state.level = value
            else:
                state.level += (value - state.level) * gap_ms / (LEVEL_TIME_MS + gap_ms)
            if state.trend.update(t_ms, value):
                self._bin(lane, t_ms)
            if lane.site is Site.PIT and state.pit.update(t_ms, value):
                self._pit_bin(lane, t_ms)
        elif lane.site is Site.BENCH and state.steadiness.update(t_ms, value, stable):
            self._out.append(SteadyMass(channel, t_ms, state.steadiness.steady_mg))
        if not lane.low <= value <= lane.high:
            self._judge_lane(lane, t_ms)
        return Tagged(channel, t_ms, raw, value, quality, lane.site, lane.piece, stable)

    def _bin(self, lane: Lane, t_ms: int) -> None:
        """Take what is looked at every ten seconds: minutes for forecasts, safety clocks."""
        lane.state.keep_minute(t_ms)
        if lane.site is Site.CORE and lane.piece is not None:
            found = self.extremes(lane.piece, t_ms)
            if found is not None:
                self.lookout.core_bin(lane.piece, t_ms, *found, by_hand=False)

    def _pit_bin(self, lane: Lane, t_ms: int) -> None:
        if lane.state.first_ms < 0:
            lane.state.first_ms = t_ms
        if self.lookout.pit_bin(lane, self.book, t_ms):
            self._compile(t_ms, "")

    def _hear(self, lane: Lane, t_ms: int) -> int:
        """Note that a channel was heard; return the time since it last was."""
        state = lane.state
        gap_ms = t_ms - state.heard_ms
        if state.heard_ms < 0:
            self._timers.set(t_ms + STALE_LEAST_MS, "silence", state.id)
            gap_ms = 0
        elif lane.interval_ms is None:
            if len(state.gaps_ms) == GAPS_KEPT:
                del state.gaps_ms[0]
            state.gaps_ms.append(gap_ms)
        state.heard_ms = t_ms
        if state.stale:
            state.stale = False
            self._timers.set(t_ms + STALE_LEAST_MS, "silence", state.id)
            if lane.stale_key is not None:
                self.alerts.condition(lane.stale_key, t_ms, False)
        return gap_ms

    def _set_quality(self, lane: Lane, t_ms: int, quality: Quality) -> None:
        lane.state.quality = quality
        if lane.fault_key is not None:
            self.alerts.condition(lane.fault_key, t_ms, quality in _BAD_PROBE)
        if quality is not Quality.GOOD:
            self.alerts.freeze(lane.limits)

    def _new_lane(self, channel: str) -> Lane:
        state = self.state.channels.setdefault(channel, ChannelState(channel))
        lane = self.lanes[channel] = build_lane(state, self.book, self._known)
        self._watch_channel(lane)
        return lane

    # -- limits -----------------------------------------------------------------------------

    def _judge_lane(self, lane: Lane, t_ms: int) -> None:
        for limit in lane.limits:
            self._judge(limit, t_ms, lane.state)
        self._reband(lane.piece, lane)

    def _judge(self, limit: Limit, t_ms: int, state: ChannelState) -> None:
        value, level = state.value, state.level
        if limit.channel is None and limit.piece is not None:
            found = self.coldest(limit.piece, t_ms)
            if found is None:
                return
            value, level = found
        if value is not None:
            self.alerts.judge(limit, t_ms, value, level)

    def _reband(self, piece: str | None, lane: Lane | None = None) -> None:
        """Find anew in which band the limits of a piece do not move."""
        for other in self.lanes.values():
            if other is lane or (piece is not None and other.piece == piece):
                other.low, other.high = inert(other.limits, self.state.watches)

    def coldest(self, piece: str, t_ms: int) -> tuple[int, float] | None:
        """Return value and level of the coldest valid core of a piece, hand readings included."""
        return coldest(self._valid_cores(piece, t_ms))

    def extremes(self, piece: str, t_ms: int) -> tuple[int, int] | None:
        """Return the lowest and highest valid core of a piece, ``None`` if there is none."""
        values = [s.value for s in self._valid_cores(piece, t_ms) if s.value is not None]
        return (min(values), max(values)) if values else None

    def _valid_cores(self, piece: str, t_ms: int) -> list[ChannelState]:
        held = [
            state
            for channel in self.book.cores(piece)
            if (state := self.state.channels.get(channel)) is not None and state.valid()
        ]
        spot = self.state.channels.get(f"{piece}/spot")
        if spot is not None and t_ms - spot.good_ms <= SPOT_VALID_MS:
            held.append(spot)
        return held

    # -- ticks ------------------------------------------------------------------------------

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

    def _tick(self, t_ms: int) -> None:
        self.state.t_ms = self.state.tick_ms = t_ms
        for what, key in self._timers.due(t_ms):
            if what == "silence":
                self._silence(key, t_ms)
            elif what == "delay":
                self.alerts.delay_ended(key, t_ms)
                self._reband(self.state.watches[key].piece)
            elif what == "shelf":
                self.alerts.shelf_ended(key, t_ms)
            elif what == "realarm":
                self.alerts.realarm(key, t_ms)
            elif what == "again":
                self.alerts.ask_again(key, t_ms)
            elif what == "minute":
                self._minute(t_ms)
            elif what == "forecast":
                self._ask_forecasts(t_ms)

    def _minute(self, t_ms: int) -> None:
        if self.book.cook is None or self.book.finished_ms is not None:
            self.state.minute_ms = None
            return
        self.lookout.minute(self.book, self.lanes, t_ms)
        self.state.minute_ms = (t_ms // MINUTE_MS + 1) * MINUTE_MS
        self._timers.set(self.state.minute_ms, "minute", "")

    def _silence(self, channel: str, t_ms: int) -> None:
        lane = self.lanes[channel]
        state = lane.state
        if state.stale or state.heard_ms < 0:
            return
        limit_ms = silence_limit_ms(lane)
        if t_ms - state.heard_ms <= limit_ms:
            self._timers.set(state.heard_ms + limit_ms + 1, "silence", channel)
            return
        state.stale = True
        self.alerts.freeze(lane.limits)
        if lane.stale_key is not None and silence_matters(lane, self.book):
            self.alerts.condition(lane.stale_key, t_ms, True)

    # -- forecasts ------------------------------------------------------------------------------

    def _ask_forecasts(self, t_ms: int) -> None:
        if self.book.cook is None or self.book.finished_ms is not None:
            self.state.forecast_ms = None
            return
        requests = [
            ForecastRequest(piece, target, t_ms, t_ms + FORECAST_LAG_MS)
            for piece in self.book.pieces
            for target in targets_ahead(
                self.book, piece, self.compiled.pieces[piece], self.state.watches
            )
        ]
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
        body = renamed(command.body, state.origins)
        body = accept(body, self.book, state.entries, state.watches, command.t_ms)
        state.t_ms = max(state.t_ms, command.t_ms)
        if isinstance(body, CookStarted):
            state.forget_cook()
        entry = self._enter(command.t_ms, body, command.by, command.key)
        if command.key:
            state.keys[command.key] = (entry.run, entry.seq)
        if command.origin is not None:
            state.origins[f"{command.origin[0]}/{command.origin[1]}"] = (entry.run, entry.seq)
        if isinstance(body, AlertActed):
            self.alerts.act(body, command.t_ms, command.by)
            if body.action == "answer":
                self._compile(command.t_ms, command.by)
        elif isinstance(body, DeviceChanged):
            key = f"device-lost/{body.device}"
            self.alerts.watch(key, "device-lost")
            self.alerts.condition(
                key, command.t_ms, body.status == "lost", body.message, body.remedy
            )
        elif isinstance(body, ForecastTaught):
            state.taught = body.scores
        elif isinstance(body, CheckMade):
            if "check-overdue/node" in state.watches:
                self.alerts.condition("check-overdue/node", command.t_ms, False)
        elif isinstance(body, TroubleChanged):
            key = f"{body.alert}/{body.subject}"
            self.alerts.watch(key, body.alert)
            self.alerts.condition(key, command.t_ms, body.active, body.message, body.remedy)
        elif not isinstance(body, _PASSING):
            state.entries.append(entry)
            self._changed(body, command)

    def _changed(self, body: Body, command: Command) -> None:
        """Let a decision take effect on what is compiled and watched."""
        if isinstance(body, ProbeMoved) and body.channel in self.state.channels:
            self.state.channels[body.channel].trend.restart()
        self._compile(command.t_ms, command.by)
        if isinstance(body, SpotRead) and body.piece is not None:
            self._take_spot(body, command.t_ms)
        if isinstance(body, Weighed | SpotRead):
            self.lookout.touched(self.book, body, command.t_ms)
        if isinstance(body, CookStarted):
            if self.state.forecast_ms is None:
                self._ask_forecasts(command.t_ms)
            if self.state.minute_ms is None:
                self._minute(command.t_ms)

    def _take_spot(self, spot: SpotRead, t_ms: int) -> None:
        """Judge a hand reading: for the lead core's targets and beside the coldest core."""
        piece = spot.piece or ""
        state = self.state.channels.setdefault(f"{piece}/spot", ChannelState(f"{piece}/spot"))
        state.value = spot.value_mc
        state.level = float(spot.value_mc)
        state.heard_ms = state.good_ms = spot.at_ms
        state.quality = Quality.GOOD
        for limit in self.compiled.pieces.get(piece, []):
            if limit.channel is None:
                self._judge(limit, t_ms, state)
            elif not self._is_heard(limit.channel):
                self.alerts.judge(limit, t_ms, spot.value_mc, state.level)
        self._reband(piece)
        found = self.extremes(piece, t_ms)
        if found is not None:
            self.lookout.core_bin(piece, t_ms, *found, by_hand=True)

    def _is_heard(self, channel: str) -> bool:
        state = self.state.channels.get(channel)
        return state is not None and state.valid()

    def _enter(self, t_ms: int, body: Body, by: str, key: str = "") -> Entry:
        """Write the next journal entry."""
        self.state.seq += 1
        entry = Entry(self.state.run, self.state.seq, t_ms, body, by, key)
        self._out.append(entry)
        return entry

    # -- compiling ---------------------------------------------------------------------

    def _compile(self, t_ms: int, by: str) -> None:
        """Fold the book anew and find which limits each channel is judged by."""
        self.book = book = fold(self.state.entries)
        self.compiled = compiled(
            self.state, book, self.policy, self._known, self.safety.cold_hold.mc
        )
        self.alerts.set_limits(self.compiled.limits(), t_ms, by)
        for lane in self.lanes.values():
            self._watch_channel(lane)
            lane.low, lane.high = inert(lane.limits, self.state.watches)
        self.lookout.follow(book, t_ms)

    def _watch_channel(self, lane: Lane) -> None:
        for key in (lane.stale_key, lane.fault_key):
            if key is not None:
                kind = key.partition("/")[0]
                self.alerts.watch(key, kind, piece=lane.piece, channel=lane.state.id)
