"""Weighing uncertainty against hand-worked cases and the ``uncertainties`` library.

tests/data/yield_uncertainty_examples.csv: worked with uncertainties 3.2.3 after JCGM 100:2008.
"""

import csv
import math
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from uncertainties import ufloat

from pitlogger.yields.weighing.uncertainty import KnownScale, Measured, net_mass, total

TEXT = (Path(__file__).parents[1] / "data/yield_uncertainty_examples.csv").read_text("utf-8")
ROWS = {row["case"][0]: row for row in csv.DictReader(TEXT.splitlines())}
BENCH = KnownScale("bench", interval_g=5, repeatability_g=3, span=0.001)


def two_weighings(
    start: KnownScale, end: KnownScale, tares: tuple[str, str] = ("t1", "t2")
) -> tuple[Measured, Measured]:
    first = net_mass(6850, 450, scale=start, reading="first", tare=tares[0])
    last = net_mass(3565, 450, scale=end, reading="last", tare=tares[1])
    return first, last


CASES = {
    "A": two_weighings(BENCH, BENCH),
    "B": two_weighings(BENCH, KnownScale("other", 5, 3, 0.001)),
    "C": two_weighings(KnownScale("big", 10, 5, 0.001), KnownScale("fine", 1, 1, 0.0005)),
    "D": two_weighings(BENCH, BENCH, ("stored", "stored")),
}


@pytest.mark.parametrize("case", CASES)
def test_yield_and_loss_carry_the_uncertainty_of_the_worked_case(case: str) -> None:
    first, last = CASES[case]
    row = ROWS[case]
    share, loss = last / first, first - last
    assert share.value == pytest.approx(float(row["yield"]), abs=1e-6)
    assert share.u == pytest.approx(float(row["u_yield"]), abs=1e-6)
    assert loss.u == pytest.approx(float(row["u_loss_g"]), abs=1e-3)
    assert first.u == pytest.approx(float(row["u_net_start_g"]), abs=1e-3)


def test_estimated_foil_and_drip_widen_the_wrap_weight() -> None:
    scale = KnownScale("bench", 5, 3, span=0.0)
    gross = net_mass(4920, 450, scale=scale, reading="wrap", tare="pan")
    net = gross - Measured(62, {"foil": 4}) - Measured(85, {"drip": 10})
    assert net.value == pytest.approx(4323)
    assert net.u == pytest.approx(float(ROWS["G"]["u_net_start_g"]), abs=1e-3)


@pytest.mark.parametrize(("interval_g", "u_g"), [(1, 0.288675), (2, 0.577350), (5, 1.443376)])
def test_a_display_of_interval_d_has_d_over_root_twelve(interval_g: float, u_g: float) -> None:
    assert KnownScale(interval_g=interval_g).u_reading_g == pytest.approx(u_g, abs=1e-6)


def test_a_shared_span_cancels_in_the_ratio_but_not_in_the_loss() -> None:
    scale = KnownScale("bench", interval_g=0, span=0.01)
    first = net_mass(1000, scale=scale, reading="a")
    last = net_mass(500, scale=scale, reading="b")
    assert (last / first).u == pytest.approx(0, abs=1e-15)
    assert (first - last).u == pytest.approx(5)


def test_the_sum_of_nothing_is_an_exact_zero() -> None:
    assert (total([]).value, total([]).u) == (0.0, 0.0)


masses = st.floats(200, 20_000)
spreads = st.floats(0.1, 50)


@given(a=masses, b=masses, ua=spreads, ub=spreads, shared=st.floats(0.1, 20))
def test_ratio_agrees_with_the_uncertainties_library(
    a: float, b: float, ua: float, ub: float, shared: float
) -> None:
    common = ufloat(0, shared)
    expected = (ufloat(a, ua) + common) / (ufloat(b, ub) + common)
    mine = Measured(a, {"a": ua, "c": shared}) / Measured(b, {"b": ub, "c": shared})
    assert mine.value == pytest.approx(expected.nominal_value)
    assert mine.u == pytest.approx(expected.std_dev, rel=1e-9, abs=1e-12)
    assert not math.isnan(mine.u)


def test_a_scale_of_which_nothing_is_known_shows_steps_of_five_grams() -> None:
    assert KnownScale().u_reading_g == pytest.approx(5.0 / math.sqrt(12.0))
