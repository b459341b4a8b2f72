"""How likely a stage gives way to the next one: at a lid that was opened, a probe, a weighing.

Nearly all that is done to a piece on a pit is done through an open lid, so a change has its time
from there; what is left over may happen unseen. How likely a lid means a change depends on how
far the core is from the target of that change, and for wrapping on how long it stood open: a look
takes less than a minute, wrapping some. Common practice, no source: wrapping and taking off
follow their target within half an hour, seldom precede it by much.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import NamedTuple

from pitlogger.inference.appearance import LIFTED, LOADED
from pitlogger.inference.semi_markov import Branch, Exit
from pitlogger.model.cooks import Stage

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
LOOK_S, LOOK_SPREAD_S = 55.0, 6.0  # how long a lid stands open for a look at most
LOOKS_DIFFER, LONGEST_LOOK_S = 1.25, 90.0
UNKNOWN_LONG = 0.5
LONGEST = 4.0  # medians: after so many heat is surely there


class Sign(NamedTuple):
    """Something that happens when people do things.

    ``lid``: opened for ``open_s`` seconds, 0 where that is not known; ``in``: a probe came into
    cold meat; ``out``: one came out of warm meat; any other word is a checkpoint at which the
    piece was weighed.
    """

    kind: str
    at_ms: int
    open_s: float = 0.0


@dataclass(frozen=True, slots=True)
class Aims:
    """What is meant to happen to a piece; temperatures of the lead core.

    ``wrap_at_c`` is ``None`` for a piece that stays bare.
    """

    wrap_at_c: float | None = None
    pull_at_c: float = 93.0


def exits(
    branch: Branch, signs: Sequence[Sign], core_c: float | None, aims: Aims, t_ms: int
) -> list[Exit]:
    """Return the ways out of a branch in a step.

    Args:
        signs: What was seen since the step before.
        core_c: The core before the signs, ``None`` where it is not known.
        t_ms: Of the step.
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
                found += _wrapped(fresh, core_c, aims.wrap_at_c, t_ms)
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
    """Return the chance to end within this step, of a state that lasts a log-normal time."""

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
    """Return how likely an act belongs to a core that is to be at ``at_c``: 0 to 1."""
    off = core_c - at_c
    return math.exp(-0.5 * (off / (early if off < 0 else late)) ** 2)


def _long(open_s: float, look_s: float) -> float:
    """Return how likely a lid stood open for work, not for a look: 0 to 1."""
    if open_s <= 0:
        return UNKNOWN_LONG
    most_s = max(LOOK_S, min(LONGEST_LOOK_S, LOOKS_DIFFER * look_s))
    return 1.0 / (1.0 + math.exp((most_s - open_s) / LOOK_SPREAD_S))


def log_explained(stage: str, entered_ms: int, lids: Sequence[Sign], look_s: float = 0.0) -> float:
    """Return how well a branch explains how long lids stood open.

    Work takes long, a look does not; a lid that stood open long while nothing was done is a
    surprise.

    Args:
        look_s: The longest that one stood open in this cook when there was nothing to do.
    """
    log = 0.0
    for lid in lids:
        long = _long(lid.open_s, look_s)
        if entered_ms != lid.at_ms:
            log += math.log(1.0 - 0.85 * long)
        elif stage in (LIFTED, Stage.RESTING):
            log += math.log(0.6)
        else:
            log += math.log(0.1 + 0.9 * long)
    return log


def _wrapped(signs: Sequence[Sign], core_c: float | None, at_c: float, t_ms: int) -> list[Exit]:
    found = []
    near = 0.1 if core_c is None else _near(core_c, at_c, 4.0, 12.0)
    if near > 0.05:
        found.append(Exit(Stage.WRAPPED, t_ms, 0.3 * UNSEEN * near))
    for sign in signs:
        p = 0.0
        if sign.kind == "lid":
            p = 0.85 * near
        elif sign.kind == "at-wrap":
            p = 0.9
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
    found = [Exit(LIFTED, t_ms - UNSEEN_FOR_MS, UNSEEN * near), *_carved(signs)]
    for sign in signs:
        if sign.kind in ("off-pit", "rested"):
            found.append(Exit(Stage.RESTING, sign.at_ms, 0.9))
            continue
        p = near * {"lid": 0.6, "out": 0.3}.get(sign.kind, 0.0)
        if p > 0.001:
            found.append(Exit(LIFTED, sign.at_ms, p))
    return found


def _carved(signs: Sequence[Sign]) -> list[Exit]:
    return [
        Exit(Stage.CARVED, sign.at_ms, 0.95)
        for sign in signs
        if sign.kind in ("carved", "sauced", "served")
    ]
