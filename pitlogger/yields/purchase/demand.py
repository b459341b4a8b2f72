"""How much will be eaten: guests who come, what each takes, and the margin on top."""

from __future__ import annotations

import math
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Party:
    """Guests of one kind.

    Attributes:
        guests: Booked.
        portion_g: Mean servable mass each takes, grams.
        portion_sd_g: Standard deviation of it, grams.
    """

    guests: int
    portion_g: float
    portion_sd_g: float = 0.0


@dataclass(frozen=True, slots=True)
class Demand:
    """Mass asked for: mean, standard deviation and third central moment; grams."""

    mean_g: float
    sd_g: float
    third_g3: float = 0.0


def demand(
    parties: tuple[Party, ...],
    show_rate: float = 1.0,
    over: float = 0.0,
    day_share: float = 1.0,
    shared_cv: float = 0.0,
) -> Demand:
    """Return what is asked for.

    Args:
        parties: Adults, children, each with their portion.
        show_rate: Probability that one who is booked comes, above 0 to 1. Each decides
            alone: a binomial number comes.
        over: Margin on production, as a fraction (0.05 for 5 %).
        day_share: Share of the meal that this dish is, where several are served.
        shared_cv: How much the meal as a whole may differ, as a share of its mean: what all
            guests have in common, such as the weather, does not average out over them.

    Returns:
        Mean ``N p m``; variance ``N p sd^2 + N p (1-p) m^2``, summed over the parties; all of it
        times a lognormal factor of mean 1 where something is shared.
    """
    p, factor = show_rate, (1.0 + over) * day_share
    mean = variance = third = 0.0
    for party in parties:
        n, m, sd = party.guests, party.portion_g, party.portion_sd_g
        mean += n * p * m
        variance += n * p * sd**2 + n * p * (1 - p) * m**2
        third += n * (p * (1 - p) * (1 - 2 * p) * m**3 + 3 * p * (1 - p) * m * sd**2)
    if shared_cv:
        # Moments of the product with the factor: E[F^2] = 1 + cv^2, E[F^3] = (1 + cv^2)^3.
        second = 1.0 + shared_cv**2
        square, cube = variance + mean**2, third + 3 * mean * variance + mean**3
        variance = second * square - mean**2
        third = second**3 * cube - 3 * mean * second * square + 2 * mean**3
    return Demand(factor * mean, factor * math.sqrt(variance), factor**3 * third)
