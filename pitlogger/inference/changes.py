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

from pitlogger.inference.appearance import LIFTED, LOADED
from pitlogger.inference.semi_markov import Branch, Exit
from pitlogger.model.cooks import ON_PIT, Stage

STEP_MIN = 2.0
UNSEEN = 0.003  # a step, where a change is about due
SHORTEST_MS = 6 * 60_000
UNSEEN_FOR_MS = 6 * 60_000  # what shows in a core alone began some time before
WARM_C = 40.0  # no piece is that before the fire
BOX_FELT_MS = 30 * 60_000  # until a core falls as it does in a box
COOKED_C = 57.0  # nor taken off below it
EARLY_C, SELDOM, SELDOM_EARLY = 15.0, 0.02, 0.002  # how likely far from the target
HEAT_ARRIVES_MIN, HEAT_TURNS_MIN = 25.0, 13.0  # medians; log spreads below
ARRIVES_LOG_SD, TURNS_LOG_SD = 0.8, 0.9
LOOK_S, LOOK_LOG_SD, LOOK_WEIGHT = 30.0, 0.3, 3.0  # half a minute; so sure as by three looks
WORK_S, WORK_LOG_SD = 100.0, 0.5
LOG_RATIO_MOST = 3.5
PULL_AGAIN = 0.5
SOON_MS = 4 * 60_000  # a piece is weighed so long after it was moved
OFF_PIT = frozenset({LIFTED, Stage.RESTING, Stage.HOLDING})
_AFTER = frozenset({"off-pit", "rested", "at-wrap", "out"})
_UNLIKE = math.log(0.002)  # weighed as what it is not
_AT_ONCE = math.log(0.1)  # moved with no lid to be seen
LONGEST = 4.0  # medians: after so many heat is surely there


class Sign(NamedTuple):
    """A sign that somebody did something to the piece.

    ``kind`` is ``lid`` (opened for ``open_s`` seconds, 0 if not known), ``in`` (a probe was put
    into cold meat), ``out`` (a probe was pulled out of warm meat), or the checkpoint at which the
    piece was weighed.
    """

    kind: str
    at_ms: int
    open_s: float = 0.0


@dataclass(frozen=True, slots=True)
class Aims:
    """What is meant to happen to a piece; temperatures of the lead core.

    ``wrap_at_c`` is ``None`` for a piece that stays bare; ``seen_c`` was its core at the last lid.
    """

    wrap_at_c: float | None = None
    pull_at_c: float = 93.0
    seen_c: float = 0.0


@dataclass(slots=True)
class Looks:
    """How long lids of a cook stand open for a look: what is usual, then what was seen.

    Log-normal both, as is work: the ratio of the two is what a lid says.
    """

    n: int = 0
    log_sum: float = 0.0

    def take(self, open_s: float) -> None:
        """Take a lid that was opened while nothing was to be done."""
        self.n += 1
        self.log_sum += math.log(max(open_s, 5.0))

    def ratio(self, open_s: float) -> float:
        """Return how much likelier work than a look keeps a lid open so long."""
        known = (LOOK_WEIGHT * math.log(LOOK_S) + self.log_sum) / (LOOK_WEIGHT + self.n)
        sd = LOOK_LOG_SD * math.sqrt(1.0 + 1.0 / (LOOK_WEIGHT + self.n))
        work = max(math.log(WORK_S), known + 0.5)
        x = math.log(open_s)
        look_z, work_z = (x - known) / sd, (min(x, work) - work) / WORK_LOG_SD
        if x < known:
            look_z = 0.0
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
    fresh = [sign for sign in signs if sign.at_ms - branch.entered_ms >= SHORTEST_MS]
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
            found = _carved(fresh)
            if branch.stage == Stage.RESTING and age_min > 15.0 + BOX_FELT_MS / 60_000:
                found.append(Exit(Stage.HOLDING, t_ms - BOX_FELT_MS, UNSEEN))
        case _:
            pass
    whole = sum(way.p for way in found)
    if whole > 0.97:
        found = [way._replace(p=way.p * 0.97 / whole) for way in found]
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
        p = {"lid": 0.25, "in": 0.2}.get(sign.kind)
        if p is not None:
            found.append(Exit(LOADED, sign.at_ms, p))
    return found


def _near(core_c: float, at_c: float, early: float, late: float) -> float:
    """Return how well a core fits an action due at ``at_c``, 0 to 1."""
    off = core_c - at_c
    return math.exp(-0.5 * (off / (early if off < 0 else late)) ** 2)


def log_explained(stage: str, entered_ms: int, signs: Sequence[Sign], looks: Looks) -> float:
    """Return how well a branch explains what was done: lids, a probe pulled, a weighing.

    Work keeps a lid open for long, a look does not; putting on and taking off takes either. A piece
    is weighed, and its probe pulled, rather minutes than hours after it was taken off.

    Args:
        looks: How long lids stood open in this cook when there was nothing to do.
    """
    log = 0.0
    for kind, at_ms, open_s in signs:
        age_ms = at_ms - entered_ms
        if kind == "lid":
            if age_ms == 0 and open_s > 0:
                ratio = looks.ratio(open_s)
                log += math.log(ratio if stage == Stage.WRAPPED else 0.5 + 0.5 * ratio)
        elif kind in _AFTER:
            is_off = stage in OFF_PIT
            if kind == "rested":
                log += 0.0 if is_off else _UNLIKE
            elif is_off if kind != "at-wrap" else stage == Stage.WRAPPED:
                log += (
                    _AT_ONCE if age_ms <= 0 else -age_ms / SOON_MS if age_ms < 5 * SOON_MS else -5.0
                )
            elif kind != "out" and stage != Stage.CARVED:
                log += _UNLIKE
            else:
                log += -5.0 if kind == "out" and stage in ON_PIT else 0.0
    return log


def meant(core_c: float, at_c: float) -> float:
    """Return the share of people who have done by this core what they meant to do at ``at_c``.

    Most are late by the minutes that it takes to see and to get up, some think otherwise by
    then, a few never do it.
    """
    return 0.97 * (0.8 * _below((core_c - at_c - 1.5) / 3.0) + 0.2 * _below((core_c - at_c) / 9.0))


def _below(z: float) -> float:
    return 0.5 * math.erfc(-z / math.sqrt(2.0))


def _at_a_lid(core_c: float | None, at_c: float, seen_c: float, seldom: float) -> float:
    """Return how likely what is meant at ``at_c`` is done at a lid, and was at none before.

    Args:
        seen_c: Its core at the last lid.
        seldom: The chance at a lid that finds the core where the last one did.
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
        found.append(Exit(Stage.WRAPPED, t_ms, 0.3 * UNSEEN * near))
    p_lid = _at_a_lid(core_c, at_c, aims.seen_c, 0.1)
    for sign in signs:
        p = {"lid": p_lid, "at-wrap": 0.9}.get(sign.kind, 0.0)
        if p > 0.001:
            found.append(Exit(Stage.WRAPPED, sign.at_ms, p))
    return found


def _taken_off(signs: Sequence[Sign], core_c: float | None, aims: Aims, t_ms: int) -> list[Exit]:
    if core_c is not None and core_c < COOKED_C:
        return []
    near = 0.1
    if core_c is not None:
        seldom = SELDOM_EARLY if core_c < aims.pull_at_c - EARLY_C else SELDOM
        near = max(seldom, _near(core_c, aims.pull_at_c, 4.0, 12.0))
    p_lid = max(_at_a_lid(core_c, aims.pull_at_c, aims.seen_c, PULL_AGAIN), 0.6 * SELDOM_EARLY)
    found = [Exit(LIFTED, t_ms - UNSEEN_FOR_MS, UNSEEN * near), *_carved(signs)]
    for sign in signs:
        p = {"lid": p_lid, "out": 0.3 * near, "off-pit": 0.9, "rested": 0.9}.get(sign.kind, 0.0)
        if p > 0.001:
            found.append(Exit(LIFTED, sign.at_ms, p))
    return found


def _carved(signs: Sequence[Sign]) -> list[Exit]:
    return [
        Exit(Stage.CARVED, sign.at_ms, 0.95)
        for sign in signs
        if sign.kind in ("carved", "sauced", "served")
    ]
