"""Grade, wrap, supplier, pit, pull temperature: what they do to the next cook, and when not."""

import math
from dataclasses import replace

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


def test_a_level_never_seen_widens_what_is_believed_and_says_so() -> None:
    history = two_grades(0.08)
    known, new = (learn(CUT, history, asked={"grade": name}) for name in ("Choice", "Select"))
    assert new.quantile(0.5) == pytest.approx((0.45 + 0.53) / 2, abs=0.005)
    wide, narrow = (one.quantile(0.9) - one.quantile(0.1) for one in (new, known))
    assert wide > narrow + 0.01
    assert new.effects[0].n == 0


def test_a_factor_that_no_past_piece_tells_changes_nothing() -> None:
    history = two_grades(0.08)
    found = learn(CUT, history, asked={"wrap": "foil"})
    assert found.parts == learn(CUT, history).parts
    assert (found.effects[0].shift, found.effects[0].n) == (None, 0)


def test_a_level_seen_twice_is_drawn_to_the_others() -> None:
    few, many = two_grades(0.08)[:10], two_grades(0.08)
    half, whole = (learn(CUT, h, asked={"grade": "Prime"}).quantile(0.5) for h in (few, many))
    assert learn(CUT, few).quantile(0.5) < half < whole + 0.005


def test_a_supplier_never_bought_from_is_surer_than_nothing_and_less_sure_than_a_known_one() -> (
    None
):
    history = [past(0.49 + 0.005 * (-1) ** k, k, supplier="a") for k in range(12)]
    known, new = (learn(CUT, history, asked={"supplier": name}) for name in ("a", "b"))
    assert known.parts == learn(CUT, history).parts
    assert learn(CUT, []).quantile(0.1) < new.quantile(0.1) < known.quantile(0.1) - 0.01


def test_a_brisket_pulled_hotter_yields_less_as_published() -> None:
    # Kerth et al.: 59.3 % at 85 C, 56.0 % at 90 C, 3 h hold.
    history = [past(0.593, k, pull_at_mc=85_000) for k in range(12)]
    found = learn(CUT, history, asked={"pull_at": "194F"})
    assert found.quantile(0.5) == pytest.approx(0.560, abs=0.004)
    butt = [Observed(replace(o.record, cut="pork-butt"), o.servable_g) for o in history]
    same = learn("pork-butt", butt, asked={"pull_at": "194F"})
    assert same.quantile(0.5) == pytest.approx(learn("pork-butt", butt).quantile(0.5), abs=1e-6)


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


def test_a_level_counts_for_less_the_more_its_pieces_differ() -> None:
    """Eight points between two grates are clear where pieces are alike, and luck where not."""
    moved = []
    for scatter in (0.005, 0.12):
        shares = [0.45 + scatter * k for k in (-1, 0, 1)], [0.53 + scatter * k for k in (-1, 0, 1)]
        history = [past(share, number, supplier=name)
                   for name, of_name in zip(("near", "far"), shares, strict=True)
                   for number, share in enumerate(of_name, 10 * len(name))]  # fmt: skip
        (effect,) = learn(CUT, history, "flat", asked={"supplier": "near"}).effects
        assert effect.shift is not None
        moved.append(effect.shift)
    tight, loose = moved
    assert tight < 4 * loose < 0
