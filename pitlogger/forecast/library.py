"""The regression: log remaining time and its spread from the features, by small networks.

Trained on simulated cooks; the recipe is in the docs and in the simulators package, the
numbers in ``data/library.npz`` with their checksum beside them.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, fields
from functools import lru_cache
from importlib import resources
from io import BytesIO
from math import exp, log

import numpy as np
import numpy.typing as npt

from pitlogger.errors import LibraryError
from pitlogger.forecast.blend import Blend
from pitlogger.forecast.features import NAMES
from pitlogger.forecast.network import Networks
from pitlogger.forecast.reduced import Prior

Array = npt.NDArray[np.float64]

FILE, CHECKSUM = "library.npz", "library.sha256"
LOWEST_SD, HIGHEST_SD = 0.02, 1.5
SD_OVER_DEVIATION = 1.25  # of a normal variable, sqrt(pi / 2)
FAR = 4.0
CLOSE_C, SETTLES = 5.0, 0.05
LONG_LN_H = 2.0  # log hours from which a slope says that it may never arrive
_OVER, _FOIL, _PAPER, _LINE, _CURVE = (
    NAMES.index(name)
    for name in (
        "pit_over_target", "wrapped_foil", "wrapped_paper", "ln_linear_90", "ln_exponential",
    )
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Library:
    """Arrays of the regression, of the blend and of the physical model's prior.

    Attributes:
        centre, scale: Of the features, shape (f,).
        networks: Log hours and log mean deviation from standardised features.
        constants: Constants of the blend.
        arrival: Weights of the log odds of arrival, shape (8,).
        scores: Quantiles of calibration scores at (i + 0.5) / 30 in each phase of a cook,
            shape (phases, 30).
        prior: Prior of the physical model.
    """

    centre: Array
    scale: Array
    networks: Networks
    constants: Blend
    arrival: Array
    scores: Array
    prior: Prior

    def standard(self, features: Array) -> Array:
        """Return features of shape (..., f) in units of their spread, far ones drawn in."""
        return np.clip((features - self.centre) / self.scale, -FAR, FAR)

    def predict(self, features: Array) -> tuple[float, float]:
        """Return log remaining hours and their spread for features of shape (f,)."""
        (log_h, sd), *_ = self.predict_all(features[None, :])
        return float(log_h), float(sd)

    def predict_all(self, features: Array) -> Array:
        """Return log remaining hours and their spread, shape (n, 2), for features (n, f)."""
        said = self.networks.say(self.standard(features))
        sd = np.clip(SD_OVER_DEVIATION * np.exp(said[:, 1]), LOWEST_SD, HIGHEST_SD)
        return np.stack([said[:, 0], sd], axis=1)

    def reach(self, share: float, features: Array, log_h: float) -> float:
        """Return the chance of arrival within a day.

        Args:
            share: Share of the physical model's members that arrive.
            features: Features of the request, shape (f,).
            log_h: What the regression says.
        """
        # A pit hardly over the target and a slope that says more than a day: the core settles.
        if features[_OVER] < CLOSE_C and features[_LINE] > log(24.0):
            return SETTLES
        return 1.0 / (1.0 + exp(-float(arrival_row(share, features, log_h) @ self.arrival)))


def arrival_row(share: float, features: Array, log_h: float) -> Array:
    """Return what the log odds of arrival are linear in, shape (8,)."""
    share = min(max(share, 0.003), 0.997)
    over = min(max(float(features[_OVER]), -5.0), 30.0)
    wrapped = float(features[_FOIL] + features[_PAPER])
    return np.array(
        [
            1.0, log(share / (1.0 - share)), over / 10.0, (over / 10.0) ** 2, log_h, wrapped,
            max(float(features[_LINE]) - LONG_LN_H, 0.0),
            max(float(features[_CURVE]) - LONG_LN_H, 0.0),
        ]
    )  # fmt: skip


@lru_cache(maxsize=1)
def library() -> Library:
    """Return the library that is shipped.

    Raises:
        LibraryError: The file is damaged or made for other features.
    """
    folder = resources.files("pitlogger.forecast") / "data"
    data = (folder / FILE).read_bytes()
    expected = (folder / CHECKSUM).read_text().split()[0]
    found = hashlib.sha256(data).hexdigest()
    if found != expected:
        raise LibraryError(
            f"forecast library {FILE} has checksum {found[:12]}, expected {expected[:12]}: "
            "install pitlogger again"
        )
    return unpack(data)


def unpack(data: bytes) -> Library:
    """Return the library in the bytes of an ``.npz`` file."""
    with np.load(BytesIO(data)) as arrays:
        held = {name: arrays[name].astype(np.float64) for name in arrays.files}
    if len(held["centre"]) != len(NAMES):
        raise LibraryError(
            f"forecast library has {len(held['centre'])} features, this version {len(NAMES)}: "
            "build it again (make forecast-library)"
        )
    prior = Prior(held.pop("prior_coefficients"), held.pop("prior_factor"))
    constants = Blend(*(float(value) for value in held.pop("constants")))
    networks = Networks(**{field.name: held.pop(field.name) for field in fields(Networks)})
    return Library(prior=prior, constants=constants, networks=networks, **held)
