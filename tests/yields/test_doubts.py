"""Doubts ask about what looks wrong and stay silent about what is only unusual."""

import pytest

from pitlogger.formats.written_mass import parse_weights
from pitlogger.yields.doubts import doubts_of_cook, doubts_of_piece
from pitlogger.yields.records import PastPiece, from_weights
from pitlogger.yields.weighing.uncertainty import Measured


def asked(weights: str) -> list[tuple[str, str]]:
    return [(d.doubt, d.checkpoint) for d in doubts_of_piece(from_weights(parse_weights(weights)))]


GOOD = {"purchased": "6.44kg", "trimmed": "5.13kg", "seasoned": "5.22kg", "at-wrap": "4.06kg",
        "rested": "3.50kg", "carved": "3.20kg"}  # fmt: skip


def with_(**changed: str) -> str:
    return ",".join(
        f"{k}={v}"
        for k, v in {**GOOD, **{n.replace("_", "-"): m for n, m in changed.items()}}.items()
    )


def test_an_ordinary_cook_is_not_doubted() -> None:
    assert asked(with_()) == []


def test_a_sliced_weight_above_the_rested_one_is_questioned() -> None:
    assert asked(with_(carved="3.53kg")) == [("mass-rises", "carved")]


def test_a_rise_within_the_reading_is_not_questioned() -> None:
    assert asked("rested=3.5kg,carved=3.5kg") == []


@pytest.mark.parametrize(
    ("checkpoint", "mass"),
    [("trimmed", "11.31kg"), ("at_wrap", "8.95kg"), ("rested", "1.588kg"), ("carved", "90.7kg")],
)
def test_a_unit_slip_is_recognised_by_its_factor(checkpoint: str, mass: str) -> None:
    assert asked(with_(**{checkpoint: mass})) == [("unit-slip", checkpoint.replace("_", "-"))]


def test_a_slip_in_the_first_weighing_is_asked_once() -> None:
    assert [doubt for doubt, _ in asked(with_(purchased="14.2kg"))] == ["unit-slip"]


def test_trimmed_above_purchased_is_questioned_but_rubbed_above_trimmed_is_not() -> None:
    assert asked("purchased=5kg,trimmed=5.2kg") == [("mass-rises", "trimmed")]
    assert asked("trimmed=5kg,seasoned=5.1kg") == []


def test_a_spritz_that_was_weighed_explains_a_rise() -> None:
    assert asked("seasoned=5kg,at-wrap=5.05kg")[0][0] in {"mass-rises", "implausible-step"}
    assert ("mass-rises", "at-wrap") not in asked("seasoned=5kg,at-wrap=5.05kg,spritz=200g")


def test_a_rise_too_great_for_rub_is_questioned() -> None:
    assert [doubt for doubt, _ in asked("trimmed=5kg,seasoned=6kg")] == ["mass-rises"]


def test_a_step_that_keeps_next_to_nothing_is_questioned() -> None:
    assert asked("rested=3.5kg,carved=2.0kg") == [("implausible-step", "carved")]


def grams(**masses: float) -> dict[str, Measured]:
    return {name.replace("_", "-"): Measured(g, {name: 2.0}) for name, g in masses.items()}


def test_exchanged_pieces_are_asked_about_once() -> None:
    big = PastPiece("big", masses=grams(seasoned=7000, at_wrap=2100))
    small = PastPiece("small", masses=grams(seasoned=2700, at_wrap=5500))
    (doubt,) = [d for d in doubts_of_cook([big, small]) if d.doubt == "wrong-piece"]
    assert "small" in doubt.message
    assert doubt.checkpoint == "at-wrap"


def test_pieces_in_their_own_place_are_not_exchanged() -> None:
    big = PastPiece("big", masses=grams(seasoned=7000, at_wrap=5500))
    small = PastPiece("small", masses=grams(seasoned=2700, at_wrap=2100))
    assert doubts_of_cook([big, small]) == []
