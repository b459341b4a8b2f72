"""Butcher's yield test and cooking-loss test: what a servable gram costs.

Every ratio on the card is of the mass as purchased (the billed one, where a label was
kept). By-products are credited at the price they would have to be bought for, and only if
they are sold or used; the cutting loss is a line of its own at no value. All in decimal,
nothing is rounded unless a printed card is to be reproduced.

Source: Gisslen, Professional Cooking, raw yield test and cooked yield test forms.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from pitlogger.errors import UsageError
from pitlogger.formats.money import cents


@dataclass(frozen=True, slots=True)
class CutOff:
    """Something cut off; ``price_per_g`` is 0 where it is neither sold nor used."""

    name: str
    mass_g: Decimal
    price_per_g: Decimal = Decimal(0)

    @property
    def value(self) -> Decimal:
        return self.mass_g * self.price_per_g


@dataclass(frozen=True, slots=True)
class Card:
    """A yield test as weighed; grams and money.

    Attributes:
        purchased_g: As purchased.
        price_per_g: Price paid.
        parts: What was cut off.
        usable_g: Ready to cook, after cutting; ``None`` if not weighed.
        cooked_g: Whole, after cooking; ``None`` if not weighed.
        salable_g: What can be served; ``None`` if not weighed.
        as_printed: Round each credit line to a hundredth, as printed cards do.
    """

    purchased_g: Decimal
    price_per_g: Decimal
    parts: tuple[CutOff, ...] = ()
    usable_g: Decimal | None = None
    cooked_g: Decimal | None = None
    salable_g: Decimal | None = None
    as_printed: bool = False

    @property
    def cost(self) -> Decimal:
        return self.purchased_g * self.price_per_g

    @property
    def credit(self) -> Decimal:
        lines = (part.value for part in self.parts)
        return sum((cents(line) if self.as_printed else line for line in lines), Decimal(0))

    @property
    def net_cost(self) -> Decimal:
        return self.cost - self.credit

    @property
    def cutting_loss_g(self) -> Decimal | None:
        """What cutting lost beyond the parts weighed; negative if more came off than lost."""
        if self.usable_g is None or not self.parts:
            return None
        return self.purchased_g - self.usable_g - sum((p.mass_g for p in self.parts), Decimal(0))

    @property
    def loss_in_cooking_g(self) -> Decimal | None:
        if self.usable_g is None or self.cooked_g is None:
            return None
        return self.usable_g - self.cooked_g

    def cost_per_g(self, mass_g: Decimal) -> Decimal:
        """Return the net cost of each gram of what is left."""
        return self.net_cost / mass_g

    def factor(self, mass_g: Decimal) -> Decimal:
        """Return cost per gram over the price paid: what a gram costs per unit of price.

        Raises:
            UsageError: The price is zero.
        """
        if self.price_per_g == 0:
            raise UsageError("--price is zero: a cost factor needs what was paid")
        return self.cost_per_g(mass_g) / self.price_per_g

    def ratio(self, mass_g: Decimal) -> Decimal:
        """Return the share of the mass as purchased."""
        return mass_g / self.purchased_g
