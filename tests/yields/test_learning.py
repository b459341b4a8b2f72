"""Learning across cooks: priors, families, shared days, re-planning, lessons."""

from dataclasses import replace
from datetime import date
from decimal import Decimal

import numpy as np
import pytest

from pitlogger.errors import UsageError
from pitlogger.model.cooks import CUTS
from pitlogger.yields.learned.belief import expit, logit
from pitlogger.yields.learned.lessons import differences
from pitlogger.yields.learned.lessons_document import lessons_document
from pitlogger.yields.learned.servable import learn, observations
from pitlogger.yields.learned.step_learning import learn_steps
from pitlogger.yields.meals import meals
from pitlogger.yields.purchase.cut_priors import cut_prior
from pitlogger.yields.records import PastPiece
from pitlogger.yields.weighing.uncertainty import Measured

YIELDS = [0.482, 0.511, 0.467, 0.498, 0.525, 0.459, 0.503, 0.490]


def piece(share: float, cut: str = "brisket-packer", cook: str = "", **more: object) -> PastPiece:
    masses = {"purchased": Measured(6000.0), "carved": Measured(6000.0 * share)}
    return PastPiece("p", cut, cook=cook or f"{cut}-{share}", masses=masses, **more)  # type: ignore[arg-type]


HISTORY = [piece(share) for share in YIELDS]


@pytest.mark.parametrize("cut", CUTS)
def test_every_cut_has_a_prior_with_its_source(cut: str) -> None:
    known = learn(cut, [])
    assert known.n == 0
    assert known.quantile(0.5) == pytest.approx(cut_prior(cut).median)
    assert known.quantile(0.1) < known.quantile(0.9)
    assert known.source


def test_a_flat_prior_gives_the_textbook_prediction_interval() -> None:
    # tests/data/prediction_interval_examples.csv, yield8 on the logit scale.
    known = learn("brisket-packer", observations(HISTORY), "flat")
    assert known.quantile(0.1) == pytest.approx(0.4587088, abs=1e-6)
    assert known.quantile(0.9) == pytest.approx(0.5250826, abs=1e-6)


def test_a_flat_prior_with_one_cook_says_what_is_needed() -> None:
    with pytest.raises(UsageError, match="needs two pieces of brisket-packer"):
        learn("brisket-packer", observations(HISTORY[:1]), "flat")


def test_own_cooks_narrow_the_interval() -> None:
    few, many = (learn("brisket-packer", observations(HISTORY[:n])) for n in (1, 8))
    assert many.quantile(0.9) - many.quantile(0.1) < few.quantile(0.9) - few.quantile(0.1)


def test_the_family_moves_the_prior_and_other_families_do_not() -> None:
    flats = [piece(0.50, "brisket-flat", cook=f"f{k}") for k in range(6)]
    alone = learn("brisket-packer", [])
    assert learn("brisket-packer", observations(flats)).quantile(0.5) < alone.quantile(0.5)
    assert learn("pork-butt", observations(flats)).quantile(0.5) == pytest.approx(
        learn("pork-butt", []).quantile(0.5)
    )


def test_a_piece_of_another_family_at_the_front_of_the_log_hides_none_of_ones_own() -> None:
    packers = [piece(0.40, cook=f"c{n}") for n in range(6)]
    pork = piece(0.55, "pork-butt", cook="p")
    alone, mixed = (learn("brisket-flat", observations(log)) for log in (packers, [pork, *packers]))
    assert mixed.quantile(0.5) == pytest.approx(alone.quantile(0.5), rel=1e-9)
    assert alone.quantile(0.5) < learn("brisket-flat", ()).quantile(0.5)


def test_a_yield_of_one_or_more_is_left_out() -> None:
    assert learn("brisket-packer", observations([piece(1.02), piece(0.5)])).n == 1


def test_pieces_of_one_day_count_for_less_when_days_differ() -> None:
    days = {"a": 0.42, "b": 0.50, "c": 0.58}
    shared = [piece(s + d, cook=day) for day, s in days.items() for d in (-0.002, 0.0, 0.002)]
    apart = [piece(s + d, cook=f"{day}{d}") for day, s in days.items() for d in (-0.002, 0, 0.002)]
    together = learn("brisket-packer", observations(shared))
    assert together.day_share > 0.8
    single = learn("brisket-packer", observations(apart))
    assert single.day_share == pytest.approx(0.4, abs=0.03)  # single pieces tell nothing of it


def test_what_is_left_of_a_cook_starts_from_the_wrap_weight() -> None:
    masses = {
        "purchased": Measured(6000.0),
        "at-wrap": Measured(4000.0),
        "carved": Measured(3000.0),
    }
    past = [PastPiece("p", "brisket-packer", cook=str(k), masses=masses) for k in range(12)]
    known = learn("brisket-packer", observations(past), start="at-wrap")
    assert known.quantile(0.5) == pytest.approx(0.75, abs=0.01)


def test_split_pieces_are_learned_once_as_their_parent() -> None:
    cook = [
        PastPiece("b", "brisket-packer", "c", masses={"purchased": Measured(6400.0)},
                  children=("f", "q")),
        PastPiece("f", "brisket-flat", "c", masses={"carved": Measured(1800.0)}, parents=("b",)),
        PastPiece("q", "brisket-point", "c", masses={"carved": Measured(1300.0)}, parents=("b",)),
    ]  # fmt: skip
    (one,) = observations(cook)
    assert one.record.cut == "brisket-packer"
    assert one.share() == pytest.approx(3100 / 6400)


def test_lessons_say_what_the_best_third_had_with_its_n() -> None:
    wraps = ["paper" if share > 0.495 else "foil" for share in YIELDS]
    past = observations([piece(s, wrap=w) for s, w in zip(YIELDS, wraps, strict=True)])
    (found,) = differences(past)
    assert (found.factor, found.value, found.best_n, found.best_of) == ("wrap", "paper", 2, 2)


def test_lessons_document_names_dear_steps_and_factors() -> None:
    past = [piece(s, wrap="paper" if s > 0.49 else "foil") for s in YIELDS]
    (cut,) = lessons_document(past)["cuts"]
    assert cut["dear_steps"][0]["cause"] == "trim+cook+rest+carve"
    assert {level["value"] for level in cut["factors"]} == {"paper", "foil"}
    assert cut["sum_ratio_pct"] == pytest.approx(100 * sum(YIELDS) / 8, abs=1e-3)


def test_levels_are_drawn_towards_each_other() -> None:
    past = [piece(s, wrap="paper" if s > 0.49 else "foil") for s in YIELDS]
    levels = {f["value"]: f for f in lessons_document(past)["cuts"][0]["factors"]}
    assert levels["paper"]["shrunk_pct"] <= levels["paper"]["mean_pct"]
    assert levels["foil"]["shrunk_pct"] >= levels["foil"]["mean_pct"]


def test_a_factor_that_does_nothing_is_seldom_said_to_differ() -> None:
    """Random kitchens whose wraps do nothing: at most one level in eight is called different."""
    rng = np.random.default_rng(11)
    said = [
        level["differs"]
        for _ in range(150)
        for level in lessons_document([
            replace(piece(float(s), wrap=str(rng.choice(["paper", "foil", "boat"]))), cook=f"c{k}")
            for k, s in enumerate(rng.normal(0.49, 0.025, 12))
        ])["cuts"][0]["factors"]
    ]  # fmt: skip
    assert sum(said) / len(said) < 0.125


def test_a_wrap_that_matters_is_seen() -> None:
    past = [
        replace(piece(0.44 + 0.002 * (k % 5) + 0.08 * (k % 2), wrap=("foil", "paper")[k % 2]),
                cook=f"c{k}")
        for k in range(24)
    ]  # fmt: skip
    assert all(level["differs"] for level in lessons_document(past)["cuts"][0]["factors"])


def test_the_price_of_a_supplier_goes_as_the_straight_line_says() -> None:
    days = ["2026-01-10", "2026-03-01", "2026-05-20", "2026-08-02"]
    prices = [9.10, 9.42, 9.55, 10.01]
    past = [
        PastPiece("p", "brisket-packer", cook=f"c{k}-{n}", date=day, supplier=name,
                  price_per_kg=Decimal(str(price)))
        for k, (day, price) in enumerate(zip(days, prices, strict=True))
        for n, name in enumerate(("North", "north "))
    ]  # fmt: skip
    past.append(PastPiece("p", "brisket-packer", cook="x", supplier="Hill",
                          price_per_kg=Decimal("8.00")))  # fmt: skip
    north, hill = lessons_document(past)["prices"]
    at = [date.fromisoformat(day).toordinal() for day in days]
    slope = np.polyfit(at, prices, 1)[0]
    assert north["a_year_pct"] == pytest.approx(100 * slope * 365.25 / prices[-1], abs=0.06)
    assert (north["n"], north["last_per_kg"], north["last_on"]) == (4, "10.01", days[-1])
    assert hill["a_year_pct"] is None


def test_what_guests_ate_is_known_only_where_served_and_leftover_were_weighed() -> None:
    masses = {"served": Measured(2600.0), "leftover": Measured(400.0)}
    (weighed,) = meals([PastPiece("p", cook="c", guests=20, masses=masses)])
    assert weighed.eaten_per_guest_g == 130
    (unknown,) = meals([PastPiece("p", cook="c", guests=20, masses={})])
    assert unknown.eaten_per_guest_g is None


def test_steps_are_learned_on_the_logarithm_and_may_gain() -> None:
    masses = {"trimmed": Measured(5000.0), "seasoned": Measured(5100.0), "rested": Measured(3400.0)}
    past = [PastPiece("p", cook=str(k), masses=masses) for k in range(15)]
    rub, cook = learn_steps(past)
    assert (rub.start, rub.end, rub.n) == ("trimmed", "seasoned", 15)
    assert rub.quantile(0.5) == pytest.approx(1.02, abs=1e-3)
    assert cook.quantile(0.1) < 3400 / 5100 < cook.quantile(0.9)


def test_logit_and_its_inverse_agree() -> None:
    assert expit(logit(0.37)) == pytest.approx(0.37)
