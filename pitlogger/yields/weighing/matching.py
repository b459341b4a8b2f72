"""Which load is which piece: all loads that wait, matched together.

A load is one piece at one checkpoint, or something else; no two loads are the same piece. The
chance of a load is summed over every way in which all loads can be matched so (a sum over the
sets of pieces that are taken, load by load), over the part of the spread that is common to the
pieces, and over what is being weighed: mostly all pieces at one checkpoint, or one piece again.
The one likeliest matching is found the same way, with the greatest in place of the sum.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np
import numpy.typing as npt

from pitlogger.yields.weighing.expected import Expected, Habits

# Density of "something else" per unit of logarithmic mass, against which a guess must win.
SOMETHING_ELSE = 0.02
_TARE_FORGOTTEN = 0.05  # chance that a known container lies under the load, not tared
_MOST = 10  # pieces matched at once; the rest counts as something else
_BESIDE = 0.02  # how likely a load is of another checkpoint than those around it
_SHIFTS = ((-2.0, 0.06), (-1.0, 0.24), (0.0, 0.4), (1.0, 0.24), (2.0, 0.06))

Table = npt.NDArray[np.float64]
Combine = Callable[[Table, Table], Table]


@dataclass(frozen=True, slots=True)
class Guess:
    """What a load may be; ``net_g`` is less a container where one seems to lie under it."""

    piece: str
    checkpoint: str
    net_g: float
    chance: float


def match(
    loads_g: Sequence[float], waiting: Sequence[Expected], habits: Habits,
    containers_g: Sequence[float] = (),
) -> list[list[Guess]]:  # fmt: skip
    """Return for each load what it may be, the likeliest first; empty where nothing fits.

    Args:
        loads_g: Net masses above zero, grams, in the order in which they were put on.
        waiting: What pieces would weigh.
        habits: How the pieces are weighed one after the other.
        containers_g: Masses of known containers that somebody may have forgotten to tare.
    """
    if not loads_g or not waiting:
        return [[] for _ in loads_g]
    pieces = list(dict.fromkeys(one.piece for one in waiting))
    column = np.array([pieces.index(one.piece) for one in waiting])
    chances: Table = np.zeros((len(loads_g), len(waiting)))
    whole = 0.0
    for shift, likely in _SHIFTS if len(loads_g) > 1 else ((None, 1.0),):
        masses = _densities(loads_g, waiting, containers_g, shift)
        for turns, prior in _plans(masses, waiting, habits):
            fits = masses * turns
            by_piece = np.full((len(loads_g), len(pieces) + 1), SOMETHING_ELSE)
            for at in range(len(pieces)):
                by_piece[:, at] = fits[:, column == at].sum(axis=1)
            found, total = marginals(by_piece)
            shares = fits / np.maximum(by_piece[:, column], 1e-300)
            chances += prior * likely * total * found[:, column] * shares
            whole += prior * likely * total
    return [
        sorted(
            (
                Guess(one.piece, one.checkpoint, _net_g(load, one, containers_g), float(chance))
                for one, chance in zip(waiting, row, strict=True)
                if chance > 0.001
            ),
            key=lambda guess: -guess.chance,
        )
        for load, row in zip(loads_g, chances / max(whole, 1e-300), strict=True)
    ]


def _densities(
    loads_g: Sequence[float], waiting: Sequence[Expected], containers_g: Sequence[float],
    shift: float | None,
) -> Table:  # fmt: skip
    """Return the density of each load's mass as each expectation."""
    table = np.zeros((len(loads_g), len(waiting)))
    for row, load in enumerate(loads_g):
        for at, one in enumerate(waiting):
            density = one.density(load, shift)
            if containers_g:
                bare = [load - tare for tare in containers_g if load - tare > 0]
                under = sum(one.density(net, shift) * load / net for net in bare)
                density += _TARE_FORGOTTEN * (under / len(containers_g) - density)
            table[row, at] = density
    return table


def _plans(
    masses: Table, waiting: Sequence[Expected], habits: Habits
) -> Iterator[tuple[Table, float]]:
    """Yield what may be being weighed: the weight of each load's turn, and how likely that is."""
    is_piece = masses.max(axis=1) > 3.0 * SOMETHING_ELSE
    places = np.concatenate(([0], np.cumsum(is_piece)[:-1]))  # of a load among those of pieces
    turns = np.array([[_turn(one, int(at), habits.in_order) for one in waiting] for at in places])
    chances = np.array([one.chance for one in waiting])
    again = np.array([one.follows == "same-piece" for one in waiting])
    together = np.array([one.follows == "same-checkpoint" for one in waiting])
    rest = 1.0
    if again.any():
        first = turns * chances * _BESIDE
        first[0] = np.where(again, chances, first[0])
        first[1:] = turns[1:] * chances
        yield first, habits.same_piece
        rest -= habits.same_piece
    names = dict.fromkeys(one.checkpoint for one in waiting)
    session = {one.checkpoint for one, yes in zip(waiting, together, strict=True) if yes}
    for name in names:
        here = np.array([one.checkpoint == name for one in waiting])
        usual = float(chances[here].max())
        prior = rest * usual
        if session:
            prior = rest * (habits.same_checkpoint if name in session else
                            usual * (1.0 - habits.same_checkpoint))  # fmt: skip
        yield turns * np.where(here, 1.0, _BESIDE * chances), prior


def _turn(one: Expected, place: int, in_order: float) -> float:
    """Return how likely it is the turn of a piece, for the load put on after ``place`` others."""
    if one.alike:
        return 1.0 if one.rank == place else 0.0
    if one.waiting == 1:
        return 1.0
    return in_order if one.rank == place else (1.0 - in_order) / (one.waiting - 1)


def _net_g(load: float, one: Expected, containers_g: Sequence[float]) -> float:
    """Return the mass without the container that explains it far better, if one does."""
    best, best_fit = load, one.density(load)
    for tare in containers_g:
        if load > tare and (fit := _TARE_FORGOTTEN * one.density(load - tare)) > best_fit:
            best, best_fit = load - tare, fit
    return best


def marginals(fits: Table) -> tuple[Table, float]:
    """Return the chance of each match over all one-to-one matchings, and their summed weight.

    Args:
        fits: Weights, shape (loads, columns + 1); the last column may be taken by any number.
    """
    before, after, columns = _passes(fits, np.add)
    total = float(before[-1].sum())
    found = np.zeros_like(fits)
    if total <= 0.0:
        found[:, -1] = 1.0
        return found, 0.0
    without = _without(len(columns))
    for row in range(len(fits)):
        ahead = after[row + 1]
        found[row, -1] = fits[row, -1] * float(before[row] @ ahead)
        for at, column in enumerate(columns):
            free = without[at]
            ways = float(before[row][free] @ ahead[free | 1 << at])
            found[row, column] = fits[row, column] * ways
    rest = np.delete(fits, [*columns, fits.shape[1] - 1], axis=1).sum(axis=1)
    found /= total
    found *= (1.0 - rest / fits.sum(axis=1))[:, None]  # what was left out is doubt
    found[:, -1] += 1.0 - found.sum(axis=1)
    return found, total


def likeliest(fits: Table) -> list[int]:
    """Return the column of each load in the one likeliest matching; the last is no match."""
    _, after, columns = _passes(fits, np.maximum)
    best, mask = [], 0
    for row in range(len(fits)):
        options = [(fits[row, -1] * after[row + 1][mask], fits.shape[1] - 1, mask)]
        options += [
            (fits[row, column] * after[row + 1][mask | 1 << at], column, mask | 1 << at)
            for at, column in enumerate(columns)
            if not mask >> at & 1
        ]
        _, column, mask = max(options, key=lambda option: option[0])
        best.append(column)
    return best


def _passes(fits: Table, combine: Combine) -> tuple[list[Table], list[Table], list[int]]:
    """Return the sums before and after each load, by the set of columns that are taken."""
    strength = fits[:, :-1].max(axis=0)
    columns = sorted(np.argsort(-strength)[:_MOST].tolist())
    size, without = 1 << len(columns), _without(len(columns))
    start = np.zeros(size)
    start[0] = 1.0
    before, after = [start], [np.ones(size)]
    for row in fits:
        after_row = before[-1] * row[-1]
        for at, column in enumerate(columns):
            free = without[at]
            taken = free | 1 << at
            after_row[taken] = combine(after_row[taken], before[-1][free] * row[column])
        before.append(after_row)
    for row in fits[::-1]:
        ahead = after[0] * row[-1]
        for at, column in enumerate(columns):
            free = without[at]
            ahead[free] = combine(ahead[free], after[0][free | 1 << at] * row[column])
        after.insert(0, ahead)
    return before, after, columns


@cache
def _without(count: int) -> list[npt.NDArray[np.int64]]:
    """Return for each column the sets that do not hold it."""
    sets = np.arange(1 << count)
    return [sets[sets >> at & 1 == 0] for at in range(count)]
