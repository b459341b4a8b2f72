"""The fast form: a scenario becomes a capture, its cook file and its truth, with no devices.

Plant, people and faults run at the pace of the engine; the people react to the prompts of a
real engine that is fed as they go. Same seed, same bytes.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from itertools import chain

from pitlogger.bootstrap.engines import new_engine
from pitlogger.engine.feed import feed
from pitlogger.engine.inputs import Command, Output
from pitlogger.errors import PitloggerError
from pitlogger.model.alerts import AlertState
from pitlogger.model.journal import Body, CookStarted, Entry, RunStarted
from pitlogger.model.quantities import Quantity
from pitlogger.model.readings import Quality, Reading
from pitlogger.service.timekeeping import KNOWN_AFTER_MS, Start, Timekeeper
from pitlogger.store.rows import ClockRow
from pitlogger_simulators.people.hand import Saying
from pitlogger_simulators.people.person import SeenAlert
from pitlogger_simulators.play import Outlet, Play, stage
from pitlogger_simulators.scenarios.scenario import Scenario
from pitlogger_simulators.senml import decision_line, readings_line
from pitlogger_simulators.truth import Row, Truth

IDLE_STEP_MS = 5_000
WORK_STEP_MS = 1_000
SCALE_STEP_MS = 500
MINUTE_MS = 60_000
RUN = "simulated"
_WAITING = frozenset(
    {
        AlertState.UNACKNOWLEDGED,
        AlertState.RETURNED_UNACKNOWLEDGED,
        AlertState.LATCHED_UNACKNOWLEDGED,
    }
)


@dataclass(frozen=True, slots=True)
class HostClocks:
    """The clocks of the host in a play; the wall clock is as wrong as its faults say."""

    play: Play

    def engine_ms(self) -> int:
        return self.play.now_ms

    def utc_ms(self) -> int:
        return self.play.now_ms + self.play.faults.clock_step_ms(self.play.now_ms)

    def monotonic_ms(self) -> int:
        return self.play.now_ms - self.play.scenario.start_ms


class Unwritten:
    """Takes the times that are put on record; a capture tells them as decisions alone."""

    def set_clock(self, clock: ClockRow) -> None:
        pass


def is_set(utc_ms: int) -> bool:
    """Return whether a wall clock that says so was ever set."""
    return utc_ms >= KNOWN_AFTER_MS


class Performance:
    """A scenario as it is played; ``lines`` gives the capture, ``rows`` gathers the truth.

    Args:
        seed: Instead of the scenario's own.
        on_output: Told of everything the engine gives.
    """

    def __init__(
        self,
        scenario: Scenario,
        seed: int | None = None,
        on_output: Callable[[list[Output]], None] | None = None,
    ) -> None:
        self.scenario = scenario
        self.engine = new_engine(RUN)
        self.play = stage(scenario, self._steady_mg, seed)
        self.truth = Truth(self.play, self.engine.policy)
        self.rows: list[Row] = []
        self._on_output = on_output
        self._unsaid: list[Saying] = []  # while the host had no power
        self._cut_ms: int | None = None
        self._unwritten = Unwritten()
        self._timekeeper: Timekeeper | None = None
        self._minute = -1
        self._end_ms: int | None = None

    def lines(self) -> Iterator[str]:
        """Play it to the end; yield the lines of the capture as they come."""
        play = self.play
        self.rows.extend(self.truth.opening())
        self._hand_in(Command(play.now_ms, CookStarted(self.scenario.cook)))
        while play.now_ms < self.end_ms:
            play.advance_to(min(self.end_ms, play.now_ms + self._step_ms()))
            has_power = play.faults.has_power(play.now_ms)
            if has_power:
                yield from self._come_back()
                yield from self._readings()
            elif self._cut_ms is None:
                self._cut_ms = play.now_ms
            play.crew.tick(play.now_ms, self._shown() if has_power else ())
            yield from self._decisions(has_power)
            self._witness()
            if play.crew.is_done and self._end_ms is None:
                self._end_ms = play.now_ms + self.scenario.file.tail

    @property
    def end_ms(self) -> int:
        """When it ends: soon after all is done, at the latest at the scenario's limit."""
        return min(self.scenario.end_ms, self._end_ms or self.scenario.end_ms)

    def _step_ms(self) -> int:
        if any(scale.is_on for scale in self.play.kitchen.scales.values()):
            return SCALE_STEP_MS
        return WORK_STEP_MS if self.play.crew.at_work else IDLE_STEP_MS

    # -- what goes in ---------------------------------------------------------------------

    def _readings(self) -> Iterator[str]:
        given = []
        for outlet in self.play.outlets.values():
            reading = self._reading(outlet)
            if reading is not None:
                self._hand_in(reading)
                quantity = Quantity.MASS if outlet.is_scale else Quantity.TEMPERATURE
                given.append((reading, quantity))
        if given:
            yield readings_line(given)

    def _reading(self, outlet: Outlet) -> Reading | None:
        play = self.play
        if play.now_ms < outlet.next_ms:
            return None
        outlet.next_ms = play.now_ms + outlet.interval_ms
        sample = play.sample(outlet.channel)
        if sample is None or not play.comes(outlet.channel, has_bytes=False):
            return None
        milli = 1000
        value = None if sample.value is None else round(sample.value * milli)
        quality = sample.quality if value is None else Quality.GOOD
        return Reading(outlet.channel, play.now_ms, value, quality, sample.stable)

    def _decisions(self, has_power: bool) -> Iterator[str]:
        for person in self.play.crew.people:
            hand = person.hand
            said, hand.outbox = hand.outbox, []
            if not has_power:
                self._unsaid += said
                continue
            said, self._unsaid = self._unsaid + said, []
            for saying in said:
                entry = self._decide(saying.body, saying.by)
                hand.answers[saying.key] = None if entry is None else (entry.run, entry.seq)
                if entry is not None:
                    yield decision_line(
                        self.play.now_ms, saying.body, saying.by, (entry.run, entry.seq)
                    )

    def _decide(self, body: Body, by: str) -> Entry | None:
        """Hand a decision in; a refused one is written down as such and changes nothing."""
        try:
            outputs = self._hand_in(Command(self.play.now_ms, body, by))
        except PitloggerError as fault:
            row: Row = {"t": self.play.now_ms / 1000, "by": by, "refused": body.kind}
            self.rows.append(row | {"why": str(fault)})
            return None
        kind = type(body)
        return next(o for o in outputs if isinstance(o, Entry) and isinstance(o.body, kind))

    def _hand_in(self, given: Reading | Command) -> list[Output]:
        outputs = list(chain.from_iterable(feed(self.engine, given)))
        if self._on_output is not None:
            self._on_output(outputs)
        return outputs

    # -- the host -------------------------------------------------------------------------

    def _come_back(self) -> Iterator[str]:
        """Tell of a power cut that ended, and of a clock that was set."""
        play = self.play
        bodies: list[Body] = []
        if self._cut_ms is not None:
            gap_ms = play.now_ms - self._cut_ms
            bodies.append(RunStarted("simulated-boot", "", utc_trusted=True, gap_ms=gap_ms))
            self._cut_ms = None
        bodies += self._time_told()
        for body in bodies:
            self._decide(body, "")
            yield decision_line(play.now_ms, body, "")

    def _time_told(self) -> Sequence[Body]:
        """Return what the host's own timekeeper finds of its wall clock now."""
        now_ms = self.play.now_ms
        wall = HostClocks(self.play)
        if self._timekeeper is None:
            known = is_set(wall.utc_ms())
            start = Start(now_ms, known, 0, wall.utc_ms() - now_ms)
            self._timekeeper = Timekeeper(RUN, wall, start, is_set)
            return self._timekeeper.begin(self._unwritten)
        return self._timekeeper.look(now_ms, self._unwritten)

    # -- what is seen ---------------------------------------------------------------------

    def _steady_mg(self, channel: str) -> int | None:
        state = self.engine.state.channels.get(channel)
        return None if state is None else state.steadiness.steady_mg

    def _shown(self) -> list[SeenAlert]:
        return [
            SeenAlert(watch.key, watch.kind, watch.wakes)
            for watch in self.engine.state.watches.values()
            if watch.state in _WAITING
        ]

    def _witness(self) -> None:
        self.rows.extend(self.truth.doings())
        self.rows.extend(self.truth.passings(self.engine.book))
        minute = self.play.now_ms // MINUTE_MS
        if minute != self._minute:
            self._minute = minute
            self.rows.extend(self.truth.look(self.engine.book))
