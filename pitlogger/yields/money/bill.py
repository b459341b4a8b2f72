"""What a client pays: lines, discount, service charge, tax, gratuity, deposit, payments, balance.

Money is rounded to the smallest unit of its currency where it stands on paper: each line; tax by
line or on the total, as the place asks for it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Literal

TaxRounding = Literal["line", "total"]
Coin = Callable[[Decimal], Decimal]
_HUNDRED = Decimal(100)


@dataclass(frozen=True, slots=True)
class InvoiceLine:
    """One line of a quote or an invoice."""

    what: str
    count: Decimal
    price: Decimal
    taxable: bool = True

    def amount(self, coin: Coin) -> Decimal:
        return coin(self.count * self.price)


@dataclass(frozen=True, slots=True)
class Payment:
    """Money received, or given back if below zero."""

    on: date
    amount: Decimal
    method: str = ""


@dataclass(frozen=True, slots=True)
class BillTerms:
    """How the sum is made up; percentages as written (8.25 for 8.25 %).

    Attributes:
        minimum: The least that the lines come to.
        discount, discount_pct: Taken off the lines, before service charge and tax.
        service_pct: A charge that is owed; taxed where ``service_taxable``.
        gratuity_pct: A proposal that nobody owes; never taxed and in no total.
        exemption: Number of a certificate of exemption: no tax is charged.
    """

    minimum: Decimal = Decimal(0)
    discount: Decimal = Decimal(0)
    discount_pct: Decimal = Decimal(0)
    service_pct: Decimal = Decimal(0)
    service_taxable: bool = True
    tax_pct: Decimal = Decimal(0)
    tax_rounding: TaxRounding = "total"
    exemption: str = ""
    gratuity_pct: Decimal = Decimal(0)
    deposit_pct: Decimal = Decimal(0)
    card_fee_pct: Decimal = Decimal(0)


@dataclass(frozen=True, slots=True)
class BillLine:
    what: str
    count: Decimal
    price: Decimal
    amount: Decimal


@dataclass(frozen=True, slots=True)
class BillShown:
    """What the client pays for so many guests, each sum as it stands on paper."""

    guests: int
    lines: tuple[BillLine, ...]
    subtotal: Decimal
    discount: Decimal
    service: Decimal
    taxable: Decimal
    tax: Decimal
    total: Decimal
    gratuity_proposed: Decimal
    deposit: Decimal
    paid: Decimal
    balance: Decimal

    @property
    def income(self) -> Decimal:
        """What is earned: tax is passed on."""
        return self.total - self.tax


def bill(
    lines: Iterable[InvoiceLine],
    terms: BillTerms,
    coin: Coin,
    payments: Iterable[Payment] = (),
    guests: int = 0,
) -> BillShown:
    """Return the bill.

    Args:
        coin: Rounds to the smallest unit of the currency.
        guests: Who is billed.
    """
    listed = list(lines)
    amounts = [line.amount(coin) for line in listed]
    sum_of_lines = sum(amounts, Decimal(0))
    subtotal = max(sum_of_lines, coin(terms.minimum))
    discount = coin(terms.discount + subtotal * terms.discount_pct / _HUNDRED)
    discount = min(discount, subtotal)
    net = subtotal - discount
    service = coin(net * terms.service_pct / _HUNDRED)
    kept = net / subtotal if subtotal else Decimal(1)
    # What the minimum adds is food; a discount is taken off every line alike.
    taxed = [a * kept for a, one in zip(amounts, listed, strict=True) if one.taxable]
    taxed.append((subtotal - sum_of_lines) * kept)
    if terms.service_taxable:
        taxed.append(service)
    rate = Decimal(0) if terms.exemption else terms.tax_pct / _HUNDRED
    taxable = coin(sum(taxed, Decimal(0)))
    bases = taxed if terms.tax_rounding == "line" else [taxable]  # as it stands on paper
    tax = sum((coin(base * rate) for base in bases), Decimal(0))
    total = net + service + tax
    paid = coin(sum((payment.amount for payment in payments), Decimal(0)))
    shown = zip(listed, amounts, strict=True)
    return BillShown(
        guests, tuple(BillLine(one.what, one.count, one.price, amount) for one, amount in shown),
        subtotal, discount, service, taxable, tax, total,
        coin(net * terms.gratuity_pct / _HUNDRED), coin(total * terms.deposit_pct / _HUNDRED),
        paid, total - paid,
    )  # fmt: skip
