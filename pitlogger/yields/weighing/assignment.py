"""Loads and pieces, at most one load each: chances over every way to assign them, in turn.

The sum over all assignments is taken load by load over the sets of pieces that are gone, for
many cases at once. How likely it is that a piece is taken next may depend on that set: the
pieces stand in the order in which they were handled last, so that the set also says how far
down the order somebody has come.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache

import numpy as np
import numpy.typing as npt

Table = npt.NDArray[np.float64]
# Taken after the piece taken before: the next one, one further on, one that was passed over.
_PASSED = 0.08  # a piece is left out or comes later
_FURTHER = 0.3  # each one more
_FORWARD, _BACK = 0.95, 0.05
_FORWARD_PASSED, _BACK_PASSED = 0.45, 0.5  # where one was passed over just now


def marginals(
    fits: Table, turns: Sequence[Table] | None = None, gone: int = 0
) -> tuple[Table, Table]:
    """Return the chance of each assignment over all one-to-one ones, and their summed weight.

    Args:
        fits: Weights, shape (cases, loads, columns + 1); the last column, no piece, may be
            taken by any number of loads.
        turns: For each column how likely it is the next, by the set that is gone: see ``in_order``.
        gone: The set of columns that are gone at first.

    Returns:
        Chances, shaped as ``fits``, and the summed weight of each case.
    """
    cases, loads, width = fits.shape
    columns = width - 1
    before = np.zeros((loads + 1, cases, 1 << columns))
    before[0, :, gone] = 1.0
    for row in range(loads):
        before[row + 1] = before[row] * fits[:, row, -1, None]
        for at in range(columns):
            ways = _part(before[row], at, 0) * fits[:, row, at, None, None]
            _part(before[row + 1], at, 1)[:] += ways if turns is None else ways * turns[at]
    total = before[-1].sum(axis=1)
    found = np.zeros_like(fits)
    ahead = np.ones((cases, 1 << columns))
    for row in range(loads - 1, -1, -1):
        found[:, row, -1] = fits[:, row, -1] * np.einsum("ij,ij->i", before[row], ahead)
        now = ahead * fits[:, row, -1, None]
        for at in range(columns):
            then = _part(ahead, at, 1)
            then = then * fits[:, row, at, None, None] if turns is None else (
                then * fits[:, row, at, None, None] * turns[at]
            )  # fmt: skip
            found[:, row, at] = np.einsum("ijk,ijk->i", _part(before[row], at, 0), then)
            _part(now, at, 0)[:] += then
        ahead = now
    found /= np.maximum(total, 1e-300)[:, None, None]
    return found, total


def _part(sets: Table, at: int, is_gone: int) -> Table:
    """Return the part of a table of sets that holds a column, or that does not, as a view."""
    return sets.reshape(len(sets), -1, 2, 1 << at)[:, :, is_gone, :]


def in_order(alike: tuple[int, ...]) -> tuple[Table, ...]:
    """Return how likely each column is the next where they are taken mostly in their order.

    Args:
        alike: For each column a number that it shares with those that nothing tells from it,
            -1 for one of its own. Of such the first that is left is the next, always.
    """
    return _tables(alike, is_ordered=True)


def in_any_order(alike: tuple[int, ...]) -> tuple[Table, ...]:
    """Return the same where any column that is left may be the next."""
    return _tables(alike, is_ordered=False)


@cache
def _tables(alike: tuple[int, ...], *, is_ordered: bool) -> tuple[Table, ...]:
    count = len(alike)
    found = []
    for at, group in enumerate(alike):
        same = sum(1 << one for one in range(at) if group >= 0 and alike[one] == group)
        weights = np.zeros(1 << count)
        for gone in range(1 << count):
            if gone >> at & 1 or same & ~gone:
                continue
            if group >= 0:
                weights[gone] = 1.0
            elif is_ordered:
                weights[gone] = _next(at, gone)
            else:
                weights[gone] = 1.0 / (count - gone.bit_count())
        found.append(weights.reshape(-1, 2, 1 << at)[:, 0, :].copy())
    return tuple(found)


def _next(at: int, gone: int) -> float:
    """Return how likely a column follows the furthest one that is gone."""
    top = gone.bit_length() - 1
    has_passed = top > 0 and not gone >> (top - 1) & 1
    if at > top:
        forward = _FORWARD_PASSED if has_passed else _FORWARD
        past = at - top - 1
        return forward * (1.0 - _PASSED if past == 0 else _PASSED * _FURTHER ** (past - 1))
    if has_passed and at == top - 1:
        return _BACK_PASSED
    return _BACK / (top + 1 - gone.bit_count() + 1)
