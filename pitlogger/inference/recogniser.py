"""Recognises the stages of one piece from its readings: one filter per piece, a step each 2 min."""

from __future__ import annotations

from bisect import bisect
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

from pitlogger.inference.appearance import LOADED, ROOM_C, Look, log_likelihood
from pitlogger.inference.changes import EARLY_C, Aims, Due, Looks, Sign, exits, log_explained
from pitlogger.inference.semi_markov import Branch, Exit, advance
from pitlogger.inference.warming import Warming
from pitlogger.model.cooks import BEFORE_FIRE, Stage

MINUTE_MS = 60_000
LOOK_MS = 2 * MINUTE_MS
SLOPE_MINUTES = 13
SLOPE_LEAST = 6
GAP_MS = 5 * MINUTE_MS
JUMP_C = 8.0  # within a minute or two: no meat does that
WARM_C = 45.0
COLD_C = 26.0
BACK_C = 12.0
BOILING_C = 101.0
MEAT_MINUTES, MEAT_C_PER_H = 10, 20.0
REHEATS_MS = 100 * MINUTE_MS
AGREE_MS = 4 * MINUTE_MS  # entries so near to each other are one moment
LEFT = 0.8  # so likely has to be what nobody set before something that somebody did
LEAST_AGREEING = 0.05  # else what was thought till then is forgotten
SETTLED = 0.8  # of the chance within one such moment
PATIENCE_MS = 24 * MINUTE_MS  # then the time is told as well as it is known
DENIED_MS = 10 * MINUTE_MS
PACE_MS, MOST_FALLS = 40 * MINUTE_MS, 90
AT_FIRST_MS, LATELY_MS = 20 * MINUTE_MS, 24 * MINUTE_MS
PACE_LEAST, LEAST_PACE = 6, 0.04  # looks; what falls slower than that is not off the pit
FALLING = frozenset({Stage.RESTING, Stage.HOLDING, Stage.COOLING})
FOUND = frozenset({
    Stage.SMOKING, Stage.WRAPPED, Stage.RESTING, Stage.HOLDING, Stage.CARVED, Stage.COOLING,
    Stage.CHILLED, Stage.REHEATING,
})  # fmt: skip


class StageProposal(NamedTuple):
    """A stage that a piece is probably in: since when, and with what probability.

    ``between_ms`` is ``None`` where that moment is known to some minutes; else it is the likeliest,
    and nine tenths of the chance lie between these.
    """

    stage: Stage
    at_ms: int
    p: float
    between_ms: tuple[int, int] | None = None


@dataclass(slots=True)
class Sight:
    """The state of recognition for one piece; plain fields, so that a snapshot is exact.

    Attributes:
        branches: The stages it may be in, with their probabilities.
        known: Stages that are certain, marked by a person or accepted, in order.
        denied: Stages that a person said it was not in, with their times.
        minutes: The last core temperatures, as (milliseconds, degrees Celsius).
        out: Whether its probe is out of the meat.
        out_from_c: The core temperature before the probe was pulled out.
        waiting: For each stage that is likely enough, when it became so while its time is still
            uncertain.
        left: Stages before the last certain one that nobody set: still proposed.
    """

    branches: list[Branch] = field(default_factory=lambda: [Branch(Stage.RAW, 0, 1.0, [])])
    known: list[tuple[Stage, int]] = field(default_factory=list)
    denied: list[tuple[Stage, int]] = field(default_factory=list)
    minutes: list[tuple[int, float]] = field(default_factory=list)
    signs: list[tuple[str, int, float, float, float]] = field(default_factory=list)
    weighed: list[tuple[str, int]] = field(default_factory=list)  # checkpoints taken as signs
    out: bool = False
    out_from_c: float = 0.0
    last_c: float | None = None  # in meat
    looked_ms: int = 0
    unheated_ms: int = -1  # when its pit was last colder than its core
    looks: Looks = field(default_factory=Looks)
    seen_c: float = 0.0  # its core at the last lid
    top_c: float = 0.0  # its highest core
    wrap: Due = field(default_factory=Due)
    warming: Warming = field(default_factory=Warming)
    falls: list[tuple[int, float]] = field(default_factory=list)  # shares an hour, at each look
    fell_ms: int = 0  # since when it falls
    settled: int = 1  # how much of a path is known
    lid_ms: int = -1  # of the last lid that was opened
    waiting: dict[Stage, int] = field(default_factory=dict)
    left: list[StageProposal] = field(default_factory=list)

    # -- observations ------------------------------------------------------------------------

    def sign(
        self, kind: str, at_ms: int, open_s: float = 0.0, other: float = 0.0, blur_s: float = 0.0
    ) -> None:
        """Take in a sign of an action; see ``changes.Sign``."""
        self.signs.append((kind, at_ms, open_s, other, blur_s))

    def minute(self, t_ms: int, core_c: float | None, pit_c: float | None, aims: Aims) -> None:
        """Take in the core and pit temperatures of one minute, ``None`` for one that is missing."""
        if core_c is not None:
            self._core(t_ms, core_c)
        if t_ms - self.looked_ms < LOOK_MS:
            return
        self.looked_ms = t_ms
        look = Look(t_ms, None, None, pit_c, self.out)
        if not self.out and self.minutes and t_ms - self.minutes[-1][0] < GAP_MS:
            look.core_c, look.slope = self.minutes[-1][1], self._slope()
            if pit_c is not None and pit_c < look.core_c:
                self.unheated_ms = t_ms
            elif self.unheated_ms >= 0:
                look.pit_c = look.core_c - 6.0  # its heat is not felt yet
                is_felt = look.slope is not None and look.slope > 2.0
                if is_felt or t_ms - self.unheated_ms > REHEATS_MS:
                    self.unheated_ms = -1
        if self.last_c is not None:
            self.top_c = max(self.top_c, self.last_c)
        self._fall(look)
        signs = [Sign(*one) for one in self.signs]
        self.signs.clear()
        lids = [sign for sign in signs if sign.kind == "lid"]
        due = 0.0
        if aims.wrap_at_c is not None and self.last_c is not None:
            due = self.wrap.step(self.last_c, aims.wrap_at_c, bool(lids))
        aims = Aims(aims.wrap_at_c, aims.pull_at_c, self.seen_c, self.top_c, due)

        def ways(branch: Branch) -> Sequence[Exit]:
            found = exits(branch, signs, self.last_c, aims, t_ms)
            if not self.denied:
                return found
            return [way for way in found if not self._is_denied(way.stage, way.entered_ms)]

        known: dict[str, float] = {}
        if look.core_c is not None and look.slope is not None and look.pit_c is not None:
            self.warming.take(t_ms, look.core_c, look.slope, look.pit_c)
        lag_min: list[float] = []  # found out where somebody may have wrapped it

        def seen(stage: str, entered_ms: int) -> float:
            if stage in FALLING:
                look.pace = self._pace(stage, entered_ms, t_ms)
                known[stage] = log_likelihood(stage, look)
            elif stage not in known:
                known[stage] = log_likelihood(stage, look)
                if stage == Stage.SMOKING:
                    known[stage] += self.wrap.log_missed
            let_go = 0.0
            if stage == Stage.WRAPPED:
                if not lag_min:
                    lag_min.append(self.warming.lag_min(self._on_ms()))
                let_go = self.warming.log_let_go(entered_ms, t_ms, lag_min[0])
            return (
                known[stage]
                + let_go
                + (log_explained(stage, entered_ms, signs, self.looks) if signs else 0.0)
            )

        self.branches = advance(self.branches, ways, seen)
        self._looked_in(lids, aims)

    def _looked_in(self, lids: Sequence[Sign], aims: Aims) -> None:
        """Take in the lids of a step, long before anything was due as looks."""
        aim_c = aims.pull_at_c if aims.wrap_at_c is None else aims.wrap_at_c
        if lids and self.last_c is not None:
            self.seen_c = max(self.seen_c, self.last_c)
            if WARM_C < self.last_c < aim_c - EARLY_C:
                for lid in lids:
                    self.looks.take(lid.open_s, lid.blur_s)

    def _core(self, t_ms: int, core_c: float) -> None:
        minutes = self.minutes
        if minutes and t_ms - minutes[-1][0] > GAP_MS:
            minutes.clear()
        before = minutes[-1][1] if minutes else None
        if before is not None and abs(core_c - before) > JUMP_C:
            minutes.clear()
            self._jump(t_ms - MINUTE_MS, before, core_c)
        elif self.out and (self._is_back(core_c) or self._is_meat(core_c)):
            self.out = False
        minutes.append((t_ms, core_c))
        if len(minutes) > SLOPE_MINUTES:
            del minutes[0]
        if not self.out:
            self.last_c = core_c

    def _jump(self, at_ms: int, before_c: float, core_c: float) -> None:
        """Take in a jump of the core: its probe was put in, pulled out or moved."""
        is_raw = sum(one.p for one in self.branches if one.stage in (Stage.RAW, LOADED)) > 0.5
        if is_raw and core_c < COLD_C:
            self.out = False
            self.sign("in", at_ms)
        elif not is_raw and not self.out and before_c > WARM_C:
            if abs(core_c - before_c) >= BACK_C:  # else it was pushed to another spot
                self.out, self.out_from_c = True, before_c
                if core_c < WARM_C or core_c > BOILING_C:
                    self.sign("out", at_ms)  # in the air, not in a cup
        elif self.out and self._is_back(core_c):
            self.out = False

    def _is_back(self, core_c: float) -> bool:
        return abs(core_c - self.out_from_c) < BACK_C

    def _is_meat(self, core_c: float) -> bool:
        """Return whether a probe that was out is as warm as cooking meat and changes as slowly."""
        slope = self._slope() if len(self.minutes) >= MEAT_MINUTES else None
        return WARM_C < core_c < BOILING_C and slope is not None and abs(slope) < MEAT_C_PER_H

    def _slope(self) -> float | None:
        minutes = self.minutes
        if len(minutes) < SLOPE_LEAST:
            return None
        (a_ms, a), (b_ms, b) = minutes[0], minutes[1]
        (c_ms, c), (d_ms, d) = minutes[-2], minutes[-1]
        return (c + d - a - b) / (c_ms + d_ms - a_ms - b_ms) * 3_600_000

    def _on_ms(self) -> int:
        """Return when the piece was put on the pit, as far as is known."""
        path = self.known or max(self.branches, key=lambda one: one.p).path
        return next((at_ms for stage, at_ms in path if stage in (LOADED, Stage.SMOKING)), 0)

    def _fall(self, look: Look) -> None:
        """Take in the core's fall as a share of its distance to the room."""
        if look.core_c is None or look.slope is None or look.core_c <= WARM_C:
            return
        pace = -look.slope / (look.core_c - ROOM_C)
        if pace <= LEAST_PACE:
            self.fell_ms = look.t_ms
        elif look.t_ms - self.fell_ms >= AT_FIRST_MS:  # till then it falls faster and faster
            self.falls.append((look.t_ms, pace))
            del self.falls[:-MOST_FALLS]

    def _pace(self, stage: str, entered_ms: int, t_ms: int) -> float | None:
        """Return how fast the core fell during the rest, up to ``stage`` or until recently."""
        first, end = entered_ms - PACE_MS, entered_ms
        if stage == Stage.RESTING:
            first, end = entered_ms, t_ms - LATELY_MS
        falls = self.falls
        known = falls[bisect(falls, (first, 0.0)) : bisect(falls, (end, 0.0))]
        if len(known) < PACE_LEAST:
            return None
        return sorted(pace for _, pace in known)[len(known) * 3 // 4]

    # -- what people said --------------------------------------------------------------------

    def settle(self, stage: Stage, at_ms: int) -> None:
        """Take a stage as certain: marked by a person, or a proposal that was accepted."""
        self.known.append((stage, at_ms))
        here = Stage.RAW if stage in BEFORE_FIRE else stage
        if here is Stage.IN_TRANSIT:
            here = Stage.HOLDING
        elif here not in FOUND and here is not Stage.RAW:
            here = Stage.CARVED  # nothing is looked for from there
        path: list[tuple[str, int]] = [one for one in self.known[:-1] if one[0] in FOUND]
        kept: list[Branch] = []
        earlier: dict[str, list[tuple[int, float]]] = {}
        for one in self.branches:
            told = self._unsettled(one)
            place = next((at for at, entry in enumerate(told) if _agrees(entry, here, at_ms)), None)
            if place is not None:
                whole = [*path, (here, at_ms), *told[place + 1 :]]
                kept.append(Branch(*whole[-1], one.p, whole[:-1]))
                for known, entered_ms in told[:place]:
                    earlier.setdefault(known, []).append((entered_ms, one.p))
        share = sum(one.p for one in kept)
        self.left = [one for one in self.left if one.stage != stage and here is not Stage.RAW]
        if share < LEAST_AGREEING:
            kept, share = [Branch(here, at_ms, 1.0, path)], 1.0
        else:
            self.left += [
                _proposal(known, sorted(entries), share, is_timed=False)
                for known, entries in earlier.items()
                if known in FOUND and sum(p for _, p in entries) >= LEFT * share
            ]
        for one in kept:
            one.p /= share
        self.branches = kept
        self.settled = len(path) + 1
        self.waiting.clear()

    def deny(self, stage: Stage, at_ms: int) -> None:
        """Take in that the piece did not enter a stage at about that time."""
        self.denied.append((stage, at_ms))
        self.left = [one for one in self.left if not self._is_denied(one.stage, one.at_ms)]
        kept = [
            one for one in self.branches
            if not any(self._is_denied(*entry) for entry in self._unsettled(one))
        ]  # fmt: skip
        if not kept:
            last = self.known[-1] if self.known else (Stage.RAW, 0)
            kept = [Branch(last[0], last[1], 1.0, [])]
            self.settled = 1
        whole = sum(one.p for one in kept)
        for one in kept:
            one.p /= whole
        self.branches = kept
        self.waiting.clear()

    def _is_denied(self, stage: str, at_ms: int) -> bool:
        return any(one == stage and abs(at_ms - ms) < DENIED_MS for one, ms in self.denied)

    # -- proposals ---------------------------------------------------------------------------

    def proposals(self, t_ms: int, chance: float) -> list[StageProposal]:
        """Return the probable stages after the last certain one, in order.

        Args:
            t_ms: The present.
            chance: The least probability of a stage that is proposed.
        """
        entries: dict[str, list[tuple[int, float]]] = {}
        for one in self.branches:
            for stage, at_ms in self._unsettled(one):
                if stage in FOUND:
                    entries.setdefault(stage, []).append((at_ms, one.p))
        found = list(self.left)
        for stage, known in entries.items():
            p = sum(share for _, share in known)
            if p < chance:
                continue
            since_ms = self.waiting.setdefault(Stage(stage), t_ms)
            is_timed = _moment(sorted(known))[1] >= SETTLED * p
            if is_timed or t_ms - since_ms >= PATIENCE_MS:
                found.append(_proposal(stage, sorted(known), 1.0, is_timed=is_timed))
        return sorted(found, key=lambda one: one.at_ms)

    def _unsettled(self, one: Branch) -> list[tuple[str, int]]:
        return [*one.path, (one.stage, one.entered_ms)][self.settled :]


def _agrees(entry: tuple[str, int], stage: str, at_ms: int) -> bool:
    return entry[0] == stage and abs(entry[1] - at_ms) <= AGREE_MS


def _proposal(
    stage: str, entries: list[tuple[int, float]], whole: float, *, is_timed: bool
) -> StageProposal:
    """Return what is proposed of a stage that may have been entered at some times, in order."""
    p = sum(share for _, share in entries)
    between = None if is_timed else (_quantile(entries, 0.05 * p), _quantile(entries, 0.95 * p))
    return StageProposal(Stage(stage), _moment(entries)[0], min(p / whole, 0.999), between)


def _quantile(entries: list[tuple[int, float]], share: float) -> int:
    """Return the first of some times by which so much of their probability is reached."""
    for at_ms, p in entries:
        share -= p
        if share <= 1e-12:
            return at_ms
    return entries[-1][0]


def _moment(entries: list[tuple[int, float]]) -> tuple[int, float]:
    """Return the most probable time among some, and the probability of the times around it."""
    most, share, end = 0.0, 0.0, 0
    near = entries
    for start, (at_ms, p) in enumerate(entries):
        while end < len(entries) and entries[end][0] - at_ms <= AGREE_MS:
            share += entries[end][1]
            end += 1
        if share > most:
            most, near = share, entries[start:end]
        share -= p
    return _quantile(near, most / 2), most
