"""Serve: the chance of being ready, for each piece and for the meal."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pitlogger.forecast.request import Answer
from pitlogger.forecast.serve import ServedPiece, chance_by, readiness, together
from pitlogger.model.cooks import Service

HOUR = 3600


def dish(
    p10_h: float, p50_h: float, p90_h: float, piece: str = "a", reach: float = 1.0
) -> ServedPiece:
    p10, p50, p90 = (round(h * HOUR) for h in (p10_h, p50_h, p90_h))
    return ServedPiece(Answer(piece, "pull", 0, p10, p50, p90, p_reach=reach), rest_s=HOUR)


def test_quantiles_come_back_as_chances() -> None:
    told = dish(3, 4, 6)
    assert chance_by(told, 4 * HOUR) == pytest.approx(0.1, abs=0.01)
    assert chance_by(told, 5 * HOUR) == pytest.approx(0.5, abs=0.01)
    assert chance_by(told, 7 * HOUR) == pytest.approx(0.9, abs=0.01)


def test_a_chance_of_never_arriving_counts() -> None:
    assert chance_by(dish(3, 4, 6, reach=0.6), 40 * HOUR) == pytest.approx(0.6, abs=0.01)


def test_a_dish_without_a_forecast_has_no_chance() -> None:
    assert chance_by(ServedPiece(Answer("a", "pull", 0)), 40 * HOUR) == 0.0


@given(st.lists(st.floats(0.02, 0.98), min_size=1, max_size=6))
def test_the_meal_lies_between_independence_and_its_worst_piece(chances: list[float]) -> None:
    product = 1.0
    for chance in chances:
        product *= chance
    assert product - 0.02 <= together(chances) <= min(chances) + 1e-9


def test_a_late_meal_names_the_piece_that_decides_and_what_helps() -> None:
    service = Service(at_ms=6 * HOUR * 1000, place="barn")
    told = readiness(
        [dish(1, 2, 3, "flat"), dish(4, 5, 7, "point")], [service], 0.0, 15.0, faster="x"
    )
    assert told[0].verdict == "late"
    assert "point decides" in told[0].advice
    assert told[0].advice.endswith("x")


def test_drive_and_setup_come_off_the_time() -> None:
    near = Service(at_ms=8 * HOUR * 1000)
    far = Service(at_ms=8 * HOUR * 1000, drive_min=60, setup_min=30)
    here, there = readiness([dish(3, 4, 6)], [near, far], 0.0, 15.0)
    assert there.by_s == here.by_s - 90 * 60
    assert there.p_meal < here.p_meal


def test_an_early_finish_gets_a_hold_plan() -> None:
    told = readiness([dish(1, 1.2, 1.5)], [Service(at_ms=7 * HOUR * 1000)], 0.0, 15.0)[0]
    assert told.verdict == "early"
    assert "box" in told.advice


def test_a_hold_too_long_for_a_box_gets_another_plan() -> None:
    told = readiness([dish(1, 1.2, 1.5)], [Service(at_ms=14 * HOUR * 1000)], 0.0, 15.0)[0]
    assert "cabinet" in told.advice


def test_no_dishes_are_never_late() -> None:
    assert readiness([], [Service(at_ms=0)], 0.0, 15.0)[0].verdict == "on-time"
