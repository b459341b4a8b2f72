"""What a client pays, to the cent, and what is worth buying: against closed forms."""

from __future__ import annotations

import math
from datetime import date
from decimal import Decimal
from functools import partial
from itertools import islice, repeat

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from pitlogger.formats.money import rounded
from pitlogger.yields.learned.belief import Belief, logit
from pitlogger.yields.learned.kitchen import Part
from pitlogger.yields.money.bill import BillTerms, InvoiceLine, Payment, bill
from pitlogger.yields.purchase.by_money import Shortage, balances, cheapest
from pitlogger.yields.purchase.demand import Demand
from pitlogger.yields.purchase.joint import COMMON, none_short
from pitlogger.yields.purchase.masses import PieceMass
from pitlogger.yields.purchase.sufficiency import first_k, supply

USD = partial(rounded, currency="USD")
JPY = partial(rounded, currency="JPY")
D = Decimal


def test_a_worked_bill() -> None:
    """45 adults at 24.00, 6 children at 12.50, delivery 80.00 untaxed; worked by hand."""
    lines = [InvoiceLine("adults", D(45), D("24.00")), InvoiceLine("children", D(6), D("12.50")),
             InvoiceLine("delivery", D(1), D("80.00"), taxable=False)]  # fmt: skip
    terms = BillTerms(discount_pct=D(5), service_pct=D(18), tax_pct=D("8.25"), deposit_pct=D(30),
                  gratuity_pct=D(10))  # fmt: skip
    paid = [Payment(date(2027, 5, 1), D("400")), Payment(date(2027, 6, 1), D("-50"))]
    made = bill(lines, terms, USD, paid)
    assert (made.subtotal, made.discount) == (D("1235.00"), D("61.75"))
    assert made.service == D("211.19")  # 18 % of 1173.25 is 211.185
    assert made.taxable == D("1308.44")  # 1155.00 x 0.95 + 211.19
    assert made.tax == D("107.95")
    assert made.total == D("1492.39")
    assert (made.deposit, made.gratuity_proposed) == (D("447.72"), D("117.33"))
    assert (made.paid, made.balance) == (D("350.00"), D("1142.39"))


def test_tax_by_line_and_on_the_total_may_differ_by_a_cent() -> None:
    lines = [InvoiceLine(str(k), D(1), D("1.06")) for k in range(3)]
    by_line, total = (
        bill(lines, BillTerms(tax_pct=D(5), tax_rounding=rule), USD).tax
        for rule in ("line", "total")
    )
    assert (by_line, total) == (D("0.15"), D("0.16"))


def test_an_exempt_client_pays_no_tax_and_yen_have_no_cents() -> None:
    lines = [InvoiceLine("guests", D(10), D("1501"))]
    assert bill(lines, BillTerms(tax_pct=D(10), exemption="E-12"), USD).tax == 0
    made = bill(lines, BillTerms(tax_pct=D(10), service_pct=D("12.5")), JPY)
    assert made.total == made.total.to_integral_value()


def test_a_minimum_is_taxed_like_food() -> None:
    made = bill([InvoiceLine("guests", D(4), D(20))], BillTerms(minimum=D(500), tax_pct=D(10)), USD)
    assert (made.subtotal, made.tax, made.total) == (D(500), D(50), D(550))


money = st.decimals(0, 10_000, places=2)


@settings(max_examples=200, deadline=None)
@given(st.lists(st.tuples(st.integers(1, 300), money, st.booleans()), min_size=1, max_size=6),
       st.decimals(0, 100, places=2), st.decimals(0, 100, places=2), money,
       st.sampled_from(["line", "total"]))  # fmt: skip
def test_the_sums_of_any_bill_add_up(
    told: list[tuple[int, Decimal, bool]], tax: Decimal, service: Decimal, off: Decimal, rule: str
) -> None:
    lines = [InvoiceLine(str(n), D(n), price, taxable) for n, price, taxable in told]
    terms = BillTerms(discount=off, tax_pct=tax, service_pct=service, tax_rounding=rule)  # type: ignore[arg-type]
    made = bill(lines, terms, USD)
    assert made.total == made.subtotal - made.discount + made.service + made.tax
    assert made.total >= 0
    assert made.income == made.total - made.tax
    assert all(value == USD(value) for value in (made.total, made.tax, made.service, made.balance))
    assert abs(made.tax - made.taxable * tax / 100) <= D("0.01") * (len(lines) + 2)


def test_by_money_is_the_newsvendors_quantile() -> None:
    """A yield known for certain and small pieces: q* = F^-1(cu / (cu + co)), closed form."""
    share, piece_g, price = 0.5, 100.0, 0.01
    sure = (Part(1.0, Belief(logit(share), 1e9, 1e6, 1e6 * 1e-10), 0.5),)
    wanted = Demand(20_000.0, 1_500.0)
    grid = supply(sure)
    options = list(islice(first_k(grid, repeat(PieceMass(piece_g)), wanted), 560))
    for under_per_g in (0.03, 0.1, 0.4):
        found = balances(
            options, wanted.mean_g, lambda k: k * piece_g * price, Shortage(per_g=under_per_g)
        )
        best = cheapest(found)
        over = price / share  # of a served gram too many
        critical = (under_per_g - over) / under_per_g
        exact = stats.norm.ppf(critical, wanted.mean_g, wanted.sd_g) / (share * piece_g)
        assert best.pieces == pytest.approx(exact, abs=1.1)
        z = (best.pieces * piece_g * share - wanted.mean_g) / wanted.sd_g
        short_g = wanted.sd_g * (stats.norm.pdf(z) - z * stats.norm.sf(z))
        assert best.shortage == pytest.approx(under_per_g * short_g, rel=0.02, abs=0.5)


def test_a_fixed_loss_buys_until_one_more_piece_is_dearer_than_the_chance() -> None:
    grid = supply((Part(1.0, Belief(0.0, 8.0, 12.0, 0.12), 0.4),))
    wanted = Demand(15_000.0, 400.0)
    options = list(islice(first_k(grid, repeat(PieceMass(6000.0, 500.0)), wanted), 20))
    found = balances(options, wanted.mean_g, lambda k: 60.0 * k, Shortage(per_event=1000.0))
    by_hand = min(options, key=lambda o: 60 * o.pieces + 1000 * (1 - o.p_enough))
    assert cheapest(found).pieces == by_hand.pieces


def test_joint_chance_against_drawing_its_factor() -> None:
    chances, shared = [0.96, 0.97, 0.99, 0.95], [0.7, 0.4, 0.9, 0.55]
    rng, draws = np.random.default_rng(3), 400_000
    factor = rng.standard_normal(draws)
    every = np.ones(draws, bool)
    for p, s in zip(chances, shared, strict=True):
        load = math.sqrt(COMMON * s)
        own = rng.standard_normal(draws)
        every &= load * factor + math.sqrt(1 - load**2) * own > stats.norm.ppf(1 - p)
    found = none_short(chances, shared)
    assert found == pytest.approx(every.mean(), abs=4 * math.sqrt(0.1 / draws))
    assert math.prod(chances) < found < min(chances)
    assert none_short([0.96], [0.5]) == pytest.approx(0.96, abs=1e-6)
    assert none_short(chances, [0, 0, 0, 0]) == pytest.approx(math.prod(chances), abs=1e-9)
