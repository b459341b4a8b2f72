"""How likely a stage gives way to the next one: at a lid that was opened, a probe, a weighing.

Nearly all that is done to a piece on a pit is done through an open lid, so a change has its time
from there; what is left over may happen unseen. How likely a lid means a change depends on how
far the core is from the target of that change. Common practice, no source: wrapping and taking
off follow their target within half an hour, seldom precede it by much.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

from pitlogger.inference.semi_markov import Branch, Exit
from pitlogger.model.cooks import Stage

UNSEEN = 0.003  # a step, where a change is about due
JOINED_MS = 4 * 60_000  # signs so near to each other are of one change
SHORTEST_MS = 6 * 60_000


class Sign(NamedTuple):
    """Something that happens when people do things.

    ``lid``: opened; ``in``: a probe came into cold meat; ``out``: one came out of warm meat;
    any other word is a checkpoint at which the piece was weighed.
    """

    kind: str
    at_ms: int


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
    found: list[Exit] = []
    match branch.stage:
        case Stage.RAW:
            found = _put_on(signs, core_c, t_ms)
        case Stage.SMOKING:
            found = _taken_off(branch, signs, core_c, aims, t_ms)
            if aims.wrap_at_c is not None:
                found += _wrapped(branch, signs, core_c, aims.wrap_at_c, t_ms)
        case Stage.WRAPPED:
            found = _taken_off(branch, signs, core_c, aims, t_ms)
        case Stage.RESTING | Stage.HOLDING:
            found = _after(branch, signs, t_ms)
    whole = sum(way.p for way in found)
    if whole > 0.97:
        found = [way._replace(p=way.p * 0.97 / whole) for way in found]
    return found


def _put_on(signs: Sequence[Sign], core_c: float | None, t_ms: int) -> list[Exit]:
    if core_c is not None and core_c > 40.0:
        return [Exit(Stage.SMOKING, t_ms, 0.2)]  # heard of too late
    found = [Exit(Stage.SMOKING, t_ms, UNSEEN)]
    for sign in signs:
        p = {"lid": 0.25, "in": 0.2}.get(sign.kind)
        if p is not None:
            found.append(Exit(Stage.SMOKING, sign.at_ms, p))
    return found


def _near(core_c: float, at_c: float, early: float, late: float) -> float:
    """Return how likely an act belongs to a core that is to be at ``at_c``: 0 to 1."""
    off = core_c - at_c
    scale = early if off < 0 else late
    return math.exp(-0.5 * (off / scale) ** 2)


def _wrapped(
    branch: Branch, signs: Sequence[Sign], core_c: float | None, at_c: float, t_ms: int
) -> list[Exit]:
    found = []
    near = 0.1 if core_c is None else _near(core_c, at_c, 3.0, 12.0)
    if near > 0.05:
        found.append(Exit(Stage.WRAPPED, t_ms, 0.6 * UNSEEN * near))
    for sign in signs:
        if sign.at_ms - branch.entered_ms < SHORTEST_MS:
            continue
        p = {"lid": 0.8 * near, "at-wrap": 0.9}.get(sign.kind, 0.0)
        if p > 0.001:
            found.append(Exit(Stage.WRAPPED, sign.at_ms, p))
    return found


def _taken_off(
    branch: Branch, signs: Sequence[Sign], core_c: float | None, aims: Aims, t_ms: int
) -> list[Exit]:
    found = []
    near = 0.1 if core_c is None else max(0.01, _near(core_c, aims.pull_at_c, 4.0, 12.0))
    if core_c is None or core_c > 50.0:
        found.append(Exit(Stage.RESTING, t_ms, UNSEEN * near))
    for sign in signs:
        if sign.at_ms - branch.entered_ms < SHORTEST_MS or (core_c is not None and core_c < 45.0):
            continue
        p = {"lid": 0.6 * near, "out": 0.3 * near, "off-pit": 0.9, "rested": 0.5}.get(
            sign.kind, 0.0
        )
        if sign.kind in ("carved", "out-of-hold"):
            found.append(Exit(Stage.CARVED, sign.at_ms, 0.9))
        elif p > 0.001:
            found.append(Exit(Stage.RESTING, sign.at_ms, p))
    return found


def _after(branch: Branch, signs: Sequence[Sign], t_ms: int) -> list[Exit]:
    found = [
        Exit(Stage.CARVED, sign.at_ms, 0.95)
        for sign in signs
        if sign.kind in ("carved", "sauced", "served") and sign.at_ms > branch.entered_ms
    ]
    if branch.stage is Stage.RESTING and t_ms - branch.entered_ms > 2 * SHORTEST_MS:
        found.append(Exit(Stage.HOLDING, t_ms, 2 * UNSEEN))
    return found
