"""Money: decimal, exact inside, rounded only for print."""

from __future__ import annotations

import re
from decimal import ROUND_HALF_UP, Decimal

from pitlogger.errors import QuantityError
from pitlogger.model.quantities import MG_PER, parse_decimal

_SIGNS = "$€£¥ "
_PRICE = re.compile(r"\s*([^/]+?)\s*(?:/|per\s)\s*(kg|g|lb|oz)\s*", re.IGNORECASE)
CENT = Decimal("0.01")
# Currencies whose smallest unit is not a hundredth: ISO 4217, list one (from memory).
_WHOLE = frozenset(
    ("BIF", "CLP", "DJF", "GNF", "ISK", "JPY", "KMF", "KRW", "PYG", "RWF", "UGX", "VND", "VUV",
     "XAF", "XOF", "XPF")
)  # fmt: skip
_THOUSANDTHS = frozenset(("BHD", "IQD", "JOD", "KWD", "LYD", "OMR", "TND"))


def amount(text: str, what: str = "amount of money") -> Decimal:
    """Return a written amount of money, zero or more, without its sign.

    Raises:
        QuantityError: No number, or one below zero.
    """
    value = parse_decimal(text.strip(_SIGNS), what)
    if value < 0:
        raise QuantityError(f"'{text.strip()}' is below zero ({what})")
    return value


def price_per_g(text: str) -> Decimal:
    """Return a written price in money per gram: ``4.29/lb``, ``9.45 / kg``.

    Raises:
        QuantityError: No mass unit, or no amount.
    """
    match = _PRICE.fullmatch(text)
    if match is None:
        raise QuantityError(
            f"'{text.strip()}' is not a price: write money per unit of mass, such as 4.29/lb"
        )
    return amount(match[1], "price") * 1000 / MG_PER[match[2].casefold()]


def per_unit(per_g: Decimal, unit: str) -> Decimal:
    """Return money per ``kg``, ``lb`` or ``oz`` for money per gram."""
    return per_g * MG_PER[unit] / 1000


def rounded(value: Decimal, currency: str = "") -> Decimal:
    """Round half up to the smallest unit of a currency, a hundredth unless known, for print."""
    name = currency.strip().upper()
    places = 0 if name in _WHOLE else 3 if name in _THOUSANDTHS else 2
    return value.quantize(Decimal(1).scaleb(-places), ROUND_HALF_UP)


def cents(value: Decimal) -> Decimal:
    """Round half up to a hundredth, for print."""
    return value.quantize(CENT, ROUND_HALF_UP)
