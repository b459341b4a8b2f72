"""How much to buy by expected money: one more piece against what being short costs.

The newsvendor's question. What the stated risk buys is another: the two stand side by side.

Source: the critical ratio of the newsvendor problem (Arrow, Harris, Marschak 1951; from memory).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from pitlogger.yields.purchase.masses import Enough


@dataclass(frozen=True, slots=True)
class Shortage:
    """What being short costs, as the person says.

    Attributes:
        per_event: A refund, a name: whenever it happens at all.
        per_g: Of a dish bought in: for each gram that is missing.
        left_per_g: What a gram left over is still worth; 0 if it is thrown away.
    """

    per_event: float = 0.0
    per_g: float = 0.0
    left_per_g: float = 0.0


@dataclass(frozen=True, slots=True)
class CostBalance:
    """One option in money: the meat, what being short is expected to cost, both together."""

    pieces: int
    meat: float
    shortage: float
    total: float


def balances(
    options: Sequence[Enough],
    demand_g: float,
    meat_cost: Callable[[int], float],
    shortage: Shortage,
) -> tuple[CostBalance, ...]:
    """Return each option in money.

    Args:
        options: What so many pieces give.
        demand_g: Expected demand, grams.
        meat_cost: Money for so many pieces.
        shortage: What being short costs.
    """
    found = []
    for option in options:
        missing_g = max(0.0, option.leftover_g - (option.expected_g - demand_g))
        meat = meat_cost(option.pieces) - shortage.left_per_g * option.leftover_g
        short = shortage.per_event * (1.0 - option.p_enough) + shortage.per_g * missing_g
        found.append(CostBalance(option.pieces, meat, short, meat + short))
    return tuple(found)


def cheapest(found: Sequence[CostBalance]) -> CostBalance:
    """Return the option that is expected to cost least; of equal ones the fewest pieces."""
    return min(found, key=lambda one: (one.total, one.pieces))
