"""Instruments: probes that are faulty, stuck, swapped, moved, out of the meat or drifting.

All of it is one alert a channel, ``probe-fault``; its message says which. What cannot be
believed is not judged: a stuck probe until it moves, one that hangs in the air until it is
back, two swapped ones until somebody says which is which (or has seen it, or the stage goes
on: nobody may be left without an alarm for longer than that). A moved probe reads truly, but
another spot; of two that drift apart nobody knows which errs; one that failed its check errs
by a known amount: those go on being judged.
"""

from __future__ import annotations

from bisect import bisect_right
from itertools import combinations

from pitlogger.engine.annunciator import Annunciator
from pitlogger.engine.compiled_channel import Lane
from pitlogger.engine.state import EngineState
from pitlogger.model.alerts import AlertState
from pitlogger.model.book import Book, PieceBook
from pitlogger.model.cooks import ON_PIT, Stage
from pitlogger.model.journal import CheckMade
from pitlogger.model.quantities import show_duration, show_temperature
from pitlogger.model.readings import Quality, Site
from pitlogger.pipeline import neighbours
from pitlogger.pipeline.stuck import STILL_IN_RISE_MS
from pitlogger.rules.messages import Units
from pitlogger.safety.instruments.stillness import BESIDE_MS, stands_alone

BAD_PROBE = frozenset({Quality.OPEN, Quality.SHORTED, Quality.FAULT})
MINUTE_MS = 60_000
SETTLES_MS = 6 * MINUTE_MS  # after a jump, until it is plain that it was no swap
HANDS_MS = 15 * MINUTE_MS  # somebody entered work on the piece so near to it: no surprise
SHOWN_MS = 30 * MINUTE_MS
IN_AIR_MS = 5 * MINUTE_MS
SAY_IT = "Say it with `pitlogger channel moved`"
TAKE_ONE = "take a hand reading with `pitlogger temp`"


class Instruments:
    """Judges probes, each bin and each minute; raises ``probe-fault`` with the annunciator."""

    def __init__(self, state: EngineState, alerts: Annunciator, units: Units) -> None:
        self.state = state
        self.alerts = alerts
        self.units = units

    # -- each reading and each bin ------------------------------------------------------------

    def set_quality(self, lane: Lane, t_ms: int, quality: Quality) -> None:
        """Take the quality of a channel that has changed."""
        lane.state.quality = quality
        if lane.fault_key is not None and not lane.state.doubt:
            self.alerts.condition(lane.fault_key, t_ms, quality in BAD_PROBE)

    def bin(self, lane: Lane, lanes: dict[str, Lane], book: Book, t_ms: int) -> None:
        """Look each ten seconds for what no core on a pit can do: stand still, or be air."""
        state = lane.state
        is_core = lane.site is Site.CORE and _is_on_pit(book, lane.piece)
        if not _may_be_on_pit(lane, book) or not neighbours.is_in_air(state.value or 0):
            state.air_since_ms = None
        elif state.air_since_ms is None:
            state.air_since_ms = t_ms
            self.alerts.freeze(lane.limits)
        if lane.fault_key is None or state.doubt not in ("", "stuck"):
            return
        still = state.still
        stuck = still.defies_noise(t_ms)
        if not stuck and is_core and still.still_ms(t_ms) >= STILL_IN_RISE_MS:
            pit = _pit_of(book, lanes, lane.piece or "")
            pit_mc = None if pit is None or not pit.state.valid() else pit.state.value
            stuck = still.defies_heat(t_ms, state.value or 0, pit_mc)
        if stuck or _stands_alone(lane, lanes, book, t_ms):
            self._doubt(
                lane, "stuck", t_ms,
                f"{state.id} is stuck: exactly {self._shown(state.value)} for "
                f"{show_duration(still.still_ms(t_ms))}",
                f"Push the plug home and move the cable; {TAKE_ONE} meanwhile. "
                "If it stays, put in another probe.",
            )  # fmt: skip
        elif state.doubt == "stuck":
            state.trend.restart()  # its first step is no move of the probe
            self._trust(lane, t_ms)

    def checked(self, lane: Lane, check: CheckMade, t_ms: int) -> None:
        """Take a verification: a probe outside its tolerance is in doubt until a good one."""
        if lane.fault_key is None or check.method == "scale":
            return
        if check.within:
            if lane.state.doubt == "check":
                self._trust(lane, t_ms)
            return
        self._doubt(
            lane, "check", t_ms,
            f"{lane.state.id} failed its {check.method} check: "
            f"{_kelvin(check.error)} off, tolerance {_kelvin(check.tolerance)}",
            "Take it out of service. What it read since its last good check is in doubt: "
            "see `pitlogger record show`.",
        )  # fmt: skip

    # -- each minute ----------------------------------------------------------------------------

    def minute(self, lanes: dict[str, Lane], book: Book, t_ms: int) -> None:
        """Look at what probes say of each other, and whether a doubt is settled."""
        cores = [lane for lane in lanes.values() if _may_be_on_pit(lane, book) and lane.fault_key]
        for lane in lanes.values():
            if lane.state.doubt and self._is_settled(lane, book, t_ms):
                self._trust(lane, t_ms)
        for lane in cores:
            self._air(lane, lanes, book, t_ms)
        self._swapped(cores, t_ms)
        for one, other in combinations(cores, 2):
            if one.piece == other.piece:
                self._drifting(one, other, lanes, book, t_ms)
                self._drifting(other, one, lanes, book, t_ms)
        for lane in cores:
            self._moved(lane, book, t_ms)

    def _air(self, lane: Lane, lanes: dict[str, Lane], book: Book, t_ms: int) -> None:
        state = lane.state
        if state.air_since_ms is None:
            if state.doubt == "air":
                self._trust(lane, t_ms)
            return
        if state.doubt or t_ms - state.air_since_ms < IN_AIR_MS or not state.heard_well():
            return
        level = state.value or 0
        pit = _pit_of(book, lanes, lane.piece or "")
        pit_mc = None if pit is None or not pit.state.valid() else pit.state.value
        if pit is not None and pit_mc is not None and neighbours.sits_in_meat(pit_mc, level):
            self._doubt(
                lane, "air", t_ms,
                f"{state.id} and {pit.state.id} look swapped: {state.id} reads "
                f"{self._shown(level)} like a pit, {pit.state.id} {self._shown(pit_mc)} like meat",
                f"Change the plugs or the places over, then {_lower(SAY_IT)}.",
            )  # fmt: skip
            self._freeze(pit)
            return
        self._doubt(
            lane, "air", t_ms,
            f"{state.id} reads {self._shown(level)}: it is out of the meat",
            "Put it into the thickest part, off the bone.",
        )  # fmt: skip

    def _swapped(self, cores: list[Lane], t_ms: int) -> None:
        """Look for two cores whose levels stepped onto each other four minutes ago."""
        at_ms = t_ms - neighbours.AFTER_MS
        stepped = []
        for lane in cores:
            state = lane.state
            if state.doubt == "swapped" or state.said_ms > at_ms or not state.heard_well():
                continue
            step = neighbours.step_at(state.minutes_ms, state.minutes_mc, at_ms)
            if step is not None and abs(step[1] - step[0]) >= neighbours.SWAPPED_LEAST_MC / 2:
                stepped.append((lane, step))
        for (one, a), (other, b) in combinations(stepped, 2):
            if other.state.doubt != "swapped" and neighbours.have_swapped(*a, *b):
                first, second = one.state.id, other.state.id
                self._doubt(
                    one, "swapped", t_ms,
                    f"{first} and {second} were swapped: each reads what the other read",
                    f"Put them back or change the plugs over, then {_lower(SAY_IT)} for both.",
                )  # fmt: skip
                other.state.doubt, other.state.doubt_ms = "swapped", t_ms
                self._freeze(other)

    def _drifting(
        self, lane: Lane, other: Lane, lanes: dict[str, Lane], book: Book, t_ms: int
    ) -> None:
        mine, theirs = lane.state, other.state
        if mine.doubt not in ("", "drifting") or theirs.doubt:
            return
        pit = _pit_of(book, lanes, lane.piece or "")
        if pit is None or not neighbours.is_steady(
            pit.state.minutes_ms, pit.state.minutes_mc, t_ms
        ):
            return
        moved_ms = max(mine.trend.moved_ms or 0, theirs.trend.moved_ms or 0)
        if t_ms - moved_ms < 2 * SHOWN_MS:
            return
        if neighbours.drift_apart(
            mine.minutes_ms, mine.minutes_mc, theirs.minutes_ms, theirs.minutes_mc, t_ms
        ):
            self._doubt(
                lane, "drifting", t_ms,
                f"{mine.id} drifts: for an hour it fell while {theirs.id} beside it rose",
                f"Check both: {TAKE_ONE}. One that errs goes out of service.",
            )  # fmt: skip

    def _moved(self, lane: Lane, book: Book, t_ms: int) -> None:
        state = lane.state
        trend = state.trend
        if state.doubt or trend.moved_ms is None or trend.moved_from_mc is None:
            return
        since_ms = t_ms - trend.moved_ms
        if not SETTLES_MS <= since_ms < SHOWN_MS or trend.moved_ms <= state.said_ms:
            return
        held = book.pieces[lane.piece or ""]
        if _hands_on(book, held, trend.moved_ms - HANDS_MS):
            return
        self._doubt(
            lane, "moved", t_ms,
            f"{state.id} was moved: it jumped from {self._shown(trend.moved_from_mc)} to "
            f"{self._shown(trend.level_mc)}",
            f"See that it sits in the thickest part, off the bone. {SAY_IT}.",
        )  # fmt: skip

    # -- doubts ---------------------------------------------------------------------------------

    def _doubt(self, lane: Lane, doubt: str, t_ms: int, message: str, remedy: str) -> None:
        state = lane.state
        state.doubt, state.doubt_ms = doubt, t_ms
        assert lane.fault_key is not None
        self.alerts.condition(lane.fault_key, t_ms, True, message, remedy)
        if not state.is_believed():
            self._freeze(lane)

    def _freeze(self, lane: Lane) -> None:
        self.alerts.freeze(lane.limits)

    def _trust(self, lane: Lane, t_ms: int) -> None:
        state = lane.state
        state.doubt, state.said_ms = "", t_ms
        if lane.fault_key is not None:
            self.alerts.condition(lane.fault_key, t_ms, state.quality in BAD_PROBE)

    def _is_settled(self, lane: Lane, book: Book, t_ms: int) -> bool:
        """Return whether somebody has entered, or time has shown, that a doubt is over."""
        state = lane.state
        if state.doubt in ("stuck", "check"):
            return False  # it moves, or a good check says so
        told_ms = max((at_ms for at_ms, channel in book.moved if channel == state.id), default=-1)
        placed = book.assignment(state.id)
        if placed is not None:
            told_ms = max(told_ms, placed.from_ms, placed.begun_said_ms or -1)
        held = book.pieces.get(lane.piece or "")
        told_ms = max(told_ms, -1 if held is None else held.told_ms)
        watch = self.state.watches.get(lane.fault_key or "")
        is_seen = watch is not None and watch.state is AlertState.ACKNOWLEDGED
        if told_ms > state.doubt_ms or (state.doubt != "air" and is_seen):
            return True
        return state.doubt in ("moved", "drifting") and t_ms - state.doubt_ms >= SHOWN_MS

    def _shown(self, milli_c: int | None) -> str:
        return "-" if milli_c is None else show_temperature(milli_c, self.units.temperature)


def _stands_alone(lane: Lane, lanes: dict[str, Lane], book: Book, t_ms: int) -> bool:
    """Return whether a core stands still while what it sits in does not."""
    since_ms = lane.state.still.since_ms
    if lane.site is not Site.CORE or since_ms is None or t_ms - since_ms < BESIDE_MS:
        return False
    beside = [one for one in lanes.values() if one.piece == lane.piece and one is not lane]
    others = [_minutes(one) for one in beside
              if one.site is Site.CORE and one.state.gives_credit()]  # fmt: skip
    pit = _pit_of(book, lanes, lane.piece or "") if _is_on_pit(book, lane.piece) else None
    return stands_alone(
        (since_ms, t_ms), lane.state.value or 0, lane.state.still.step, others,
        [] if pit is None else _minutes(pit),
    )  # fmt: skip


def _minutes(lane: Lane) -> list[tuple[int, int]]:
    """Return the minutes of a probe since it was moved or doubted last."""
    state = lane.state
    first = bisect_right(state.minutes_ms, max(state.said_ms, state.trend.moved_ms or -1))
    return list(zip(state.minutes_ms[first:], state.minutes_mc[first:], strict=True))


def _kelvin(milli_kelvin: int) -> str:
    return f"{milli_kelvin / 1000:.1f} C"


def _lower(text: str) -> str:
    return text[0].lower() + text[1:]


def _is_on_pit(book: Book, piece: str | None) -> bool:
    held = book.pieces.get(piece or "")
    return held is not None and held.is_open and held.stage in ON_PIT


def _may_be_on_pit(lane: Lane, book: Book) -> bool:
    """Return whether a lane is the core of a piece that nobody said is off the pit."""
    held = book.pieces.get(lane.piece or "")
    return lane.site is Site.CORE and held is not None and held.is_open and held.may_be_on_pit


def _pit_of(book: Book, lanes: dict[str, Lane], piece: str) -> Lane | None:
    """Return the pit of a piece: the one it names, else the only one there is."""
    pits = [lane for lane in lanes.values() if lane.site is Site.PIT]
    named = book.pieces[piece].piece.pit if piece in book.pieces else None
    for lane in pits:
        if lane.state.id == named:
            return lane
    return pits[0] if len(pits) == 1 else None


def _hands_on(book: Book, held: PieceBook, since_ms: int) -> bool:
    """Return whether anybody has entered work on a piece since then."""
    piece = held.piece.id
    marked = any(
        mark.at_ms >= since_ms and (not mark.is_unconfirmed or mark.stage is Stage.SMOKING)
        for mark in held.marks
    )
    weighed = any(weighing.weighed.at_ms >= since_ms for weighing in held.weighings)
    read = any(spot.piece == piece and spot.at_ms >= since_ms for _, spot in book.spots)
    placed = any(
        assigned.from_ms >= since_ms
        for channel in book.cores(piece)
        if (assigned := book.assignment(channel)) is not None
    )
    return marked or weighed or read or placed
