"""Training: ridge regressions on random cosines, then the blend and its calibration."""

from __future__ import annotations

import io
from dataclasses import dataclass, replace
from itertools import product

import numpy as np
import numpy.typing as npt

from pitlogger.forecast.blend import Blend, blended
from pitlogger.forecast.finish import ensemble
from pitlogger.forecast.library import Library, arrival_row
from pitlogger.forecast.reduced import Prior
from pitlogger.forecast.request import Ensemble
from pitlogger_simulators.forecast_library.snapshots import Snapshot

Array = npt.NDArray[np.float64]

COSINES = 900
LENGTHS = (0.04, 0.06, 0.09)  # tried for the directions
RIDGES = (1.0, 4.0)
SCORES = 30


@dataclass(frozen=True, slots=True)
class Judged:
    """Calibration moments with both parts of the forecast, arrays of shape (m,)."""

    log_left: Array
    library_log: Array
    library_sd: Array
    models: list[Ensemble]


def train(
    fit: list[Snapshot], tune: list[Snapshot], prior: Prior, seed: int
) -> tuple[Library, float]:
    """Return a library without calibration, and its median error factor on ``tune``."""
    x, y = _table(fit)
    tried_x, tried_y = _table(tune)
    best: tuple[float, Library] | None = None
    for length, ridge in product(LENGTHS, RIDGES):
        held = _regress(x, y, length, ridge, prior, seed)
        error = float(np.mean(np.abs(tried_y - held.design(tried_x) @ held.mean_weights)))
        if best is None or error < best[0]:
            best = (error, held)
    assert best is not None
    error, held = best
    return _with_spread(held, tune, x, y), float(np.exp(error))


def calibrate(held: Library, moments: list[Snapshot]) -> Library:
    """Return the library with blend constants, scores and arrival fitted on fresh cooks."""
    judged = judge(held, moments)
    reached = np.isfinite(judged.log_left)
    held = replace(held, arrival=_arrival(held, judged, moments))
    kept = Judged(
        judged.log_left[reached],
        judged.library_log[reached],
        judged.library_sd[reached],
        [model for model, there in zip(judged.models, reached, strict=True) if there],
    )
    constants = min(
        (Blend(*c) for c in product((1.0, 1.5, 2.0, 3.0), (0.05, 0.1, 0.2), (0.0, 0.1, 0.25, 0.5))),
        key=lambda blend: _pinball(_scores(kept, blend), kept, blend),
    )
    z, _ = _scores(kept, constants)
    places = (np.arange(SCORES) + 0.5) / SCORES
    return replace(held, constants=constants, scores=np.quantile(z, places))


def judge(held: Library, moments: list[Snapshot]) -> Judged:
    """Return what both parts of the forecast say at the moments."""
    x, y = _table(moments)
    rows = held.design(x)
    sd = np.exp(np.clip(rows @ held.spread_weights, -4.0, 0.5))
    models = [ensemble(moment.request, moment.past, held) for moment in moments]
    return Judged(y, rows @ held.mean_weights, sd, models)


def pack(held: Library) -> bytes:
    """Return the library as the octets of a compressed ``.npz``, the same for the same arrays."""
    arrays: dict[str, Array | npt.NDArray[np.float32] | npt.NDArray[np.float16]] = {
        "centre": held.centre, "scale": held.scale,
        "directions": held.directions.astype(np.float16), "phases": held.phases.astype(np.float32),
        "mean_weights": held.mean_weights.astype(np.float32),
        "spread_weights": held.spread_weights.astype(np.float32),
        "constants": np.array(
            [held.constants.model_factor, held.constants.model_floor, held.constants.disagreement]
        ),
        "arrival": held.arrival, "scores": held.scores,
        "prior_coefficients": held.prior.coefficients, "prior_factor": held.prior.factor,
    }  # fmt: skip
    buffer = io.BytesIO()
    np.savez_compressed(buffer, allow_pickle=False, **arrays)
    return buffer.getvalue()


def _table(moments: list[Snapshot]) -> tuple[Array, Array]:
    x = np.array([moment.features() for moment in moments])
    return x, np.log(np.maximum([moment.left_h for moment in moments], 1 / 60))


def _regress(x: Array, y: Array, length: float, ridge: float, prior: Prior, seed: int) -> Library:
    dice = np.random.default_rng(seed)
    centre, scale = x.mean(axis=0), np.maximum(x.std(axis=0), 1e-3)
    # As stored: what is trained is what is shipped.
    directions = (dice.standard_normal((x.shape[1], COSINES)) * length).astype(np.float16)
    phases = dice.uniform(0.0, 2.0 * np.pi, COSINES).astype(np.float32)
    nothing = np.zeros(COSINES + x.shape[1] + 1)
    held = Library(
        centre, scale, directions.astype(float), phases.astype(float), nothing, nothing,
        Blend(1.5, 0.1, 0.1), np.zeros(6), np.zeros(SCORES), prior,
    )  # fmt: skip
    return replace(held, mean_weights=_ridge(held.design(x), y, ridge))


def _with_spread(held: Library, tune: list[Snapshot], x: Array, y: Array) -> Library:
    """Return the library with the second regression: log absolute residual.

    Residuals of training cooks are too small, so those of the tuning cooks join with weight.
    """
    fresh_x, fresh_y = _table(tune)
    all_x = np.concatenate([x, fresh_x, fresh_x])
    left = np.concatenate([y, fresh_y, fresh_y]) - held.design(all_x) @ held.mean_weights
    log_left = np.log(np.abs(left) + 0.01) + 0.635  # mean of ln|z| of a unit normal is -0.635
    return replace(held, spread_weights=_ridge(held.design(all_x), log_left, 100.0))


def _ridge(rows: Array, y: Array, ridge: float) -> Array:
    penalty = ridge * np.eye(rows.shape[1])
    penalty[-1, -1] = 1e-6
    return np.asarray(
        np.linalg.solve(rows.T @ rows + penalty, rows.T @ y).astype(np.float32), dtype=np.float64
    )


def _scores(judged: Judged, blend: Blend) -> tuple[Array, Array]:
    pairs = [
        blended((float(m), float(s)), model, blend)
        for m, s, model in zip(judged.library_log, judged.library_sd, judged.models, strict=True)
    ]
    centre = np.array([pair.log_h for pair in pairs])
    sd = np.array([pair.sd for pair in pairs])
    return (judged.log_left - centre) / sd, sd


def _pinball(scored: tuple[Array, Array], judged: Judged, _: Blend) -> float:
    """Return the pinball loss in log hours after calibration."""
    z, sd = scored
    return float(
        sum(
            np.mean(np.maximum(q * (z - at) * sd, (q - 1) * (z - at) * sd))
            for q in (0.1, 0.5, 0.9)
            for at in [np.quantile(z, q)]
        )
    )


def _arrival(held: Library, judged: Judged, moments: list[Snapshot]) -> Array:
    """Return the weights of the log odds of arrival, by damped Newton steps with a mild prior."""
    rows = np.array(
        [
            arrival_row(model.p_reach, moment.features(), float(log_h))
            for model, moment, log_h in zip(judged.models, moments, judged.library_log, strict=True)
        ]
    )
    reached = np.isfinite(judged.log_left)
    found = np.zeros(rows.shape[1])
    for _ in range(60):
        p = 1.0 / (1.0 + np.exp(-np.clip(rows @ found, -30.0, 30.0)))
        gradient = rows.T @ (reached - p) - 0.1 * found
        bend = (rows * (p * (1 - p))[:, None]).T @ rows + 0.1 * np.eye(len(found))
        move = np.linalg.solve(bend, gradient)
        found = found + move * min(1.0, 1.0 / max(float(np.abs(move).max()), 1e-9))
    return found
