"""Probes: the plant's truth as a probe in the meat or the pit would see it."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np

# Typical of what thermometers claim and probes do (ours).
CORE_OFFSET_C, CORE_NOISE_C, CORE_LAG_S = 0.4, 0.25, 8.0
PIT_OFFSET_C, PIT_NOISE_C, PIT_LAG_S = 2.0, 0.4, 20.0


@dataclass(slots=True)
class PlantProbe:
    """A probe with an error of its own; ``read`` takes the truth where it sits.

    Attributes:
        depth_mm: Depth of its tip under the surface; ``None`` is the centre.
        offset_c: Constant error.
        noise_c: Standard deviation of each reading.
        lag_s: Time constant.
        rng: Source of the noise.
    """

    rng: np.random.Generator
    depth_mm: float | None = None
    offset_c: float = 0.0
    noise_c: float = CORE_NOISE_C
    lag_s: float = CORE_LAG_S
    _followed_c: float | None = field(default=None, init=False)

    @classmethod
    def draw(cls, rng: np.random.Generator, *, pit: bool = False) -> PlantProbe:
        """Return a probe with a drawn offset, for meat or for the pit."""
        if pit:
            return cls(rng, None, PIT_OFFSET_C * rng.standard_normal(), PIT_NOISE_C, PIT_LAG_S)
        return cls(rng, None, CORE_OFFSET_C * rng.standard_normal())

    def read(self, true_c: float, dt_s: float) -> float:
        """Return a reading ``dt_s`` seconds after the one before."""
        if self._followed_c is None or self.lag_s <= 0.0:
            self._followed_c = true_c
        else:
            rest = math.exp(-dt_s / self.lag_s)
            self._followed_c = true_c + (self._followed_c - true_c) * rest
        return self._followed_c + self.offset_c + self.noise_c * self.rng.standard_normal()
