"""The grid over what pieces share, and the distribution of their servable mass on it.

NumPy is loaded with this module; ``sufficiency`` loads it when it is asked something.

Source of the series: Abramowitz and Stegun 26.2.47 (Edgeworth), 26.2.17 (normal
distribution function, error below 7.5e-8).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from pitlogger.yields.learned.belief import Belief
from pitlogger.yields.learned.kitchen import Part
from pitlogger.yields.purchase.demand import Demand
from pitlogger.yields.purchase.masses import Enough, PieceMass

Array = NDArray[np.float64]
# Nodes of what pieces share and of its spread: for one belief, and for each of many, whose nodes
# fall between one another's.
_NODES, _NODES_OF_MANY = (161, 41), (61, 17)
_PIECE_NODES, _LEAST_WEIGHT = 12, 1e-6
_COARSE_MEANS, _COARSE_SPREADS = 17, 24


@dataclass(frozen=True, slots=True)
class Supply:
    """The grid over what the pieces share, with the moments of one yield at each node.

    Arrays have shape (n_nodes,); ``moments`` has shape (4, n_nodes): the mean of the yield
    and of its square, cube and fourth power. ``typical`` is the grid at the estimated
    spread alone.
    """

    weight: Array
    moments: Array
    typical: Supply | None = None


def make_supply(parts: Sequence[Part]) -> Supply:
    """Return the grid for beliefs about the logit of the yield.

    Args:
        parts: Proper ones (see ``Belief.is_proper``), their weights adding up to 1.
    """
    shared, spread = _NODES if len(parts) == 1 else _NODES_OF_MANY
    typical = [_nodes(part, np.array([part.belief.spread]), np.ones(1), shared) for part in parts]
    found = [_nodes(part, *_spreads(part.belief, spread), shared) for part in parts]
    return replace(_joined(found), typical=_joined(typical))


def _nodes(part: Part, spreads: Array, weights: Array, shared_n: int) -> tuple[Array, ...]:
    """Return weight, common logit and own deviation at each node; arrays of shape (n_nodes,)."""
    z = np.linspace(-6.0, 6.0, shared_n)
    z_weight = np.exp(-0.5 * z * z)
    shared = math.sqrt(1.0 / part.belief.kappa + part.day_share)
    weight = part.weight * np.outer(weights, z_weight / z_weight.sum()).ravel()
    centre = part.belief.mean + shared * np.outer(spreads, z).ravel()
    own = math.sqrt(1.0 - part.day_share) * np.repeat(spreads, shared_n)
    heavy = weight > _LEAST_WEIGHT * weight.max()
    return weight[heavy], centre[heavy], own[heavy]


def _joined(nodes: Sequence[tuple[Array, ...]]) -> Supply:
    weight, centre, own = (np.concatenate(each) for each in zip(*nodes, strict=True))
    x, w = np.polynomial.hermite_e.hermegauss(_PIECE_NODES)
    share = 1.0 / (1.0 + np.exp(np.clip(-(centre[:, None] + own[:, None] * x), -700, 700)))
    powers, w = share.copy(), w / w.sum()
    moments = [powers @ w]
    for _ in range(3):
        powers *= share
        moments.append(powers @ w)
    return Supply(weight / weight.sum(), np.stack(moments))


def _spreads(belief: Belief, spread_n: int) -> tuple[Array, Array]:
    """Return nodes and weights of the spread: nu s^2 / sigma^2 is chi-square.

    Even steps in the logarithm of chi-square, where its density is smooth and its tails
    die out.
    """
    nu = belief.nu
    low = math.log(nu) - 6.0 * math.sqrt(2.0 / nu) - 14.0 / nu
    high = math.log(nu) + 6.0 * math.sqrt(2.0 / nu)
    log_chi2 = np.linspace(low, high, spread_n)
    log_density = 0.5 * nu * log_chi2 - 0.5 * np.exp(log_chi2)
    weight = np.exp(log_density - log_density.max())
    sigma = np.sqrt(belief.sum_squares / np.exp(log_chi2))
    return sigma, weight / weight.sum()


@dataclass(frozen=True, slots=True)
class Cumulants:
    """First four cumulants of a servable mass at each node; arrays of shape (n_nodes,)."""

    k1: Array
    k2: Array
    k3: Array
    k4: Array

    @classmethod
    def none(cls, grid: Supply) -> Cumulants:
        zero = np.zeros_like(grid.weight)
        return cls(zero, zero, zero, zero)

    @classmethod
    def of_piece(cls, grid: Supply, piece: PieceMass) -> Cumulants:
        m, s2 = piece.mean_g, piece.sd_g**2
        mass = (m, m**2 + s2, m**3 + 3 * m * s2, m**4 + 6 * m**2 * s2 + 3 * s2**2)
        r1, r2, r3, r4 = (a * b for a, b in zip(mass, grid.moments, strict=True))
        return cls(
            r1,
            np.maximum(r2 - r1**2, 0.0),
            r3 - 3 * r1 * r2 + 2 * r1**3,
            r4 - 4 * r1 * r3 - 3 * r2**2 + 12 * r1**2 * r2 - 6 * r1**4,
        )

    def each(self) -> tuple[Array, Array, Array, Array]:
        return self.k1, self.k2, self.k3, self.k4

    def __add__(self, other: Cumulants) -> Cumulants:
        return Cumulants(
            self.k1 + other.k1, self.k2 + other.k2, self.k3 + other.k3, self.k4 + other.k4
        )


@dataclass(frozen=True, slots=True)
class Mixture:
    """A servable mass as weighted nodes, and its cumulants at each."""

    weight: Array
    mass: Cumulants

    def and_apart(self, other: Mixture) -> Mixture:
        """Return the sum with a mass that shares nothing with this one, such as of another cut."""
        a, b = self._coarse(), other._coarse()
        pairs = (
            np.add.outer(mine, its).ravel()
            for mine, its in zip(a.mass.each(), b.mass.each(), strict=True)
        )
        return Mixture(np.outer(a.weight, b.weight).ravel(), Cumulants(*pairs))._coarse()

    def _coarse(self) -> Mixture:
        """Return it on a few nodes: those of like spread and mean are one.

        What they differ in is added to their variance. The means lie as the quantiles of a
        normal, so that the tails keep nodes of their own.
        """
        quiet = np.linspace(0.0, 1.0, _COARSE_SPREADS + 1)[1:-1]
        edges = _normal_cdf(np.linspace(-4.0, 4.0, _COARSE_MEANS - 1))
        spread = np.searchsorted(quiet, self._place(self.mass.k2))
        place = np.searchsorted(edges, self._place(self.mass.k1))
        at = spread * _COARSE_MEANS + place
        of: Array = np.bincount(at, self.weight).astype(np.float64)
        filled = of > 0
        k1, k2, k3, k4, square = (
            np.bincount(at, self.weight * k)[filled] / of[filled]
            for k in (*self.mass.each(), self.mass.k1**2)
        )
        return Mixture(of[filled], Cumulants(k1, k2 + np.maximum(square - k1**2, 0.0), k3, k4))

    def _place(self, values: Array) -> Array:
        """Return at which share of the weight each node stands, in the order of its value."""
        order = np.argsort(values)
        place = np.empty_like(values)
        place[order] = np.cumsum(self.weight[order]) - 0.5 * self.weight[order]
        return place


def judge(
    k: int, weight: Array, mass: Cumulants, wanted: Demand, fixed_g: float, sd_g: float
) -> Enough:
    p, left = _beyond_zero(
        mass.k1 + fixed_g - wanted.mean_g,
        np.sqrt(mass.k2 + wanted.sd_g**2),
        mass.k3 - wanted.third_g3,
        mass.k4,
    )
    return Enough(
        k,
        min(1.0, float(weight @ np.clip(p, 0.0, 1.0))),
        float(weight @ mass.k1) + fixed_g,
        sd_g,
        float(weight @ np.maximum(left, 0.0)),
    )


def deviation(weight: Array, mass: Cumulants) -> float:
    return math.sqrt(float(weight @ (mass.k2 + (mass.k1 - weight @ mass.k1) ** 2)))


def _beyond_zero(mean: Array, sd: Array, k3: Array, k4: Array) -> tuple[Array, Array]:
    """Return P(X >= 0) and E[max(X, 0)] from the cumulants of X, by the Edgeworth series."""
    sd = np.maximum(sd, 1e-9)
    z = np.clip(mean / sd, -40.0, 40.0)
    skew = np.clip(k3 / sd**3, -1.0, 1.0)
    excess = np.clip(k4 / sd**4, -1.0, 1.0)
    density = np.exp(-0.5 * z * z) / math.sqrt(2.0 * math.pi)
    u = -z
    he1, he2, he3 = u, u**2 - 1, u**3 - 3 * u
    he4 = u**4 - 6 * u**2 + 3
    he5 = u**5 - 10 * u**3 + 15 * u
    cdf = _normal_cdf(z)
    p = cdf + density * (skew / 6 * he2 + excess / 24 * he3 + skew**2 / 72 * he5)
    left = z * cdf + density * (1 + skew / 6 * he1 + excess / 24 * he2 + skew**2 / 72 * he4)
    return p, np.where(z >= 40.0, mean, sd * left)


def _normal_cdf(z: Array) -> Array:
    """Return the normal distribution function (Abramowitz and Stegun 26.2.17)."""
    t = 1.0 / (1.0 + 0.2316419 * np.abs(z))
    series = t * (
        0.319381530 + t * (-0.356563782 + t * (1.781477937 + t * (-1.821255978 + t * 1.330274429)))
    )
    tail = np.exp(-0.5 * z * z) / math.sqrt(2.0 * math.pi) * series
    return np.where(z > 0, 1.0 - tail, tail)
