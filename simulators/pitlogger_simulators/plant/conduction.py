"""Heat conduction through cells in a row, implicit in time, many bodies at once.

Arrays have shape (cells, n): cell 0 is the centre, the last one lies under the surface.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import cast

import numpy as np

from pitlogger_simulators.plant.properties import Array


@dataclass(frozen=True, slots=True)
class Elimination:
    """A conduction step with the surface heat still unknown.

    The outer cell ends at ``rest_c + per_watt * heat_w``; ``finish`` gives all cells.
    """

    rest_c: Array
    per_watt: Array
    _pivots: list[Array]
    _sums: list[Array]
    _couplings: Sequence[Array]

    def finish(self, heat_w: Array) -> Array:
        """Return the new temperatures, shape (cells, n), for a heat flow into the surface."""
        outer = self.rest_c + self.per_watt * heat_w
        value = cast(Array, outer.item()) if outer.size == 1 else outer
        rows = [value]
        for i in range(len(self._couplings) - 1, -1, -1):
            value = (self._sums[i] + self._couplings[i] * value) / self._pivots[i]
            rows.append(value)
        rows.reverse()
        return np.array(rows).reshape(len(rows), outer.size)


def _rows(array: Array) -> Sequence[Array]:
    # A single body is computed with plain floats: the same arithmetic, ten times as fast.
    return cast("list[Array]", array[:, 0].tolist()) if array.shape[1] == 1 else list(array)


def eliminate(
    temperature_c: Array, capacity_j_k: Array, conductance_w_k: Array, dt_s: float
) -> Elimination:
    """Prepare one implicit Euler step (Thomas algorithm, forward half).

    Args:
        temperature_c: Cell temperatures, shape (cells, n).
        capacity_j_k: Heat capacities of the cells, shape (cells, n).
        conductance_w_k: Between neighbouring cells, shape (cells - 1, n).
        dt_s: Step, seconds.
    """
    links = conductance_w_k * dt_s
    diagonal = capacity_j_k.copy()
    diagonal[:-1] += links
    diagonal[1:] += links
    couplings, stored = _rows(links), _rows(capacity_j_k * temperature_c)
    pivots, sums = list(_rows(diagonal)), list(stored)
    for i, coupling in enumerate(couplings):
        ratio = coupling / pivots[i]
        pivots[i + 1] = pivots[i + 1] - ratio * coupling
        sums[i + 1] = sums[i + 1] + ratio * sums[i]
    pivot = np.atleast_1d(pivots[-1])
    return Elimination(np.atleast_1d(sums[-1]) / pivot, dt_s / pivot, pivots, sums, couplings)
