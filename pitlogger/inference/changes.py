"""The probability that a piece changes stage: when a lid opens, a probe moves, it is weighed.

Almost everything done to a piece on a pit needs the lid open, so the time of a change is taken
from the lid; a small probability is left for changes without any sign. How likely a lid opening
means a change depends on how far the core is from the target of that change and, for wrapping,
on how long the lid stayed open: a look takes less than a minute, wrapping takes several. Common
practice, no source: a piece is wrapped or taken off within half an hour of reaching its target,
and seldom long before.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import NamedTuple

from pitlogger.inference.appearance import CHILLED_C, COOL_ROOM_C, LIFTED, LOADED
from pitlogger.inference.semi_markov import Branch, Exit
from pitlogger.model.cooks import ON_PIT, Stage

STEP_MIN = 2.0
UNSEEN, BOXED = 0.003, 0.0002  # a step, where a change is about due
SHORTEST_MS = 6 * 60_000
UNSEEN_FOR_MS = 6 * 60_000  # what shows in a core alone began some time before
WARM_C = 40.0  # no piece is that before the fire
FELT_MS = 15 * 60_000  # until a core falls as it does in a box or in the cold
COOKED_C = 57.0  # seldom taken off below it
EARLY_C, SELDOM, SELDOM_EARLY = 15.0, 0.02, 0.002  # how likely far from the target
HEAT_ARRIVES_MIN, HEAT_TURNS_MIN = 40.0, 13.0  # medians; log spreads below
ARRIVES_LOG_SD, TURNS_LOG_SD = 0.8, 0.9
LOOK_S, LOOK_LOG_SD, LOOK_WEIGHT = 30.0, 0.3, 3.0  # half a minute; so sure as by three looks
WORK_S, WORK_LOG_SD = 100.0, 0.5
SHORTEST_LOOK_S = 5.0
LOG_RATIO_MOST = 2.3
DONE_AT_LID, DONE_SOON = 0.8, 0.1  # what is due is done at a lid, and mostly within 20 minutes
WIDE, WIDE_C, CLOSE_C = 0.1, 9.0, 3.0  # most keep close to what they meant to do
MISSED, SELDOM_UNSEEN = 0.02, 0.0003  # lids that no pit shows
TABLE_MS, PUT_BACK = 8 * 60_000, math.log(5.0)  # wrapped on the table: taken out, put back
PULL_AGAIN = 0.5
FALLEN_C = 3.0  # it was off the pit
SOON_MS = 4 * 60_000  # a piece is weighed so long after it was moved
JUST_OFF = frozenset({LIFTED, Stage.RESTING})
COOKED = JUST_OFF | {Stage.HOLDING, Stage.CARVED, Stage.COOLING, Stage.CHILLED, Stage.REHEATING}
_AFTER = frozenset({"off-pit", "rested", "at-wrap", "out"})
_UNLIKE = math.log(0.002)  # weighed as what it is not
_AT_ONCE = math.log(0.1)  # moved with no lid to be seen
_LONG_AFTER = -5.0
LONGEST = 4.0  # medians: after so many heat is surely there


class Sign(NamedTuple):
    """A sign that somebody did something to the piece.

    ``kind`` is ``lid`` (opened for ``open_s`` seconds, 0 if not known, maybe for another piece),
    ``in`` (a probe was put into cold meat), ``out`` (a probe was pulled out of warm meat), or the
    checkpoint at which the piece was weighed.
    """

    kind: str
    at_ms: int
    open_s: float = 0.0
    other: float = 0.0  # how likely another piece was due then
    blur_s: float = 0.0  # a slow channel may tell ``open_s`` so much too long, at either end


@dataclass(frozen=True, slots=True)
class Aims:
    """What is meant to happen to a piece; temperatures of the lead core.

    ``wrap_at_c`` is ``None`` for a piece that stays bare; ``seen_c`` was its core at the last lid,
    ``top_c`` the highest so far; ``due`` how likely its wrap is due, where it is bare.
    """

    wrap_at_c: float | None = None
    pull_at_c: float = 93.0
    seen_c: float = 0.0
    top_c: float = 0.0
    due: float = 0.0


@dataclass(slots=True)
class Due:
    """Whether a wrap is due that was not done yet: it waits for a lid. Plain fields.

    ``share`` is the probability of that, ``log_missed`` the log-likelihood that no lid was opened
    for it in the last step.
    """

    share: float = 0.0
    log_missed: float = 0.0
    core_c: float = 0.0

    def step(self, core_c: float, at_c: float, is_opened: bool) -> float:
        """Take the core of a step, and whether a lid was opened in it; return what was due."""
        newly = 0.0
        if core_c > self.core_c:
            before = meant(self.core_c, at_c)
            newly = (meant(core_c, at_c) - before) / (1.0 - before)
            self.core_c = core_c
        due = self.share + (1.0 - self.share) * newly
        done = due * (DONE_AT_LID if is_opened else DONE_SOON)
        self.share = (due - done) / (1.0 - done)
        self.log_missed = 0.0 if is_opened else math.log(1.0 - done)
        return due


@dataclass(slots=True)
class Looks:
    """How long the lid is open for a look: the usual time, updated by the looks of this cook.

    Times are log-normal, for looks and for work.
    """

    n: int = 0
    log_sum: float = 0.0
    log_squares: float = 0.0

    def take(self, open_s: float, blur_s: float) -> None:
        """Take in a lid opened while no action was due."""
        log = math.log(max(open_s - blur_s, SHORTEST_LOOK_S))
        self.n += 1
        self.log_sum += log
        self.log_squares += log * log

    def ratio(self, open_s: float, blur_s: float = 0.0) -> float:
        """Return the likelihood ratio of work to a look."""
        usual, weight = math.log(LOOK_S), LOOK_WEIGHT + self.n
        known = (LOOK_WEIGHT * usual + self.log_sum) / weight
        squares = LOOK_WEIGHT * (usual**2 + LOOK_LOG_SD**2) + self.log_squares
        sd = math.sqrt(max(squares / weight - known**2, LOOK_LOG_SD**2) * (1.0 + 1.0 / weight))
        work = max(math.log(WORK_S), known + 0.5)
        shortest = math.log(max(open_s - 2 * blur_s, SHORTEST_LOOK_S))
        look_z = max(0.0, (shortest - known) / sd)
        work_z = min(0.0, (math.log(open_s) - work) / WORK_LOG_SD)
        log = 0.5 * (look_z**2 - work_z**2) + math.log(sd / WORK_LOG_SD)
        return math.exp(max(-LOG_RATIO_MOST, min(LOG_RATIO_MOST, log)))


def exits(
    branch: Branch, signs: Sequence[Sign], core_c: float | None, aims: Aims, t_ms: int
) -> list[Exit]:
    """Return the stages that a branch may change to in one step, with their probabilities.

    Args:
        branch: The stage the piece may be in, and since when.
        signs: The signs since the step before.
        core_c: Core temperature before the signs, ``None`` if it is not known.
        aims: The targets of the piece.
        t_ms: Time of the step.
    """
    fresh = [one for one in signs if one.at_ms - branch.entered_ms >= SHORTEST_MS] if signs else []
    age_min = (t_ms - branch.entered_ms) / 60_000
    found: list[Exit] = []
    match branch.stage:
        case Stage.RAW:
            found = _put_on(signs, core_c, t_ms)
        case "loaded":
            p = hazard(age_min, HEAT_ARRIVES_MIN, ARRIVES_LOG_SD)
            found = [Exit(Stage.SMOKING, branch.entered_ms, p)]
        case Stage.SMOKING:
            found = _taken_off(fresh, core_c, aims, t_ms)
            if aims.wrap_at_c is not None:
                found += _wrapped(fresh, core_c, aims, t_ms)
        case Stage.WRAPPED:
            found = _taken_off(fresh, core_c, aims, t_ms)
        case "lifted":
            p = hazard(age_min, HEAT_TURNS_MIN, TURNS_LOG_SD)
            found = [Exit(Stage.RESTING, branch.entered_ms, p), *_carved(signs)]
        case Stage.RESTING | Stage.HOLDING:
            found = [*_carved(fresh), *_back(branch, fresh, core_c, aims)]
            if age_min > 15.0 + FELT_MS / 60_000:
                if branch.stage == Stage.RESTING:
                    found.append(Exit(Stage.HOLDING, t_ms - FELT_MS, BOXED))
                found.append(Exit(Stage.COOLING, t_ms - FELT_MS, _cooled(core_c)))
        case Stage.COOLING | Stage.CHILLED:
            found = [*_carved(fresh), *_warmed(branch.stage, core_c, age_min, t_ms)]
        case _:
            pass
    whole = sum(way.p for way in found)
    if whole > 0.99:
        found = [way._replace(p=way.p * 0.99 / whole) for way in found]
    return found


@lru_cache(maxsize=1024)
def hazard(age_min: float, median_min: float, log_sd: float) -> float:
    """Return the probability that a state of log-normal duration ends within this step."""

    def left(age: float) -> float:
        if age <= 0:
            return 1.0
        return 0.5 * math.erfc(math.log(age / median_min) / (log_sd * math.sqrt(2.0)))

    before, after = left(age_min - STEP_MIN / 2), left(age_min + STEP_MIN / 2)
    surely = 0.3 if age_min > LONGEST * median_min else 0.0
    return 0.5 if before < 1e-9 else max(surely, min(0.5, 1.0 - after / before))


def _put_on(signs: Sequence[Sign], core_c: float | None, t_ms: int) -> list[Exit]:
    if core_c is not None and core_c > WARM_C:
        return [Exit(Stage.SMOKING, t_ms, 0.2)]  # first heard of when it was on long since
    found = [Exit(LOADED, t_ms, UNSEEN)]
    for sign in signs:
        p = {"lid": 0.25, "in": 0.02}.get(sign.kind)  # into meat on the table, mostly
        if p is not None:
            found.append(Exit(LOADED, sign.at_ms, p))
    return found


def due(core_c: float | None, aims: Aims) -> float:
    """Return the probability, 0 to 1, that a piece is about to be wrapped or taken off."""
    if core_c is None:
        return 0.0
    wrap = 0.0 if aims.wrap_at_c is None else _near(core_c, aims.wrap_at_c, 4.0, 12.0)
    return max(wrap, _near(core_c, aims.pull_at_c, 4.0, 12.0))


def _near(core_c: float, at_c: float, early: float, late: float) -> float:
    """Return how well a core fits an action due at ``at_c``, 0 to 1."""
    off = core_c - at_c
    return math.exp(-0.5 * (off / (early if off < 0 else late)) ** 2)


def log_explained(stage: str, entered_ms: int, signs: Sequence[Sign], looks: Looks) -> float:
    """Return the log-likelihood of the signs of a step, given a branch.

    Work keeps a lid open for long, a look does not; putting on and taking off may take either. A
    piece is weighed, and its probe pulled, minutes rather than hours after it was taken off.

    Args:
        looks: How long the lid is open for a look in this cook.
    """
    log = 0.0
    for kind, at_ms, open_s, other, blur_s in signs:
        age_ms = at_ms - entered_ms
        if kind == "lid":
            if age_ms == 0 and open_s > 0:
                ratio = looks.ratio(open_s, blur_s)
                ratio /= 1.0 - other + other * ratio
                log += math.log(ratio if stage == Stage.WRAPPED else 0.5 + 0.5 * ratio)
            elif stage == Stage.WRAPPED and age_ms <= TABLE_MS:
                is_short = looks.ratio(max(open_s, SHORTEST_LOOK_S), blur_s) < 1.0
                log += PUT_BACK if is_short else 0.0
        elif kind in _AFTER:
            log += _after(kind, stage, age_ms)
    return log


def _after(kind: str, stage: str, age_ms: int) -> float:
    """Return the log-likelihood of a pulled probe or a weighing, ``age_ms`` into a stage."""
    belongs = stage == Stage.WRAPPED if kind == "at-wrap" else stage in JUST_OFF
    if kind == "rested":
        return 0.0 if stage in COOKED else _UNLIKE
    if belongs:
        return _AT_ONCE if age_ms <= 0 else -min(age_ms / SOON_MS, -_LONG_AFTER)
    if kind == "out":
        return _LONG_AFTER if stage in COOKED or stage in ON_PIT else 0.0
    return 0.0 if stage == Stage.CARVED else _UNLIKE


def meant(core_c: float, at_c: float) -> float:
    """Return the probability that an action due at ``at_c`` has been taken by this core.

    Most people are a few minutes late, some change their minds, a few never do it.
    """
    wide = _below((core_c - at_c) / WIDE_C)
    return 0.97 * ((1.0 - WIDE) * _below((core_c - at_c - 1.5) / CLOSE_C) + WIDE * wide)


def _below(z: float) -> float:
    return 0.5 * math.erfc(-z / math.sqrt(2.0))


def _at_a_lid(core_c: float | None, at_c: float, seen_c: float, seldom: float) -> float:
    """Return the probability that an action due at ``at_c`` is taken at this lid, not before.

    Args:
        seen_c: Its core at the last lid.
        seldom: The probability if the core is no hotter than at the lid before.
    """
    if core_c is None:
        return seldom
    before = meant(seen_c, at_c)
    near = _near(core_c, at_c, 4.0, 12.0)
    return max(seldom * near, (meant(core_c, at_c) - before) / (1.0 - before))


def _wrapped(signs: Sequence[Sign], core_c: float | None, aims: Aims, t_ms: int) -> list[Exit]:
    at_c = aims.wrap_at_c
    assert at_c is not None
    near = 0.1 if core_c is None else _near(core_c, at_c, 4.0, 12.0)
    found = []
    if near > 0.05:
        unseen = max(SELDOM_UNSEEN * near, MISSED * DONE_SOON * aims.due)
        found.append(Exit(Stage.WRAPPED, t_ms, unseen))
    if not signs:
        return found
    p_of = {"lid": max(0.1 * near, DONE_AT_LID * aims.due), "at-wrap": 0.9}
    for sign in signs:
        p = p_of.get(sign.kind, 0.0)
        if p > 0.001:
            found.append(Exit(Stage.WRAPPED, sign.at_ms, p))
    return found


def _taken_off(signs: Sequence[Sign], core_c: float | None, aims: Aims, t_ms: int) -> list[Exit]:
    if core_c is not None and core_c < WARM_C:
        return []
    near = 0.1
    if core_c is not None:
        seldom = SELDOM_EARLY if core_c < aims.pull_at_c - EARLY_C else SELDOM
        near = max(seldom, _near(core_c, aims.pull_at_c, 4.0, 12.0))
    found = [Exit(LIFTED, t_ms - UNSEEN_FOR_MS, UNSEEN * near), *_carved(signs)]
    if not signs:
        return found
    p_lid = max(_at_a_lid(core_c, aims.pull_at_c, aims.seen_c, PULL_AGAIN), 0.6 * SELDOM_EARLY)
    p_of = {"lid": p_lid, "out": 0.3 * near, "off-pit": 0.9, "rested": 0.9}
    for sign in signs:
        p = p_of.get(sign.kind, 0.0)
        if p > 0.001:
            found.append(Exit(LIFTED, sign.at_ms, p))
    return found


def _cooled(core_c: float | None) -> float:
    """Return the probability that cooling begins: low while hot, high below any room."""
    if core_c is None or core_c > COOKED_C:
        return 0.00004
    return 0.0003 if core_c > COOL_ROOM_C else 0.05


def _back(branch: Branch, signs: Sequence[Sign], core_c: float | None, aims: Aims) -> list[Exit]:
    """Return how a piece whose core has fallen goes back on the pit, as it was before."""
    if core_c is None or core_c > aims.top_c - FALLEN_C:
        return []
    before = [stage for stage, _ in branch.path if stage in ON_PIT]
    stage = before[-1] if before else Stage.SMOKING
    return [Exit(stage, sign.at_ms, SELDOM) for sign in signs if sign.kind == "lid"]


def _warmed(stage: str, core_c: float | None, age_min: float, t_ms: int) -> list[Exit]:
    """Return how a cooling piece becomes chilled, and how it is reheated."""
    found = []
    if stage == Stage.COOLING and core_c is not None and core_c <= CHILLED_C:
        found.append(Exit(Stage.CHILLED, t_ms, 0.5))
    if age_min > 2 * UNSEEN_FOR_MS / 60_000:
        found.append(Exit(Stage.REHEATING, t_ms - UNSEEN_FOR_MS, SELDOM_EARLY))
    return found


def _carved(signs: Sequence[Sign]) -> list[Exit]:
    return [
        Exit(Stage.CARVED, sign.at_ms, 0.98)
        for sign in signs
        if sign.kind in ("carved", "sauced", "served")
    ]
