"""Which load is which piece: all loads that wait, matched together.

A load is one piece at one checkpoint, or something else; no two loads are the same piece. The
chance of a load is summed over every way in which all loads can be matched so, over the part of
the spread that is common to the pieces, over what is being weighed (mostly all pieces at one
checkpoint, or one piece again) and over whether the pieces come in the order of last time.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from pitlogger.yields.weighing.assignment import Table, in_any_order, in_order, marginals
from pitlogger.yields.weighing.expected import Expected, Habits

# Density of "something else" per unit of logarithmic mass, against which a guess must win.
SOMETHING_ELSE = 0.01
_TARE_FORGOTTEN = 0.05  # chance that a known container lies under the load, not tared
_MOST = 10  # pieces matched at once; the rest counts as something else
_BESIDE = 0.02  # how likely a load is of another checkpoint than those around it
_AGAIN_ON = 0.3  # how likely, after one piece was weighed again, each load is anything
_LEAST = 1e-6  # of the likeliest case, below which one is not looked at
_MOST_SHIFTS, _FEWEST_SHIFTS = 31, 3

Shifts = Sequence[tuple[float | None, float]]
_NO_SHIFTS: Shifts = ((None, 1.0),)


@dataclass(frozen=True, slots=True)
class Guess:
    """What a load may be; ``net_g`` is less a container where one seems to lie under it."""

    piece: str
    checkpoint: str
    net_g: float
    chance: float


class _Session(NamedTuple):
    """What may be being weighed: checkpoints, how likely, a weight for each load as each one.

    ``gone`` is the set of pieces of which nothing is waited for there.
    """

    of: tuple[str, ...]
    prior: float
    weights: Table
    gone: int


def match(
    loads_g: Sequence[float], waiting: Sequence[Expected], habits: Habits,
    containers_g: Sequence[float] = (), chances: Sequence[Sequence[float]] | None = None,
) -> list[list[Guess]]:  # fmt: skip
    """Return for each load what it may be, the likeliest first; empty where nothing fits.

    Args:
        loads_g: Net masses above zero, grams, in the order in which they were put on.
        waiting: What pieces would weigh.
        habits: How the pieces are weighed one after the other.
        containers_g: Masses of known containers that somebody may have forgotten to tare.
        chances: For each load the chance of each expectation when it was put on, unless that
            is its ``chance``.
    """
    if not loads_g or not waiting:
        return [[] for _ in loads_g]
    at = np.array(chances or [[one.chance for one in waiting]] * len(loads_g))
    bare = np.array([_densities(loads_g, waiting, containers_g, None)])
    pieces = _matched(bare, waiting, habits)
    column = np.array([pieces.index(one.piece) if one.piece in pieces else -1 for one in waiting])
    found = np.zeros(bare.shape[1:])
    whole = 0.0
    alike = _alike(waiting, pieces)
    orders = ((in_order(alike), habits.orderly), (in_any_order(alike), 1.0 - habits.orderly))
    for session in _sessions(waiting, at, habits, pieces):
        shifts = _shifts(waiting, session) if len(loads_g) > 1 else _NO_SHIFTS
        masses = bare if shifts is _NO_SHIFTS else np.array(
            [_densities(loads_g, waiting, containers_g, one) for one, _ in shifts]
        )  # fmt: skip
        fits = masses * session.weights
        is_out = (column < 0) | (session.gone >> np.maximum(column, 0) & 1 == 1)
        table = np.full((*fits.shape[:2], len(pieces) + 1), SOMETHING_ELSE)
        for one in range(len(pieces)):
            table[:, :, one] = fits[:, :, ~is_out & (column == one)].sum(axis=2)
        table[:, :, -1] += fits[:, :, is_out].sum(axis=2)
        prior = session.prior * np.array([p for _, p in shifts])
        bound = prior * table.sum(axis=2).prod(axis=1)
        kept = bound > _LEAST * max(bound.max(), whole)
        if not kept.any():
            continue
        fits, table, prior = fits[kept], table[kept], prior[kept]
        place = np.where(is_out, len(pieces), column)
        for turns, usual in orders:
            shares, total = marginals(table, turns, session.gone)
            each = fits * shares[:, :, place] / table[:, :, place].clip(1e-300)
            found += np.einsum("i,ijk->jk", usual * prior * total, each)
            whole += float(usual * prior @ total)
    return [
        sorted(
            (
                Guess(one.piece, one.checkpoint, _net_g(load, one, containers_g), float(chance))
                for one, chance in zip(waiting, row, strict=True)
                if chance > 0.001
            ),
            key=lambda guess: -guess.chance,
        )
        for load, row in zip(loads_g, found / max(whole, 1e-300), strict=True)
    ]


def _shifts(waiting: Sequence[Expected], session: _Session) -> Shifts:
    """Return parts of the common spread, so near that each piece's own bridges them."""
    own = max(one.common_sd / one.own_sd for one in waiting if one.checkpoint in session.of)
    count = min(_MOST_SHIFTS, 1 + 2 * round(4.0 * own))
    if count < _FEWEST_SHIFTS:
        return _NO_SHIFTS
    places = np.linspace(-3.0, 3.0, count)
    shares = np.exp(-0.5 * places**2)
    return list(zip(places.tolist(), (shares / shares.sum()).tolist(), strict=True))


def _matched(masses: Table, waiting: Sequence[Expected], habits: Habits) -> list[str]:
    """Return the pieces that are matched, in the order in which they are mostly handled."""
    best: dict[str, float] = {}
    for one, fit in zip(waiting, masses.max(axis=(0, 1)), strict=True):
        best[one.piece] = max(best.get(one.piece, 0.0), float(fit))
    kept = sorted(best, key=lambda piece: -best[piece])[:_MOST]
    return [piece for piece in habits.order if piece in kept]


def _alike(waiting: Sequence[Expected], pieces: Sequence[str]) -> tuple[int, ...]:
    """Return for each piece a number that it shares with those that nothing tells from it."""
    looks: dict[str, list[tuple[str, float, float]]] = {}
    for one in waiting:
        if one.alike:
            looks.setdefault(one.piece, []).append((one.checkpoint, one.log_g, one.own_sd))
    known = list(looks.values())
    return tuple(known.index(looks[piece]) if piece in looks else -1 for piece in pieces)


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


def _sessions(
    waiting: Sequence[Expected], chances: Table, habits: Habits, pieces: Sequence[str]
) -> Iterator[_Session]:
    """Yield what may be being weighed, and how likely that is."""
    again = np.array([one.follows == "same-piece" for one in waiting])
    begun = {one.checkpoint for one in waiting if one.follows == "same-checkpoint"}
    names = dict.fromkeys(one.checkpoint for one in waiting)
    if again.any():
        weights = _AGAIN_ON * chances
        weights[0] = np.where(again, chances[0], chances[0] * _BESIDE)
        yield _Session(tuple(names), habits.same_piece, weights, 0)
    other = 1.0 - habits.same_checkpoint - habits.same_piece if begun or again.any() else 1.0
    for name in names:
        here = np.array([one.checkpoint == name for one in waiting])
        usual = chances[:, here].max()
        # Where few pieces still wait for it, it is seldom what is being done.
        waits = chances[:, here].max(axis=0).sum() / len(pieces)
        prior = habits.same_checkpoint if name in begun else other * waits
        # Of one checkpoint all pieces are as likely, but where stages tell them apart.
        weights = np.where(here, chances / max(usual, 1e-9), _BESIDE * chances)
        left = {one.piece for one in waiting if one.checkpoint == name}
        gone = sum(1 << at for at, piece in enumerate(pieces) if piece not in left)
        yield _Session((name,), prior, weights, gone)


def _net_g(load: float, one: Expected, containers_g: Sequence[float]) -> float:
    """Return the mass without the container that explains it far better, if one does."""
    best, best_fit = load, one.density(load)
    for tare in containers_g:
        if load > tare and (fit := _TARE_FORGOTTEN * one.density(load - tare)) > best_fit:
            best, best_fit = load - tare, fit
    return best
