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
WIDENING = 2.0  # of the log interval, until so many own cooks are stored
SCORES_PER_COOK = 3
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


def calibrated(
    scores: Array, local: Sequence[LocalScore], widen: bool, levels: Sequence[float]
) -> Array:
    """Return quantiles of the score at ``levels``: library and own cooks together.

    ``scores`` are the library's thirty for the phase the cook is in. Each own cook adds up to
    three, so that some fifteen cooks outvote it. Widening stretches the interval about its
    median.
    """
    own = [score.z for score in _latest(local)]
    joint = np.sort(np.concatenate([scores, np.asarray(own, dtype=np.float64)]))
    places = (np.arange(len(joint)) + 0.5) / len(joint)
    at = np.interp(np.asarray(levels), places, joint)
    middle = float(np.interp(0.5, places, joint))
    return np.asarray(middle + (at - middle) * (WIDENING if widen else 1.0))


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
