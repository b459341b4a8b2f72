"""What a kitchen's own cooks are worth, on cooks of plants the library never saw.

Kitchens differ in pit, probe, wrap and in half of what makes their cooks slow; the other half
differs from cook to cook, like size, meat, fire and place of the probe. Each moment is answered
after so many other cooks of its kitchen, drawn at random. ``SLOW_LN``: the same cooks if all took
a quarter longer, as those of a kitchen would whose ways no plant knows.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import exp

import numpy as np

from pitlogger.forecast.blend import Known, blended, calibrated, pooled
from pitlogger.forecast.finish import LEVELS
from pitlogger.forecast.library import Library
from pitlogger.forecast.phase import phase_of
from pitlogger.forecast.recalibrate import MOMENTS
from pitlogger.model.journal import LocalScore
from tools.forecast_library.population import USUAL, Cooks, simulate
from tools.forecast_library.snapshots import MOMENTS_H, Snapshot, passage_h, snapshot
from tools.forecast_library.train import judge

AFTER = (0, 1, 3, 5, 15)
COOKS = 18  # of a kitchen
SLOW_LN = 0.25


@dataclass(frozen=True, slots=True)
class Told:
    """One answer: after how many own cooks, of which moment, minutes too late, how wide."""

    after: int
    moment: str
    slow: bool
    off_min: float
    width_min: float
    inside: bool


@dataclass(frozen=True, slots=True)
class _Asked:
    """A moment with what library and physical model say together, and what came, log hours."""

    cook: int
    moment: str
    family: str
    log_h: float
    sd: float
    phase: int
    left: float


def own_cooks(held: Library, plant: str, kitchens: int, seed: int = 8) -> list[Told]:
    """Return what is told of the cooks of some kitchens of a plant."""
    cooks = simulate(990_000 + seed, kitchens * COOKS, plant, replace(USUAL, alike=COOKS))
    asked = _asked(held, cooks)
    return [
        told
        for slow in (False, True)
        for told in _told(held, [_slower(one) for one in asked] if slow else asked, slow, seed)
    ]


def table(told: Sequence[Told]) -> str:
    """Return the table of the docs: error (bias) and how many lay inside, by own cooks."""
    lines = [
        "| own cooks | " + " | ".join(MOMENTS_H) + " | inside |" + " | ".join(MOMENTS_H) + " |",
        "| --- " * (2 * len(MOMENTS_H) + 2) + "|",
    ]
    for after in AFTER:
        cells = [str(after)]
        for slow in (False, True):
            own = [one for one in told if one.after == after and one.slow is slow]
            for moment in MOMENTS_H:
                off = np.array([one.off_min for one in own if one.moment == moment])
                cells.append(f"{np.median(np.abs(off)):.0f} ({np.median(off):+.0f})")
            if not slow:
                cells.append(f"{100 * np.mean([one.inside for one in own]):.0f} %")
        lines.append(f"| {' | '.join(cells)} |")
    return "\n".join(lines)


def _asked(held: Library, cooks: Cooks) -> list[_Asked]:
    moments = [made for column in range(len(cooks)) for made in _moments(cooks, column)]
    judged = judge(held, moments)
    found = []
    for moment, seen, left, log_h, sd, model in zip(
        moments, judged.features, judged.log_left, judged.library_log, judged.library_sd,
        judged.models, strict=True,
    ):  # fmt: skip
        both = blended((float(log_h), float(sd)), model, held.constants)
        phase = phase_of(seen, both.log_h)
        family = moment.request.family
        found.append(
            _Asked(moment.cook, moment.moment, family, both.log_h, both.sd, phase, float(left))
        )
    return found


def _moments(cooks: Cooks, column: int) -> list[Snapshot]:
    target_c = 91.0 + 5.0 * (column % 7) / 6.0
    end_h = passage_h(cooks, column, target_c)
    if not np.isfinite(end_h):
        return []
    left_h = {f"{share}": share * end_h for share in MOMENTS} | MOMENTS_H
    made = [
        snapshot(cooks, column, round(60 * (end_h - left)), "pull", target_c, name, 7)
        for name, left in left_h.items()
        if end_h - left > 0.75
    ]
    return [one for one in made if one is not None]


def _slower(one: _Asked) -> _Asked:
    return replace(one, left=one.left + SLOW_LN)


def _told(held: Library, asked: Sequence[_Asked], slow: bool, seed: int) -> list[Told]:
    dice = np.random.default_rng(seed)
    scores: dict[int, list[LocalScore]] = {}
    for one in asked:
        if one.moment not in MOMENTS_H:
            z = (one.left - one.log_h) / one.sd
            score = LocalScore(f"{one.cook}", one.family, z, "p", one.log_h)
            scores.setdefault(one.cook, []).append(score)
    found = []
    for one in asked:
        if one.moment not in MOMENTS_H:
            continue
        others = [c for c in scores if c // COOKS == one.cook // COOKS and c != one.cook]
        order = dice.permutation(others)
        for after in AFTER:
            local = [score for cook in order[:after] for score in scores[int(cook)]]
            known = pooled(local, one.family, held.scores, one.log_h) if after else Known()
            places = calibrated(held.scores[one.phase], known, 1.0, LEVELS)
            low, middle, high = (60.0 * exp(one.log_h + one.sd * float(q)) for q in places)
            left = 60.0 * exp(one.left)
            found.append(
                Told(after, one.moment, slow, middle - left, high - low, low <= left <= high)
            )
    return found
