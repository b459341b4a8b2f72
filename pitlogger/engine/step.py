"""``Engine.step``: one input in, outputs out, in one visible order.

    reading   adjust > vet > steady or trend > tag > limits
    command   accept > journal > book folded anew > lanes and limits compiled anew
    tick      delays that ended, channels gone silent, shelves that ran out, forecasts due
    forecast  journal

No clock, file, socket or loop in here. Time comes with the input and never runs back.
"""

from __future__ import annotations

import heapq
from collections.abc import Iterable

from pitlogger.engine.annunciator import Annunciator, coldest
from pitlogger.engine.commands import accept
from pitlogger.engine.inputs import (
    Command,
    ForecastRequest,
    ForecastResult,
    Input,
    Output,
    SteadyMass,
    Target,
    Tick,
)
from pitlogger.engine.lanes import (
    STALE_LEAST_MS,
    Lane,
    build_lane,
    silence_limit_ms,
    silence_matters,
)
from pitlogger.engine.state import GAPS_KEPT, LEVEL_TIME_MS, ChannelState, EngineState
from pitlogger.model.book import Book, fold
from pitlogger.model.cooks import BEFORE_FIRE, ON_PIT, Channel, Stage
from pitlogger.model.journal import (
    AlertActed,
    Body,
    CookStarted,
    Corrected,
    DeviceChanged,
    Entry,
    ProbeMoved,
    RunStarted,
    SpotRead,
    TroubleChanged,
    Undone,
)
from pitlogger.model.readings import Quality, Reading, Site, Tagged
from pitlogger.pipeline.vet import JUMP_MC, vet_jump
from pitlogger.rules.conditions import Limit, inert
from pitlogger.rules.messages import Units
from pitlogger.rules.policies import Policy
from pitlogger.rules.targets import piece_limits

SPOT_VALID_MS = 10 * 60_000  # how long a hand reading stands beside the fixed probes
FORECAST_EVERY_MS = 600_000
FORECAST_LAG_MS = 30_000
_BAD_PROBE = frozenset({Quality.OPEN, Quality.SHORTED, Quality.FAULT})
_PASSING = (AlertActed, DeviceChanged, RunStarted, TroubleChanged)  # not part of a cook's book


class Engine:
    """Runs inputs through the pipeline, the rules and the journal.

    Args:
        state: Everything it knows; new, or from a snapshot.
        policy: How alerts behave and what the targets are.
        units: In which messages speak.
        channels: Channels of the configuration, as their drivers declare them.
    """

    def __init__(
        self,
        state: EngineState,
        policy: Policy,
        units: Units | None = None,
        channels: Iterable[Channel] = (),
    ) -> None:
        self.state = state
        self.policy = policy
        self.book = Book()
        self.lanes: dict[str, Lane] = {}
        self.limits: dict[str, list[Limit]] = {}  # by piece
        self._known = {channel.id: channel for channel in channels}
        self._timers: list[tuple[int, str, str]] = []  # due_ms, what, key
        self._out: list[Output] = []
        self.alerts = Annunciator(state.watches, policy, units or Units(), self._timer, self._enter)
        self._compile(state.t_ms, "")
        self._resume_timers()

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
                self.state.forecasts[given.body.piece] = given.memory
            self._enter(given.t_ms, given.body, "")
        return self._taken() if self._out else ()

    def _taken(self) -> tuple[Output, ...]:
        out, self._out = tuple(self._out), []
        return out

    # -- readings -------------------------------------------------------------------------

    def _reading(self, reading: Reading) -> Tagged:
        channel, t_ms, raw, quality, stable = reading
        lane = self.lanes.get(channel) or self._new_lane(channel)
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
                state.keep_minute(t_ms)
        elif lane.site is Site.BENCH and state.steadiness.update(t_ms, value, stable):
            self._out.append(SteadyMass(channel, t_ms, state.steadiness.steady_mg))
        if not lane.low <= value <= lane.high:
            self._judge_lane(lane, t_ms)
        return Tagged(channel, t_ms, raw, value, quality, lane.site, lane.piece, stable)

    def _hear(self, lane: Lane, t_ms: int) -> int:
        """Note that a channel was heard; return the time since it last was."""
        state = lane.state
        gap_ms = t_ms - state.heard_ms
        if state.heard_ms < 0:
            self._timer(t_ms + STALE_LEAST_MS, "silence", state.id)
            gap_ms = 0
        elif lane.interval_ms is None:
            if len(state.gaps_ms) == GAPS_KEPT:
                del state.gaps_ms[0]
            state.gaps_ms.append(gap_ms)
        state.heard_ms = t_ms
        if state.stale:
            state.stale = False
            self._timer(t_ms + STALE_LEAST_MS, "silence", state.id)
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
        held = [
            state
            for channel in self.book.cores(piece)
            if (state := self.state.channels.get(channel)) is not None and state.valid()
        ]
        spot = self.state.channels.get(f"{piece}/spot")
        if spot is not None and t_ms - spot.good_ms <= SPOT_VALID_MS:
            held.append(spot)
        return coldest(held)

    # -- ticks ------------------------------------------------------------------------------

    def _timer(self, due_ms: int, what: str, key: str) -> None:
        heapq.heappush(self._timers, (due_ms, what, key))

    def declared(self, channel: str) -> Channel | None:
        """Return a channel as the book, else the configuration, has it."""
        assignment = self.book.assignment(channel)
        known = self._known.get(channel)
        if assignment is None or assignment.channel.quantity is None:
            return known or (None if assignment is None else assignment.channel)
        return assignment.channel

    def next_due_ms(self) -> int | None:
        """Return when the next timer is due, ``None`` if none is set."""
        return self._timers[0][0] if self._timers else None

    def _tick(self, t_ms: int) -> None:
        self.state.t_ms = self.state.tick_ms = t_ms
        while self._timers and self._timers[0][0] <= t_ms:
            _, what, key = heapq.heappop(self._timers)
            if what == "silence":
                self._silence(key, t_ms)
            elif what == "delay":
                self.alerts.delay_ended(key, t_ms)
                self._reband(self.state.watches[key].piece)
            elif what == "shelf":
                self.alerts.shelf_ended(key, t_ms)
            elif what == "realarm":
                self.alerts.realarm(key, t_ms)
            elif what == "forecast":
                self._ask_forecasts(t_ms)

    def _silence(self, channel: str, t_ms: int) -> None:
        lane = self.lanes[channel]
        state = lane.state
        if state.stale:
            return
        limit_ms = silence_limit_ms(lane)
        if t_ms - state.heard_ms <= limit_ms:
            self._timer(state.heard_ms + limit_ms + 1, "silence", channel)
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
        for piece in self.book.pieces:
            target = self.target_ahead(piece)
            if target is not None:
                self._out.append(ForecastRequest(piece, target, t_ms, t_ms + FORECAST_LAG_MS))
        self.state.forecast_ms = t_ms + FORECAST_EVERY_MS
        self._timer(self.state.forecast_ms, "forecast", "")

    def target_ahead(self, piece: str) -> Target | None:
        """Return the next target of a piece that lies ahead, ``None`` if none does."""
        held = self.book.pieces[piece]
        if held.ended_ms is not None or not self.book.cores(piece):
            return None
        if held.stage is Stage.RESTING:
            return "rest"
        if held.stage not in ON_PIT and not (held.stage in BEFORE_FIRE and not held.marks):
            return None
        ahead: Target
        for kind, ahead in (("wrap-due", "wrap"), ("pull-due", "pull")):
            key = f"{kind}/{piece}"
            applies = any(limit.key == key for limit in self.limits.get(piece, []))
            if applies and not self.state.watches[key].holds:
                return ahead
        return None

    # -- commands ---------------------------------------------------------------------------------

    def _command(self, command: Command) -> None:
        state = self.state
        if command.key and command.key in state.keys:
            return
        body = self._rename(command.body)
        body = accept(body, self.book, state.entries, state.watches, command.t_ms)
        state.t_ms = max(state.t_ms, command.t_ms)
        if isinstance(body, CookStarted):
            self._begin_cook()
        entry = self._enter(command.t_ms, body, command.by, command.key)
        if command.key:
            state.keys[command.key] = (entry.run, entry.seq)
        if command.origin is not None:
            state.origins[f"{command.origin[0]}/{command.origin[1]}"] = (entry.run, entry.seq)
        if isinstance(body, AlertActed):
            self.alerts.act(body, command.t_ms, command.by)
        elif isinstance(body, DeviceChanged):
            key = f"device-lost/{body.device}"
            self.alerts.watch(key, "device-lost")
            self.alerts.condition(key, command.t_ms, body.status == "lost", body.message, body.remedy)
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
        if isinstance(body, CookStarted) and self.state.forecast_ms is None:
            self._ask_forecasts(command.t_ms)

    def _begin_cook(self) -> None:
        """Forget the last cook; channels and instrument alarms stay."""
        self.state.entries.clear()
        self.state.origins.clear()
        for key in [key for key, watch in self.state.watches.items() if watch.piece is not None]:
            del self.state.watches[key]
        for channel in self.state.channels.values():
            channel.minutes_ms.clear()
            channel.minutes_mc.clear()

    def _rename(self, body: Body) -> Body:
        """Point a replayed undo or correction at the entry as it is numbered here."""
        if isinstance(body, Undone | Corrected):
            found = self.state.origins.get(f"{body.of_run}/{body.of_seq}")
            if found is not None and isinstance(body, Undone):
                return Undone(*found)
            if found is not None and isinstance(body, Corrected):
                return Corrected(*found, body.body, body.reason)
        return body

    def _take_spot(self, spot: SpotRead, t_ms: int) -> None:
        """Judge a hand reading: for the lead core's targets and beside the coldest core."""
        piece = spot.piece or ""
        state = self.state.channels.setdefault(f"{piece}/spot", ChannelState(f"{piece}/spot"))
        state.value = spot.value_mc
        state.level = float(spot.value_mc)
        state.heard_ms = state.good_ms = spot.at_ms
        state.quality = Quality.GOOD
        for limit in self.limits.get(piece, []):
            if limit.channel is None:
                self._judge(limit, t_ms, state)
            elif not any(core == limit.channel for core in self._heard_cores(piece)):
                self.alerts.judge(limit, t_ms, spot.value_mc, state.level)
        self._reband(piece)

    def _heard_cores(self, piece: str) -> list[str]:
        return [core for core in self.book.cores(piece) if core in self.state.channels]

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
        self.limits = {
            piece: piece_limits(book, held, self.policy) for piece, held in book.pieces.items()
        }
        every = [limit for limits in self.limits.values() for limit in limits]
        self.alerts.set_limits(every, t_ms, by)
        for channel in book.channels:
            self.state.channels.setdefault(channel, ChannelState(channel))
        self.lanes = {}
        for state in self.state.channels.values():
            lane = self.lanes[state.id] = build_lane(state, book, self._known)
            self._watch_channel(lane)
            lane.limits = [
                limit
                for limit in self.limits.get(lane.piece or "", [])
                if limit.channel == state.id or (limit.channel is None and lane.site is Site.CORE)
            ]
            lane.low, lane.high = inert(lane.limits, self.state.watches)

    def _watch_channel(self, lane: Lane) -> None:
        for key in (lane.stale_key, lane.fault_key):
            if key is not None:
                kind = key.partition("/")[0]
                self.alerts.watch(key, kind, piece=lane.piece, channel=lane.state.id)

    def _resume_timers(self) -> None:
        """Set the timers of a loaded state as if it had never stopped."""
        for channel in self.state.channels.values():
            if channel.heard_ms >= 0 and not channel.stale:
                self._timer(channel.heard_ms + STALE_LEAST_MS, "silence", channel.id)
        for watch in self.state.watches.values():
            rule = self.policy.rules[watch.kind]
            if watch.pending_ms is not None:
                self._timer(watch.pending_ms + rule.on_delay_ms, "delay", watch.key)
            if watch.clearing_ms is not None:
                self._timer(watch.clearing_ms + rule.off_delay_ms, "delay", watch.key)
            if watch.until_ms is not None:
                self._timer(watch.until_ms, "shelf", watch.key)
            if rule.realarm_ms is not None and watch.holds:
                self._timer(watch.raised_ms + rule.realarm_ms, "realarm", watch.key)
        if self.state.forecast_ms is not None:
            self._timer(self.state.forecast_ms, "forecast", "")
