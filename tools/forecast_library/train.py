"""Training: the networks, then the blend, its calibration by phases, and arrival."""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from itertools import product

import numpy as np
import numpy.typing as npt

from pitlogger.forecast.blend import Blend, blended
from pitlogger.forecast.finish import ensemble
from pitlogger.forecast.library import Library, arrival_row
from pitlogger.forecast.network import Networks
from pitlogger.forecast.phase import PHASES, phase_of
from pitlogger.forecast.reduced import Prior
from pitlogger.forecast.request import Ensemble
from tools.forecast_library.networks import fit_networks
from tools.forecast_library.snapshots import Snapshot

Array = npt.NDArray[np.float64]

SCORES = 30
JITTER = 0.15  # of features in training


@dataclass(frozen=True, slots=True)
class Judged:
    """Moments with both parts of the forecast: features (m, f), the others of shape (m,)."""

    features: Array
    log_left: Array
    library_log: Array
    library_sd: Array
    models: list[Ensemble]

    def __len__(self) -> int:
        return len(self.models)

    @classmethod
    def of(cls, parts: Sequence[Judged]) -> Judged:
        """Return several as one."""
        return cls(
            np.concatenate([part.features for part in parts]),
            np.concatenate([part.log_left for part in parts]),
            np.concatenate([part.library_log for part in parts]),
            np.concatenate([part.library_sd for part in parts]),
            [model for part in parts for model in part.models],
        )

    def chosen(self, which: npt.NDArray[np.bool_]) -> Judged:
        """Return the moments that are marked."""
        kept = [model for model, mark in zip(self.models, which, strict=True) if mark]
        return Judged(
            self.features[which], self.log_left[which], self.library_log[which],
            self.library_sd[which], kept,
        )  # fmt: skip


def train(x: Array, y: Array, prior: Prior, seed: int, count: int, rounds: int) -> Library:
    """Return a library without calibration.

    Args:
        x: Features, shape (n, f). y: Log hours left, shape (n,).
        count: Networks. rounds: How often each moment is looked at.
    """
    held = Library(
        x.mean(axis=0), np.maximum(x.std(axis=0), 1e-3),
        Networks(*(np.empty(0) for _ in fields(Networks))),
        Blend(1.5, 0.1, 0.1), np.zeros(8), np.zeros((PHASES, SCORES)), prior,
    )  # fmt: skip
    return replace(held, networks=fit_networks(held.standard(x), y, seed, count, rounds, JITTER))


def calibrate(held: Library, judged: Judged, late: Judged) -> Library:
    """Return the library with blend constants, scores and arrival fitted on fresh cooks.

    Args:
        judged: Blend and scores come from those of them that got there.
        late: Arrival comes from these, whether they got there or not.
    """
    held = replace(held, arrival=_arrival(late))
    judged = judged.chosen(np.isfinite(judged.log_left))
    constants = min(
        (
            Blend(*c)
            for c in product((1.0, 1.5, 2.0, 3.0, 5.0), (0.05, 0.1, 0.2), (0.0, 0.1, 0.25, 0.5))
        ),
        key=lambda blend: _pinball(judged, blend),
    )
    z, _, phases = _scored(judged, constants)
    places = (np.arange(SCORES) + 0.5) / SCORES
    scores = np.stack([np.quantile(z[phases == phase], places) for phase in range(PHASES)])
    return replace(held, constants=constants, scores=scores)


def judge(held: Library, moments: list[Snapshot]) -> Judged:
    """Return what both parts of the forecast say at the moments."""
    x, y = table(moments)
    said = held.predict_all(x)
    models = [ensemble(moment.request, moment.past, held) for moment in moments]
    return Judged(x, y, said[:, 0], said[:, 1], models)


def pack(held: Library) -> bytes:
    """Return the library as the bytes of a compressed ``.npz``, the same for the same arrays."""
    networks = {name: getattr(held.networks, name) for name in (f.name for f in fields(Networks))}
    arrays: dict[str, Array | npt.NDArray[np.float32] | npt.NDArray[np.float16]] = {
        "centre": held.centre, "scale": held.scale,
        **{name: part.astype(np.float16 if part.shape[1] > 1 else np.float32)
           for name, part in networks.items()},
        "constants": np.array(
            [held.constants.model_factor, held.constants.model_floor, held.constants.disagreement]
        ),
        "arrival": held.arrival, "scores": held.scores,
        "prior_coefficients": held.prior.coefficients, "prior_factor": held.prior.factor,
    }  # fmt: skip
    buffer = io.BytesIO()
    np.savez_compressed(buffer, allow_pickle=False, **arrays)
    return buffer.getvalue()


def table(moments: list[Snapshot]) -> tuple[Array, Array]:
    """Return features, shape (n, f), and log hours left, shape (n,)."""
    x = np.array([moment.features() for moment in moments])
    return x, np.log(np.maximum([moment.left_h for moment in moments], 1 / 60))


def _scored(judged: Judged, blend: Blend) -> tuple[Array, Array, npt.NDArray[np.intp]]:
    """Return score, spread and phase of each moment."""
    pairs = [
        blended((float(m), float(s)), model, blend)
        for m, s, model in zip(judged.library_log, judged.library_sd, judged.models, strict=True)
    ]
    centre = np.array([pair.log_h for pair in pairs])
    sd = np.array([pair.sd for pair in pairs])
    phases = [phase_of(x, float(c)) for x, c in zip(judged.features, centre, strict=True)]
    return (judged.log_left - centre) / sd, sd, np.array(phases, dtype=np.intp)


def _pinball(judged: Judged, blend: Blend) -> float:
    """Return the pinball loss in log hours after calibration by phases."""
    z, sd, phases = _scored(judged, blend)
    total = 0.0
    for phase in range(PHASES):
        at = phases == phase
        for q in (0.1, 0.5, 0.9):
            off = (z[at] - np.quantile(z[at], q)) * sd[at]
            total += float(np.maximum(q * off, (q - 1) * off).sum())
    return total / len(judged)


def _arrival(judged: Judged) -> Array:
    """Return the weights of the log odds of arrival, by damped Newton steps with a mild prior."""
    rows = np.array(
        [
            arrival_row(model.p_reach, x, float(log_h))
            for model, x, log_h in zip(
                judged.models, judged.features, judged.library_log, strict=True
            )
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
