"""Grade, wrap, supplier, pit, pull temperature: what they do to the next cook, and when not."""

import math

import numpy as np
import pytest

from pitlogger.yields.learned.belief import expit, logit
from pitlogger.yields.learned.servable import Observed, learn
from pitlogger.yields.purchase.cut_priors import BETWEEN_KITCHENS, WITHIN_KITCHEN, cut_prior
from pitlogger.yields.records import PastPiece
from pitlogger.yields.weighing.uncertainty import Measured

CUT = "brisket-packer"


def past(share: float, number: int, **had: object) -> Observed:
    masses = {"purchased": Measured(6000.0)}
    record = PastPiece("p", CUT, cook=f"c{number}", masses=masses, **had)  # type: ignore[arg-type]
    return Observed(record, 6000.0 * share)


def two_grades(better: float, n: int = 8) -> list[Observed]:
    shares = np.linspace(-0.01, 0.01, n)
    plain = [past(0.45 + d, k, grade="Choice") for k, d in enumerate(shares)]
    return plain + [past(0.45 + better + d, 100 + k, grade="Prime") for k, d in enumerate(shares)]


def test_a_clear_difference_moves_the_yield_to_its_level() -> None:
    found = learn(CUT, two_grades(0.08), asked={"grade": "prime"})
    assert found.quantile(0.5) == pytest.approx(0.53, abs=0.01)
    assert learn(CUT, two_grades(0.08), asked={"grade": " CHOICE "}).quantile(0.5) < 0.46
    (effect,) = found.effects
    assert (effect.n, effect.factor) == (8, "grade")


def test_the_known_level_narrows_what_the_mixture_had_wide() -> None:
    mixed, known = (
        learn(CUT, two_grades(0.08)),
        learn(CUT, two_grades(0.08), asked={"grade": "Prime"}),
    )
    wide, narrow = (one.quantile(0.9) - one.quantile(0.1) for one in (mixed, known))
    assert narrow < wide


def test_levels_that_do_not_differ_change_nothing() -> None:
    found = learn(CUT, two_grades(0.0), asked={"grade": "Prime"})
    assert found.quantile(0.5) == pytest.approx(learn(CUT, two_grades(0.0)).quantile(0.5), abs=1e-9)
    assert found.effects[0].shift == 0.0


@pytest.mark.parametrize("asked", [{"grade": "Select"}, {"wrap": "foil"}])
def test_a_level_never_seen_changes_nothing_and_says_so(asked: dict[str, str]) -> None:
    history = two_grades(0.08)
    found = learn(CUT, history, asked=asked)
    assert found.belief == learn(CUT, history).belief
    assert (found.effects[0].shift, found.effects[0].n) == (None, 0)


def test_two_pieces_of_a_level_are_too_few() -> None:
    history = two_grades(0.08)[:10]
    assert learn(CUT, history, asked={"grade": "Prime"}).effects[0].shift is None


def test_pieces_that_do_not_tell_the_factor_still_count() -> None:
    history = [*two_grades(0.08), *(past(0.49, 200 + k) for k in range(4))]
    found = learn(CUT, history, asked={"grade": "Prime"})
    assert found.n == 20
    assert found.quantile(0.5) > 0.51


def test_it_works_without_a_prior() -> None:
    found = learn(CUT, two_grades(0.08), "flat", asked={"grade": "Prime"})
    assert found.quantile(0.5) == pytest.approx(0.53, abs=0.01)
    assert learn(CUT, two_grades(0.0)[:3], "flat", asked={"grade": "Choice"}).n == 3


@pytest.mark.slow
@pytest.mark.parametrize("effect_sd", [0.0, 0.1, 0.25])
def test_intervals_for_a_known_level_hold_what_they_say(effect_sd: float) -> None:
    rng, inside, later_n = np.random.default_rng(11), 0, 20
    owners = 400
    for _ in range(owners):
        mean = cut_prior(CUT).logit + BETWEEN_KITCHENS * rng.standard_normal()
        shifts = effect_sd * rng.standard_normal(3)
        shifts -= shifts.mean()
        levels = rng.integers(0, 3, rng.integers(0, 25))
        history = [
            past(expit(mean + shifts[level] + WITHIN_KITCHEN * rng.standard_normal()), k,
                 supplier=f"s{level}")
            for k, level in enumerate(levels)
        ]  # fmt: skip
        found = learn(CUT, history, asked={"supplier": "s0"})
        low, high = found.quantile(0.1), found.quantile(0.9)
        later = 1 / (
            1 + np.exp(-(mean + shifts[0] + WITHIN_KITCHEN * rng.standard_normal(later_n)))
        )
        inside += int(np.sum((low <= later) & (later <= high)))
    held = inside / (owners * later_n)
    # Drawn to the others by an estimate, so a little too sure while pieces are few.
    assert 0.74 <= held <= 0.86, held


def test_logit_of_a_share_is_what_shifts_are_told_in() -> None:
    (effect,) = learn(CUT, two_grades(0.08), asked={"grade": "Prime"}).effects
    assert effect.shift == pytest.approx((logit(0.53) - logit(0.45)) / 2, abs=0.02)
    assert math.isfinite(effect.variance)
