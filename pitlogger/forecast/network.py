"""Small networks side by side: numbers in, the centre and spread of an answer out.

Each has two hidden layers of smooth steps, ``a / (1 + exp(-a))``. They differ only in where
their training began; their mean is steadier than any of them.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Networks:
    """Weights of k networks with f inputs and layers of g and h.

    Attributes:
        first: Shape (k, f, g); first_bias: (k, 1, g).
        second: Shape (k, g, h); second_bias: (k, 1, h).
        last: Shape (k, h, 2); last_bias: (k, 1, 2).
    """

    first: Array
    first_bias: Array
    second: Array
    second_bias: Array
    last: Array
    last_bias: Array

    def say(self, z: Array) -> Array:
        """Return the mean of what the networks say, (n, 2), for standardised inputs (n, f)."""
        hidden = smooth_step(z @ self.first + self.first_bias)
        hidden = smooth_step(hidden @ self.second + self.second_bias)
        return np.asarray((hidden @ self.last + self.last_bias).mean(axis=0))


def smooth_step(a: Array) -> Array:
    """Return ``a / (1 + exp(-a))``."""
    return np.asarray(a / (1.0 + np.exp(-a)))
