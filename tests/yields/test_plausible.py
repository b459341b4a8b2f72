"""Hardly possible weights: an independent judge over random cooks, and the slips people make."""

from __future__ import annotations

import random

import pytest

from pitlogger.model.cooks import CUTS
from pitlogger.yields.plausible import implausible_masses, likely_core_mc, on_pit_ms

LB = 453.59237


@pytest.mark.parametrize(
    ("cut", "masses", "checkpoint", "why", "likely"),
    [
        ("brisket-packer", {"purchased": 131 * LB}, "purchased", "too-much", 13.1 * LB),
        ("brisket-packer", {"purchased": 1300 * LB}, "purchased", "too-much", 13.0 * LB),
        ("brisket-packer", {"purchased": 600.0}, "purchased", "too-little", 6000.0),
        ("brisket-packer", {"purchased": 0.0}, "purchased", "nothing", None),
        ("pork-butt", {"purchased": 3800, "rested": 2200, "carved": 2900}, "carved",
         "more-than-before", None),
        ("pork-butt", {"purchased": 3800, "carved": 210}, "carved", "small-share", 2100.0),
        ("pork-butt", {"purchased": 3800, "carved": 4290}, "carved", "more-than-before", None),
    ],
)  # fmt: skip
def test_slips(
    cut: str, masses: dict[str, float], checkpoint: str, why: str, likely: float | None
) -> None:
    (found,) = implausible_masses(cut, 1, masses)
    assert (found.checkpoint, found.why) == (checkpoint, why)
    if likely is not None:
        assert found.likely_g == pytest.approx(likely, rel=0.01)


def test_ordinary_cooks_are_never_asked_about() -> None:
    """Trim 5 to 30 %, cook 25 to 45 %, rest up to 6 %, carve up to 25 %: the tables read."""
    dice = random.Random(16)
    bought = {
        "brisket-packer": (4500, 9500),
        "pork-butt": (2200, 5000),
        "turkey-whole": (4000, 9000),
    }
    for _ in range(3000):
        cut = dice.choice(list(bought))
        purchased = dice.uniform(*bought[cut])
        trimmed = purchased * dice.uniform(0.70, 0.95)
        seasoned = trimmed * dice.uniform(1.0, 1.03)
        off = seasoned * dice.uniform(0.55, 0.75)
        rested = off * dice.uniform(0.94, 1.0)
        carved = rested * dice.uniform(0.75, 1.0)
        masses = {"purchased": purchased, "trimmed": trimmed, "seasoned": seasoned,
                  "off-pit": off, "rested": rested, "carved": carved}  # fmt: skip
        assert list(implausible_masses(cut, 1, masses)) == []


def test_a_slip_of_ten_is_always_found_and_its_likely_mass_is_what_was_meant() -> None:
    dice = random.Random(17)
    for _ in range(2000):
        meant = dice.uniform(5000, 7500)
        (found,) = implausible_masses("brisket-packer", 1, {"purchased": meant * 10})
        assert found.likely_g == pytest.approx(meant)


def test_every_cut_has_bounds_and_a_batch_scales_them() -> None:
    for cut in CUTS:
        assert list(implausible_masses(cut, 1, {"purchased": 1_000_000.0}))
    assert not list(implausible_masses("chicken-half", 24, {"purchased": 24 * 800.0}))
    assert list(implausible_masses("chicken-half", 1, {"purchased": 24 * 800.0}))


@pytest.mark.parametrize(("typed_f", "meant_f"), [(1500, 150), (2030, 203), (395, None)])
def test_cores_that_cannot_be(typed_f: float, meant_f: float | None) -> None:
    found = likely_core_mc(round((typed_f - 32) / 1.8 * 1000))
    if meant_f is not None:
        assert found == pytest.approx((meant_f - 32) / 1.8 * 1000, abs=1)


def test_the_shortest_times_on_the_pit_are_minutes_and_the_longest_a_day_and_a_half() -> None:
    sausage, brisket = on_pit_ms("sausage"), on_pit_ms("brisket")
    assert 10 * 60_000 <= sausage[0] < brisket[0] <= 3_600_000
    assert 6 * 3_600_000 <= sausage[1] < brisket[1] <= 40 * 3_600_000


def test_what_was_meant_is_the_number_written_in_a_unit_that_was_not() -> None:
    """8 lb carved above 7 lb 2 oz rested: no one writes lb for a thing of which 8 are 3.6 lb."""
    masses = {"purchased": 13.4 * LB, "rested": 7.125 * LB, "carved": 8 * LB}
    (found,) = implausible_masses("brisket-packer", 1, masses, "lb")
    assert (found.why, found.likely_g) == ("more-than-before", None)
    (found,) = implausible_masses("brisket-packer", 1, {**masses, "carved": 7000.0}, "kg")
    assert found.likely_g == pytest.approx(7 * LB)
    (found,) = implausible_masses("brisket-packer", 1, {"purchased": 6.2 * LB * LB}, "lb")
    assert found.likely_g is None  # 6.2 for 6.2 lb of pounds
    (found,) = implausible_masses("brisket-packer", 1, {"purchased": 210 * LB}, "lb")
    assert found.or_g == pytest.approx(210 * LB / 16)  # 210 oz
