"""The blend of physical model and library, and the interval that both earn together."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import exp, hypot, log, sqrt

import numpy as np
import numpy.typing as npt

from pitlogger.forecast.request import Ensemble
from pitlogger.model.journal import LocalScore

Array = npt.NDArray[np.float64]

LOCAL_COOKS_WANTED = 5
# Of the log interval, until so many own cooks are stored. A target in the stall or just above it is
# where measured records and every plant differ most: 2.0 holds eight of ten of their moments.
WIDENING, WIDENING_IN_STALL = 1.15, 2.0
STALL_TARGET_C = 88.0
SCORES_PER_COOK = 3
# Of the spread of the library's scores, how much is one kitchen against the next (its pit, its
# probe's place, its way of wrapping): the rest is one cook against the next.
KITCHEN_SHARE = 0.5
FAMILY_COOKS = 2.0  # so many cooks of a family weigh as much as all that is known of the kitchen
SPREAD_COOKS = 6.0  # so many cooks' worth is the library's word on how much they differ
LIBRARY_SHARE = (0.35, 0.95)  # least and most that the library may weigh
SHORTEST_H = 1 / 60


@dataclass(frozen=True, slots=True)
class Blend:
    """Constants of the blend, fitted on cooks the library never saw.

    Attributes:
        model_factor, model_floor: The physical model's own spread is too small: it is
            multiplied and gets a floor, both in logs.
        disagreement: How much of the squared difference of the two goes into the spread.
    """

    model_factor: float
    model_floor: float
    disagreement: float


@dataclass(frozen=True, slots=True)
class Centre:
    """Log remaining hours and their spread, before calibration."""

    log_h: float
    sd: float


def blended(library: tuple[float, float], model: Ensemble | None, by: Blend) -> Centre:
    """Return the mean of both in logs, weighted by their variances.

    Args:
        library: Log hours and spread of the regression.
        model: The physical model's answer; ``None`` or none arrived: the library alone.
    """
    mean_b, sd_b = library
    if model is None or model.log_h is None:
        return Centre(mean_b, sd_b)
    sd_a = hypot(by.model_factor * model.sd, by.model_floor)
    share = sd_a**2 / (sd_a**2 + sd_b**2)
    share = min(max(share, LIBRARY_SHARE[0]), LIBRARY_SHARE[1])
    mean = share * mean_b + (1.0 - share) * model.log_h
    spread = (share * sd_b) ** 2 + ((1.0 - share) * sd_a) ** 2
    spread += 2.0 * share * (1.0 - share) * 0.5 * sd_a * sd_b
    return Centre(mean, sqrt(spread + by.disagreement * (model.log_h - mean_b) ** 2))


def carried(model: Ensemble | None, now_s: float) -> Ensemble | None:
    """Return an earlier answer of the physical model as seen from now."""
    if model is None or model.log_h is None:
        return model
    left_h = exp(model.log_h) - (now_s - model.made_s) / 3600.0
    left_h = max(left_h, SHORTEST_H)
    return Ensemble(now_s, log(left_h), model.sd, model.p_reach)


def own_cooks(local: Sequence[LocalScore]) -> int:
    """Return how many finished cooks of the owner the scores come from."""
    return len({score.cook for score in local})


def widening(target_c: float) -> float:
    """Return by how much the interval to a target is stretched while few own cooks are stored."""
    return WIDENING_IN_STALL if target_c < STALL_TARGET_C else WIDENING


def calibrated(
    scores: Array, local: Sequence[LocalScore], stretch: float, levels: Sequence[float],
    family: str = "",
) -> Array:  # fmt: skip
    """Return quantiles of the score at ``levels``: the library's, moved and narrowed by own cooks.

    ``scores`` are the library's thirty for the phase the cook is in. Own cooks are pooled in
    part (Gelman et al., Bayesian Data Analysis, hierarchical normal model): the kitchen's offset
    is drawn toward the library's middle, that of the family toward the kitchen's, by how few
    cooks there are. What is then known of the kitchen no longer widens the interval, which is
    stretched about its median by ``stretch`` at last.
    """
    places = (np.arange(len(scores)) + 0.5) / len(scores)
    at = np.interp(np.asarray(levels), places, scores)
    middle = float(np.interp(0.5, places, scores))
    moved, scale = pooled(local, family, middle)
    return np.asarray(moved + (at - middle) * scale * stretch)


def pooled(local: Sequence[LocalScore], family: str, middle: float) -> tuple[float, float]:
    """Return the middle of the scores and the factor on their spread after the own cooks."""
    cooks: dict[str, list[LocalScore]] = {}
    for score in _latest(local):
        cooks.setdefault(score.cook, []).append(score)
    if not cooks:
        return middle, 1.0
    each = np.array([np.median([score.z for score in own]) for own in cooks.values()])
    alike = np.array([own[0].family == family for own in cooks.values()])
    noise = (1.0 - KITCHEN_SHARE) / KITCHEN_SHARE
    known = len(each) / (len(each) + noise)
    kitchen = middle + known * (float(np.median(each)) - middle)
    same = float(np.median(each[alike])) if alike.any() else kitchen
    there = int(alike.sum()) / (int(alike.sum()) + FAMILY_COOKS)
    moved = kitchen + there * (same - kitchen)
    # How much cooks differ: the library's word and theirs, outliers drawn in.
    seen = np.clip(each - moved, -3.0, 3.0)
    within = 1.0 - KITCHEN_SHARE
    within = (SPREAD_COOKS * within + float((seen**2).sum())) / (SPREAD_COOKS + len(each))
    return moved, sqrt(within + KITCHEN_SHARE * (1.0 - known))


def _latest(local: Sequence[LocalScore]) -> list[LocalScore]:
    """Return at most three scores of each cook, spread over it."""
    cooks: dict[str, list[LocalScore]] = {}
    for score in local:
        cooks.setdefault(score.cook, []).append(score)
    kept: list[LocalScore] = []
    for held in cooks.values():
        n = min(len(held), SCORES_PER_COOK)
        kept += [held[(2 * i + 1) * len(held) // (2 * n)] for i in range(n)]
    return kept
