"""The methods that are compared, and the scores of each: one cell of the table at a time."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from pitlogger.forecast.blend import Centre, Known, blended, calibrated
from pitlogger.forecast.finish import LEVELS
from pitlogger.forecast.library import Library
from pitlogger.forecast.naive import exponential_h, linear_h
from pitlogger.forecast.phase import phase_of
from pitlogger.forecast.request import Ensemble
from tools.forecast_library.build import (
    LeftOut,
)
from tools.forecast_library.snapshots import Snapshot
from tools.forecast_library.train import judge

Array = npt.NDArray[np.float64]

STAGES = ("6h", "4h", "2h", "1h", "stall")
FINE = tuple(sorted({*LEVELS, *(round((i + 0.5) / 20, 3) for i in range(20))}))


@dataclass(frozen=True, slots=True)
class Score:
    """One cell of the table; times in minutes.

    Bias is the median of told less true; CRPS (Gneiting and Raftery 2007) that of the thirty
    quantiles of a method, of three for those without. ``fifths``: how many of a hundred truths fell
    into each fifth of what was told (the histogram of the probability integral transform).
    """

    method: str
    population: str
    moment: str
    n: int
    left: float
    median_error: float
    bias: float
    crps: float
    coverage: float
    width: float
    fifths: tuple[int, ...] = ()


def methods(held: Library, asked: list[Snapshot], factors: dict[str, float]) -> dict[str, Array]:
    """Return quantiles in log hours, shape (levels, n), of each method."""
    judged = judge(held, asked)
    made = {
        name: _spread(np.log(np.maximum(naive(asked), 1 / 60)), factors[name])
        for name, naive in NAIVE.items()
    }
    known = [
        m if m.log_h is not None else Ensemble(0.0, np.log(24.0), 0.5, 0.0) for m in judged.models
    ]
    model = np.array([m.log_h for m in known], dtype=np.float64)
    made["physical model, raw spread"] = model + np.outer((-1.282, 0, 1.282), [m.sd for m in known])
    alone = [Centre(float(m), float(sd)) for m, sd in zip(
        judged.library_log, judged.library_sd, strict=True)]  # fmt: skip
    made["library alone"] = _calibrated(held, judged.features, alone)
    pairs = [
        blended((one.log_h, one.sd), model, held.constants)
        for one, model in zip(alone, judged.models, strict=True)
    ]
    made["blend (what is shown)"] = _calibrated(held, judged.features, pairs)
    return made


def _calibrated(held: Library, seen: Array, middles: list[Centre]) -> Array:
    """Return quantiles in log hours, shape (levels, n), by the scores of each moment's phase."""
    z = [calibrated(scores, Known(), 1.0, FINE) for scores in held.scores]
    return np.array(
        [
            middle.log_h + middle.sd * z[phase_of(features, middle.log_h)]
            for features, middle in zip(seen, middles, strict=True)
        ]
    ).T


def _linear(asked: list[Snapshot]) -> Array:
    return np.array(
        [linear_h(m.past.level_c, m.request.target_c, m.past.slope_c_per_h(30)) for m in asked]
    )


def _exponential(asked: list[Snapshot]) -> Array:
    return np.array(
        [
            exponential_h(
                m.past.level_c, m.request.target_c, m.past.slope_c_per_h(60), m.past.pit_now_c()
            )
            for m in asked
        ]
    )


NAIVE: dict[str, Callable[[list[Snapshot]], Array]] = {
    "linear, 30-min slope": _linear,
    "exponential to the pit": _exponential,
}


def naive_factors(others: list[LeftOut]) -> dict[str, float]:
    """Return the log half-width that covers 80 % of other plants' cooks, for each method."""
    asked = [m for fold in others for m in fold.asked
             if np.isfinite(m.left_h) and m.moment in STAGES]  # fmt: skip
    left = np.log([m.left_h for m in asked])
    return {
        name: float(np.quantile(np.abs(left - np.log(np.maximum(naive(asked), 1 / 60))), 0.8))
        for name, naive in NAIVE.items()
    }


def _spread(middle: Array, half: float) -> Array:
    return np.stack([middle - half, middle, middle + half])


def cells(method: str, population: str, asked: list[Snapshot], logs: Array) -> list[Score]:
    told = np.minimum(np.exp(logs), 24.0) * 60.0
    low, middle, high = told if len(told) == 3 else told[[FINE.index(q) for q in LEVELS]]
    left = np.array([m.left_h for m in asked]) * 60.0
    names = np.array([m.moment for m in asked])
    apart = crps(told, left)
    inside = (low <= left) & (left <= high)
    found = []
    for stage in (*STAGES, "all"):
        at = np.ones(len(names), dtype=bool) if stage == "all" else names == stage
        off = (middle - left)[at]
        found.append(
            Score(
                method, population, stage, int(at.sum()), float(np.median(left[at])),
                float(np.median(np.abs(off))), float(np.median(off)), float(apart[at].mean()),
                float(inside[at].mean()), float(np.median((high - low)[at])),
                fifths(told[:, at], left[at]) if len(told) == len(FINE) else (),
            )
        )  # fmt: skip
    return found


def crps(told: Array, came: Array) -> Array:
    """Return the continuous ranked probability score of quantiles (levels, n) for what came (n,).

    The quantiles count as an ensemble: mean distance to what came less half of that among
    themselves (Gneiting and Raftery 2007, equation 21).
    """
    apart = np.abs(told[:, None, :] - told[None, :, :]).mean(axis=(0, 1))
    return np.asarray(np.abs(told - came).mean(axis=0) - 0.5 * apart)


def fifths(told: Array, came: Array) -> tuple[int, ...]:
    """Return how many of a hundred came in each fifth of the quantiles ``FINE`` (levels, n)."""
    place = [np.interp(x, quantiles, FINE) for x, quantiles in zip(came, told.T, strict=True)]
    counts, _ = np.histogram(place, bins=5, range=(0.0, 1.0))
    return tuple(round(100 * int(count) / len(came)) for count in counts)
