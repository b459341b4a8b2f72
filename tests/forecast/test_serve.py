"""Serve: the chance of being ready, for each piece and for the meal."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pitlogger.forecast.request import Answer, Basis
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


UNKNOWN = ServedPiece(Answer("new", "pull", 0, reason="cannot say yet, because nothing is read"))
NOT_THERE = Basis(0.0, None, 95.0, None, 0.0, None)
NEVER = ServedPiece(Answer("cool", "pull", 0, reason="may not get there", basis=NOT_THERE))


def test_a_dish_that_may_not_get_there_has_no_chance_and_one_without_a_forecast_none_known() -> (
    None
):
    assert chance_by(NEVER, 40 * HOUR) == 0.0
    assert chance_by(UNKNOWN, 40 * HOUR) is None


@pytest.mark.parametrize(
    ("dishes", "verdict", "p_meal"),
    [
        ([UNKNOWN], "unknown", None),
        ([dish(1, 2, 3), UNKNOWN], "unknown", None),
        ([NEVER, UNKNOWN], "late", 0.0),  # whatever the other does
        ([dish(30, 40, 50), UNKNOWN], "late", 0.0),
    ],
)
def test_a_piece_without_a_forecast_makes_no_verdict_of_its_own(
    dishes: list[ServedPiece], verdict: str, p_meal: float | None
) -> None:
    (told,) = readiness(dishes, [Service(at_ms=6 * HOUR * 1000)], 0.0, 15.0)
    assert (told.verdict, told.p_meal) == (verdict, p_meal)
    assert ("no forecast of new" in told.advice) is (verdict == "unknown")


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
    assert (there.p_meal or 0.0) < (here.p_meal or 0.0)


def test_an_early_finish_gets_a_hold_plan() -> None:
    told = readiness([dish(1, 1.2, 1.5)], [Service(at_ms=7 * HOUR * 1000)], 0.0, 15.0)[0]
    assert told.verdict == "early"
    assert "box" in told.advice


def test_a_hold_too_long_for_a_box_gets_another_plan() -> None:
    told = readiness([dish(1, 1.2, 1.5)], [Service(at_ms=14 * HOUR * 1000)], 0.0, 15.0)[0]
    assert "cabinet" in told.advice


def test_no_dishes_are_never_late() -> None:
    assert readiness([], [Service(at_ms=0)], 0.0, 15.0)[0].verdict == "on-time"
