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
# Of the log interval, until so many own cooks are stored: real cooks differ more than simulated.
WIDENING = 1.1
SCORES_PER_COOK = 3
# How far kitchens may lie off the library, in spreads of a forecast: each as likely as the next.
# Simulated kitchens lie under 0.5 off it; one whose cooks all take a quarter longer lies 1.2 off.
OFFSETS = np.array((0.1, 0.2, 0.4, 0.8, 1.6))
FAMILY_OFFSETS = OFFSETS / 2  # a family of cuts, off its kitchen
ALIKE_LN_H = 0.5  # moments teach one that has so much more or less left, in logs, half as much
UNLIKE = 0.05  # and the least they teach
COOK_SPREAD = 0.95  # of the mean scores of simulated cooks
SPREAD_COOKS = 6.0  # so many cooks' worth is the library's word on how much they differ
FAR, NEAR = 4.0, 1.5  # scores are drawn in so far from nothing, and from their median
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


@dataclass(frozen=True, slots=True)
class Known:
    """What own cooks say: how far they lie off the library's scores, and how much they differ.

    ``scale`` is a factor on the spread of the scores.
    """

    offset: float = 0.0
    scale: float = 1.0


def calibrated(scores: Array, known: Known, stretch: float, levels: Sequence[float]) -> Array:
    """Return quantiles of the score at ``levels``: the library's, moved and narrowed by own cooks.

    ``scores`` are the library's thirty for the phase the cook is in; the interval is stretched
    about its median by ``stretch`` at last.
    """
    places = (np.arange(len(scores)) + 0.5) / len(scores)
    at = np.interp(np.asarray(levels), places, scores)
    middle = float(np.interp(0.5, places, scores))
    return np.asarray(middle + known.offset + (at - middle) * known.scale * stretch)


def pooled(local: Sequence[LocalScore], family: str, scores: Array, log_h: float | None) -> Known:
    """Return what own cooks teach a moment, pooled in part (Gelman et al., Bayesian Data Analysis).

    The kitchen lies off the library by a normal variable whose spread is not known either
    (``OFFSETS``), a family off its kitchen by a smaller one: few cooks that differ move little,
    few that agree move much. What was asked with about as long to go counts most.

    Args:
        scores: The library's in all phases, shape (phases, 30).
        log_h: Log hours that the forecast says are left.
    """
    cooks: dict[str, list[LocalScore]] = {}
    for score in _latest(local):
        cooks.setdefault(score.cook, []).append(score)
    if not cooks:
        return Known()
    each = np.array([_of_cook(own, log_h) for own in cooks.values()]) - float(np.median(scores))
    each = np.clip(each, -FAR, FAR)
    same = np.array([own[0].family == family for own in cooks.values()])
    offset, unsure = _offset(each, OFFSETS)
    if same.any():
        offset += _offset(each[same] - offset, FAMILY_OFFSETS)[0]
    # How much cooks differ: the library's word and theirs, outliers drawn in.
    seen = np.clip((each - offset) / COOK_SPREAD, -3.0, 3.0)
    within = (SPREAD_COOKS + float((seen**2).sum())) / (SPREAD_COOKS + len(each))
    return Known(offset, sqrt(within + unsure))


def _of_cook(own: list[LocalScore], log_h: float | None) -> float:
    """Return the mean score of a cook, by how alike its moments are to one with ``log_h`` left."""
    away = np.array(
        [0.0 if log_h is None or one.log_h is None else one.log_h - log_h for one in own]
    )
    weight = np.exp(-0.5 * (away / ALIKE_LN_H) ** 2) + UNLIKE
    return float(weight @ [one.z for one in own] / weight.sum())


def _offset(each: Array, spreads: Array) -> tuple[float, float]:
    """Return mean and variance of the offset of cooks, its own spread being one of ``spreads``."""
    middle = float(np.median(each))
    drawn = np.clip(each, middle - NEAR, middle + NEAR)
    mean = float(drawn.mean())
    noise = (SPREAD_COOKS + float(((drawn - middle) ** 2).sum())) / (SPREAD_COOKS + len(each))
    noise /= len(each)
    seen = spreads**2 + noise
    likely = np.exp(-0.5 * mean**2 / seen) / np.sqrt(seen)
    likely /= likely.sum()
    means, rest = spreads**2 / seen * mean, spreads**2 * noise / seen
    offset = float(likely @ means)
    return offset, float(likely @ (rest + (means - offset) ** 2))


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
