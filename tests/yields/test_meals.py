"""After the meal: what guests ate, how many came, and what that makes of the next demand."""

import math

import numpy as np
import pytest
from scipy import stats

from pitlogger.errors import UsageError
from pitlogger.model.book import Book, PieceBook
from pitlogger.model.cooks import Piece
from pitlogger.yields.learned.lessons import tender_levels
from pitlogger.yields.meals import Meal, appetite, meal_told, meals, turnout
from pitlogger.yields.purchase.demand import Party, demand
from pitlogger.yields.records import PastPiece
from pitlogger.yields.weighing.uncertainty import Measured


def piece(name: str = "p", cook: str = "c", **told: object) -> PastPiece:
    masses = {"purchased": Measured(6400.0), "carved": Measured(3000.0)}
    return PastPiece(name, "brisket-packer", cook=cook, **{"masses": masses, **told})  # type: ignore[arg-type]


def test_what_was_eaten_is_what_was_carved_less_what_was_left() -> None:
    (meal,) = meals([piece("a", came=40, left_g=800.0), piece("b", came=40, left_g=800.0)])
    assert meal.eaten_per_guest_g == pytest.approx((6000 - 800) / 40)


def test_guests_who_came_count_before_guests_booked() -> None:
    (meal,) = meals([piece(guests=50, came=40, left_g=0.0)])
    assert meal.turnout == pytest.approx(0.8)
    assert meal.eaten_per_guest_g == pytest.approx(3000 / 40)


def test_an_unknown_leftover_or_an_unweighed_piece_says_nothing() -> None:
    (unknown,) = meals([piece(came=40)])
    assert unknown.eaten_per_guest_g is None
    bare = piece("b", came=40, left_g=100.0, masses={"purchased": Measured(6400.0)})
    (partial,) = meals([piece("a", came=40, left_g=100.0), bare])
    assert partial.eaten_per_guest_g is None


def test_more_left_than_served_says_nothing() -> None:
    (meal,) = meals([piece(came=40, left_g=3200.0)])
    assert meal.eaten_per_guest_g is None


def test_nobody_came_is_no_appetite_and_no_turnout() -> None:
    (meal,) = meals([piece(guests=50, came=0, left_g=3000.0)])
    assert (meal.turnout, meal.eaten_per_guest_g) == (None, 60.0 * 0 or None)


def test_a_piece_that_was_split_is_eaten_once() -> None:
    parent = piece("a", came=30, left_g=0.0, masses={"purchased": Measured(6400.0)},
                   children=("f", "p"))  # fmt: skip
    flat, point = (
        piece(name, came=30, left_g=0.0, masses={"carved": Measured(mass_g)}, parents=("a",))
        for name, mass_g in (("f", 1800.0), ("p", 1200.0))
    )
    (meal,) = meals([parent, flat, point])
    assert meal.eaten_per_guest_g == pytest.approx(100.0)


def test_habits_start_from_what_is_believed_and_follow_the_meals() -> None:
    assert appetite([]).median == pytest.approx(140.0)
    told = [Meal(f"c{k}", 50, 40, 40 * 110.0, 0.0) for k in range(12)]
    eats, comes = appetite(told), turnout(told)
    assert (eats.n, comes.n) == (12, 12)
    assert eats.median == pytest.approx(110.0, rel=0.03)
    assert comes.median == pytest.approx(0.8, rel=0.02)
    assert eats.cv < appetite(told[:1]).cv


def test_before_any_meal_guests_may_eat_a_third_more_or_less_and_a_tenth_stay_away() -> None:
    assert appetite([]).cv == pytest.approx(1 / 3, abs=0.05)
    assert turnout([]).cv == pytest.approx(0.1, abs=0.03)


def test_what_a_meal_has_in_common_does_not_average_out() -> None:
    few, many = (demand((Party(n, 140.0),), shared_cv=0.1) for n in (10, 1000))
    assert few.sd_g / few.mean_g == pytest.approx(0.1)
    assert many.sd_g / many.mean_g == pytest.approx(0.1)


def test_the_demand_of_a_meal_has_the_moments_of_drawing() -> None:
    found = demand((Party(60, 140.0, 40.0),), 0.9, shared_cv=0.15)
    rng, draws = np.random.default_rng(5), 1_000_000
    came = rng.binomial(60, 0.9, draws)
    mass = came * 140.0 + np.sqrt(came) * 40.0 * rng.standard_normal(draws)
    sigma = math.sqrt(math.log(1 + 0.15**2))
    mass *= np.exp(sigma * rng.standard_normal(draws) - sigma**2 / 2)
    assert found.mean_g == pytest.approx(mass.mean(), rel=1e-3)
    assert found.sd_g == pytest.approx(mass.std(), rel=5e-3)
    assert found.third_g3 == pytest.approx(((mass - mass.mean()) ** 3).mean(), rel=0.05)


def test_tenderness_is_shown_by_what_was_done_differently() -> None:
    past = [
        piece(wrap="paper", tender=4),
        piece(wrap="paper", tender=3),
        piece(wrap="foil", tender=5),
        piece(tender=1),  # nobody said how it was wrapped
        piece(wrap="foil"),  # nor how tender that one was
    ]
    levels = {(level.value, level.n, level.mean) for level in tender_levels(past)}
    assert levels == {("paper", 2, 3.5), ("foil", 1, 5.0)}
    assert tender_levels([piece(wrap="paper", tender=4)]) == []


BOOK = Book(pieces={name: PieceBook(Piece(name), 0) for name in ("a", "b")})


def test_one_mark_is_of_all_pieces_and_a_named_one_of_its_own() -> None:
    body = meal_told("id", BOOK, tender={"": 3, "b": 5})
    assert [(told.piece, told.mark) for told in body.tender] == [("a", 3), ("b", 5)]


@pytest.mark.parametrize(
    ("told", "said"),
    [
        ({}, "nothing told"),
        ({"text": "  "}, "nothing told"),
        ({"tender": {"c": 3}}, "piece"),
        ({"tender": {"a": 0}}, "1 tough"),
        ({"came": -1}, "zero or more"),
        ({"left_mg": -1}, "zero or more"),
    ],
)
def test_a_meal_that_cannot_be_used_is_refused(told: dict[str, object], said: str) -> None:
    with pytest.raises(UsageError, match=said):
        meal_told("id", BOOK, **told)  # type: ignore[arg-type]


def test_how_much_the_next_meal_may_differ_is_the_spread_of_students_t() -> None:
    habit = appetite(meals([piece("a", came=40, left_g=800.0), piece("b", came=30, left_g=0.0)]))
    following = habit.belief.predictive()
    # scipy.stats.t: the variance is df / (df - 2), so the reference library tells it.
    expected = stats.t(following.df, scale=following.scale).std()
    assert habit.cv == pytest.approx(expected, rel=1e-9)


def test_what_fell_off_the_serving_line_was_not_eaten() -> None:
    line = {"purchased": Measured(6400.0), "served": Measured(3000.0), "leftover": Measured(400.0)}
    (whole,) = meals([piece(came=40, masses=line)])
    (dropped,) = meals([piece(came=40, masses=line, drops=(("", Measured(200.0)),))])
    assert whole.eaten_per_guest_g == pytest.approx(3000 / 40)
    assert dropped.eaten_per_guest_g == pytest.approx(2800 / 40)
