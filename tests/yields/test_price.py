"""Yield test, cooking-loss test, pricing against printed cards.

tests/data/butchers_yield_test_example.csv and pricing_examples.csv: Gisslen, Professional
Cooking; textbook exercises; one invented chain. The 103 rib's printed cost is a misprint.
"""

import csv
from decimal import Decimal
from pathlib import Path

import pytest

from pitlogger.errors import QuantityError, UsageError
from pitlogger.formats.money import amount, cents, per_unit, price_per_g, rounded
from pitlogger.model.quantities import MG_PER
from pitlogger.yields.money.pricing import (
    break_even_guests,
    price_for_food_cost,
    price_for_margin,
    price_for_prime_cost,
)
from pitlogger.yields.yield_test import Card, CutOff

TEXT = (Path(__file__).parents[1] / "data/butchers_yield_test_example.csv").read_text("utf-8")
ROWS = {(r["case"], r["item"]): r for r in csv.DictReader(TEXT.splitlines())}
LB_G = MG_PER["lb"] / 1000
PARTS = {
    "veal_leg": ("fat", "bone", "ground_veal", "stew_meat", "unusable_trim"),
    "beef_rib": ("fat", "bones", "short_ribs", "chopped_beef"),
    "beef_rib_103": ("fat", "bones", "usable_trim"),
    "lamb_loin": ("fat", "kidneys", "flanks"),
    "brisket_invented": ("fat_trim", "lean_trim"),
}
USABLE = {"veal_leg": "yield_weight", "beef_rib": "oven_ready_rib",
          "beef_rib_103": "fabricated_weight", "lamb_loin": "usable_meat",
          "brisket_invented": "trimmed"}  # fmt: skip


def figure(case: str, item: str, column: str = "value") -> Decimal:
    return Decimal(ROWS[case, item][column] or "0")


def lb(case: str, item: str) -> Decimal:
    return figure(case, item, "weight_or_ratio") * LB_G


def per_g(case: str, item: str) -> Decimal:
    return figure(case, item, "price_per_lb") / LB_G


def card(case: str, salable_g: Decimal | None = None, as_printed: bool = False) -> Card:
    return Card(
        lb(case, "as_purchased"),
        per_g(case, "as_purchased"),
        tuple(CutOff(item, lb(case, item), per_g(case, item)) for item in PARTS[case]),
        usable_g=lb(case, USABLE[case]),
        salable_g=salable_g,
        as_printed=as_printed,
    )


def about(value: Decimal, expected: Decimal, places: str) -> bool:
    return abs(value - expected) <= Decimal(places)


@pytest.mark.parametrize(
    ("case", "credit", "net", "as_printed"),
    [
        ("veal_leg", "27.82", "122.18", True),
        ("beef_rib", "10.1775", "113.435", False),
        ("beef_rib_103", "8.0", "28.40", False),
        ("lamb_loin", "13.00", "66.80", False),
        ("brisket_invented", "3.3125", "57.6055", False),
    ],
)
def test_credit_and_net_cost(case: str, credit: str, net: str, as_printed: bool) -> None:
    one = card(case, as_printed=as_printed)
    assert about(one.credit, Decimal(credit), "1e-9")
    assert about(one.net_cost, Decimal(net), "1e-9")


def test_the_veal_leg_costs_its_printed_price_a_pound() -> None:
    one = card("veal_leg", as_printed=True)
    usable = lb("veal_leg", "yield_weight")
    expected = figure("veal_leg", "net_cost_per_lb", "price_per_lb")
    assert about(per_unit(one.cost_per_g(usable), "lb"), expected, "1e-5")
    factor = figure("veal_leg", "cost_factor_per_lb", "weight_or_ratio")
    assert about(one.factor(usable), factor, "1e-5")
    assert one.cutting_loss_g is not None
    assert about(one.cutting_loss_g, lb("veal_leg", "cutting_loss"), "1e-9")


def test_the_misprinted_card_is_not_reproduced() -> None:
    one = card("beef_rib_103")
    assert about(one.net_cost, figure("beef_rib_103", "fabricated_cost"), "1e-9")
    assert not about(one.net_cost, figure("beef_rib_103", "fabricated_cost_as_printed"), "1")


def test_the_cooking_loss_test_carries_the_net_cost_on() -> None:
    salable = Decimal(19) * LB_G
    one = card("beef_rib", salable)
    per_lb = per_unit(one.cost_per_g(salable), "lb")
    portion = one.cost_per_g(salable) * Decimal(10) * LB_G / 16
    assert about(per_lb, figure("beef_rib", "cost_per_salable_lb", "price_per_lb"), "1e-6")
    assert about(portion, figure("beef_rib", "portion_cost"), "1e-6")
    assert about(one.ratio(salable), figure("beef_rib", "salable_ratio", "weight_or_ratio"), "1e-6")
    at_349 = one.factor(salable) * Decimal("3.49") * 10 / 16
    assert about(at_349, figure("beef_rib", "portion_cost_at_3.49_per_lb"), "1e-6")


def test_a_free_piece_has_no_cost_factor() -> None:
    with pytest.raises(UsageError, match="zero"):
        Card(Decimal(1000), Decimal(0)).factor(Decimal(500))


def test_prices_by_food_cost_margin_and_prime_cost() -> None:
    portion = figure("brisket_invented", "portion_cost")
    assert about(price_for_food_cost(Decimal("1.50"), Decimal("0.35")), Decimal("4.2857"), "1e-4")
    assert price_for_food_cost(Decimal("1.60"), Decimal("0.40")) == 4
    for pct in (28, 30, 35):
        expected = figure("brisket_invented", f"price_at_{pct}pct")
        assert about(price_for_food_cost(portion, Decimal(pct) / 100), expected, "2e-5")
    assert price_for_margin(portion, Decimal(9)) == Decimal("11.553435")
    prime = price_for_prime_cost(portion, Decimal("1.80"), Decimal("0.60"))
    assert about(prime, Decimal("7.255725"), "1e-6")


def test_break_even_rounds_up_and_needs_a_margin() -> None:
    assert break_even_guests(Decimal(900), Decimal(18), Decimal(7)) == 82
    assert break_even_guests(Decimal(110), Decimal(18), Decimal(7)) == 10
    with pytest.raises(UsageError, match="breaks even"):
        break_even_guests(Decimal(900), Decimal(7), Decimal(7))


@pytest.mark.parametrize("share", ["0", "1.01", "-0.3"])
def test_a_share_outside_its_range_is_refused(share: str) -> None:
    with pytest.raises(UsageError, match="not above 0"):
        price_for_food_cost(Decimal(1), Decimal(share))


@pytest.mark.parametrize(("text", "per_lb"), [("4.29/lb", "4.29"), ("$9.46 / kg", "4.2910")])
def test_a_price_is_read_with_its_unit(text: str, per_lb: str) -> None:
    assert about(per_unit(price_per_g(text), "lb"), Decimal(per_lb), "1e-4")


@pytest.mark.parametrize("text", ["4.29", "cheap/lb", "4.29/stone", "-1/lb", "nan/lb"])
def test_a_price_that_cannot_be_read_is_refused(text: str) -> None:
    with pytest.raises(QuantityError):
        price_per_g(text)


def test_money_rounds_half_up_for_print_only() -> None:
    assert cents(Decimal("10.39125")) == Decimal("10.39")
    assert cents(Decimal("0.125")) == Decimal("0.13")
    assert amount("€ 12.5") == Decimal("12.5")


@pytest.mark.parametrize(
    ("currency", "shown"),
    [
        ("USD", "1234.57"),
        ("", "1234.57"),
        ("jpy", "1235"),
        ("KWD", "1234.568"),
        ("plums", "1234.57"),
    ],
)
def test_money_is_printed_to_the_smallest_unit_of_its_currency(currency: str, shown: str) -> None:
    assert str(rounded(Decimal("1234.5675"), currency)) == shown
