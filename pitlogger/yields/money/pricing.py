"""From cost to price: by food-cost percentage, by margin, by prime cost; break-even.

Source: Gisslen, Professional Cooking (food-cost percentages); contribution margin and prime
cost by their definitions. Factors are never rounded before they are used.
"""

from __future__ import annotations

import math
from decimal import Decimal

from pitlogger.errors import UsageError


def price_for_food_cost(cost: Decimal, target: Decimal) -> Decimal:
    """Return the price at which ``cost`` is the share ``target`` (0.30 for 30 %) of it."""
    return cost / share_of_price(target, "food-cost percentage")


def price_for_margin(cost: Decimal, margin: Decimal) -> Decimal:
    """Return the price that leaves a contribution margin over the variable cost."""
    return cost + margin


def price_for_prime_cost(food: Decimal, labour: Decimal, target: Decimal) -> Decimal:
    """Return the price at which food and labour together are the share ``target`` of it."""
    return (food + labour) / share_of_price(target, "prime-cost percentage")


def break_even_guests(fixed: Decimal, price: Decimal, variable: Decimal) -> int:
    """Return the fewest guests whose margins cover the fixed cost.

    Raises:
        UsageError: Each guest costs as much as he pays, or more.
    """
    if price <= variable:
        raise UsageError(
            f"no number of guests breaks even: each pays {price:.2f} and costs {variable:.2f}"
        )
    return math.ceil(fixed / (price - variable))


def share_of_price(target: Decimal, what: str) -> Decimal:
    """Return a target share above 0 and at most 1.

    Raises:
        UsageError: It is not.
    """
    if not 0 < target <= 1:
        raise UsageError(f"a {what} of {target * 100:f} % is not above 0 and at most 100")
    return target
