"""Is it enough? Against Monte Carlo and closed forms, and the shape of the answer.

tests/data/sufficiency_examples.csv: 2 000 000 draws, numpy PCG64, reference prior on logit.
"""

import csv
import math
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pitlogger.errors import UsageError
from pitlogger.planning.plan_notes import result_notes
from pitlogger.yields.learned.belief import FLAT, expit, logit, prior_belief
from pitlogger.yields.learned.kitchen import Part
from pitlogger.yields.learned.servable import Learned
from pitlogger.yields.purchase.demand import Demand, Party, demand
from pitlogger.yields.purchase.masses import PieceMass
from pitlogger.yields.purchase.plan import PurchaseQuestion, plan, plan_by_count
from pitlogger.yields.purchase.rescue import shortfall
from pitlogger.yields.purchase.sufficiency import enough, first_k, supply

LB, OZ = 453.59237, 28.349523125
YIELDS = [0.482, 0.511, 0.467, 0.498, 0.525, 0.459, 0.503, 0.490]
OWN = FLAT.updated([logit(y) for y in YIELDS])
TYPICAL = PieceMass(14.0 * LB, 1.5 * LB)
TEXT = (Path(__file__).parents[1] / "data/sufficiency_examples.csv").read_text("utf-8")
ROWS = list(csv.DictReader(TEXT.splitlines()))
LEARNED = Learned("brisket-packer", 8, (Part(1.0, OWN, 0.0),), "flat", "")


@pytest.mark.parametrize("row", ROWS, ids=lambda r: f"{r['event']}-{r['pieces']}")
def test_probability_and_mass_agree_with_the_example(row: dict[str, str]) -> None:
    pieces = [TYPICAL] * int(row["pieces"])
    found = enough(
        supply((Part(1.0, OWN, 0.0),)), pieces, Demand(float(row["demand_lb"]) * LB, 0.0)
    )
    # The Edgeworth series is worth half a thousandth beside the draws' own error.
    allowed = 4 * float(row["mc_standard_error"]) + 5e-4
    assert found.p_enough == pytest.approx(float(row["p_monte_carlo"]), abs=allowed)
    assert found.expected_g / LB == pytest.approx(float(row["mean_servable_lb"]), abs=2e-3)
    assert found.sd_g / LB == pytest.approx(float(row["sd_servable_lb"]), abs=2e-3)


def test_weighed_pieces_narrow_the_answer() -> None:
    weighed = [PieceMass(m * LB) for m in (13.2, 14.8, 12.6, 15.1, 14.4)]
    wanted = Demand(31.25 * LB, 0.0)
    found = enough(supply((Part(1.0, OWN, 0.0),)), weighed, wanted)
    assert found.sd_g / LB == pytest.approx(0.885, abs=1e-3)
    assert found.p_enough == pytest.approx(0.9959, abs=1e-3)
    assert found.p_enough > enough(supply((Part(1.0, OWN, 0.0),)), [TYPICAL] * 5, wanted).p_enough


def test_demand_of_guests_who_may_not_come_has_its_closed_form() -> None:
    # 100 booked, 93 % show, 5 oz, sd 1.6 oz: mean 29.0625 lb, sd 1.2513 lb.
    found = demand((Party(100, 5 * OZ, 1.6 * OZ),), show_rate=0.93)
    assert found.mean_g / LB == pytest.approx(29.0625)
    assert found.sd_g / LB == pytest.approx(1.2513, abs=1e-4)


def test_over_scales_demand_and_its_spread() -> None:
    plain, over = (demand((Party(80, 140, 30),), 0.9, o) for o in (0.0, 0.05))
    assert over.mean_g == pytest.approx(1.05 * plain.mean_g)
    assert over.sd_g == pytest.approx(1.05 * plain.sd_g)


@pytest.mark.slow
@pytest.mark.parametrize(
    ("n", "k", "day_share"), [(0, 2, 0.0), (3, 4, 0.0), (8, 5, 0.5), (1, 12, 0.2)]
)
def test_quadrature_agrees_with_drawing(n: int, k: int, day_share: float) -> None:
    belief = prior_belief(logit(0.49), 0.2, 0.1, 4).updated([logit(y) for y in YIELDS[:n]])
    wanted = Demand(k * 14 * LB * 0.47, 0.03 * k * 14 * LB * 0.47)
    rng, draws = np.random.default_rng(20240229), 400_000
    sigma = np.sqrt(belief.sum_squares / rng.chisquare(belief.nu, draws))
    shared = rng.standard_normal(draws) * np.sqrt(1 / belief.kappa + day_share)
    own = rng.standard_normal((k, draws)) * math.sqrt(1 - day_share)
    share = 1 / (1 + np.exp(-np.clip(belief.mean + sigma * (shared + own), -500, 500)))
    mass = (TYPICAL.mean_g + TYPICAL.sd_g * rng.standard_normal((k, draws))) * share
    margin = mass.sum(axis=0) - (wanted.mean_g + wanted.sd_g * rng.standard_normal(draws))
    found = enough(supply((Part(1.0, belief, day_share),)), [TYPICAL] * k, wanted)
    p = float(np.mean(margin >= 0))
    left = np.maximum(margin, 0)
    assert found.p_enough == pytest.approx(p, abs=4 * math.sqrt(p * (1 - p) / draws) + 1e-3)
    assert found.leftover_g == pytest.approx(
        left.mean(), abs=4 * left.std() / math.sqrt(draws) + 0.01 * left.mean()
    )


def question(guests: int = 100, risk: float = 0.05, **more: object) -> PurchaseQuestion:
    return PurchaseQuestion(LEARNED, demand((Party(guests, 5 * OZ),)), risk, TYPICAL, **more)  # type: ignore[arg-type]


def test_the_fewest_pieces_within_the_risk_are_recommended() -> None:
    found = plan(question())
    chosen = found.chosen()
    assert chosen is not None
    assert (found.recommended, chosen.pieces) == (5, 5)
    assert found.purchase_g == pytest.approx(5 * TYPICAL.mean_g)


def test_options_run_to_certainty_and_two_past_the_recommended() -> None:
    found = plan(question())
    assert [o.pieces for o in found.options] == list(range(1, 8))
    assert found.options[-1].p_enough >= 0.999


def test_a_smaller_risk_never_takes_fewer_pieces() -> None:
    counts = [plan(question(risk=r)).recommended or 0 for r in (0.2, 0.05, 0.01, 0.001)]
    assert counts == sorted(counts)


def test_weighed_pieces_end_the_options_and_may_not_be_enough() -> None:
    found = plan(question(weighed=tuple(PieceMass(13 * LB) for _ in range(3))))
    assert (len(found.options), found.recommended, found.purchase_g) == (3, None, None)


def test_what_is_not_enough_is_told_with_all_the_pieces_that_there_are() -> None:
    asked = question(weighed=tuple(PieceMass(13 * LB) for _ in range(3)))
    (told,) = result_notes(plan(asked), asked)
    assert told.startswith("Not enough: 3 pieces hold")


def test_an_absurd_party_is_refused() -> None:
    with pytest.raises(UsageError, match="more than 5000"):
        plan(question(guests=10_000_000))


def test_two_cooks_alone_still_end() -> None:
    belief = FLAT.updated([logit(0.3), logit(0.6)])
    learned = Learned("brisket-packer", 2, (Part(1.0, belief, 0.0),), "flat", "")
    found = plan(PurchaseQuestion(learned, demand((Party(20, 5 * OZ),)), 0.01, TYPICAL))
    assert found.options


def test_counted_portions_follow_the_binomial() -> None:
    asked = PurchaseQuestion(LEARNED, Demand(1.0, 0.0), 0.05, PieceMass(1000.0))
    found = plan_by_count(asked, (Party(10, 1.0),), show_rate=0.9, per_piece=2)
    at_most_8 = 1 - 0.9**10 - 10 * 0.9**9 * 0.1
    assert found.options[3].p_enough == pytest.approx(at_most_8)
    assert found.recommended == 5


def test_a_shortfall_says_what_to_add_and_that_reaches_the_risk() -> None:
    short = shortfall(question(weighed=(TYPICAL,) * 4), light_by="03:10")
    by_id = {remedy.remedy: remedy for remedy in short.remedies}
    assert short.short_g > 0
    assert by_id["buy-in"].p_enough == pytest.approx(0.95, abs=2e-3)
    assert "03:10" in by_id["another-piece"].message
    assert all(remedy.p_enough > short.p_enough for remedy in short.remedies)


def test_nothing_is_short_when_it_is_enough() -> None:
    assert shortfall(question(weighed=(TYPICAL,) * 6)).remedies == ()


@settings(max_examples=25, deadline=None)
@given(st.lists(st.floats(1000, 9000), min_size=1, max_size=9), st.floats(500, 30_000))
def test_more_pieces_are_never_less_enough(masses: list[float], wanted_g: float) -> None:
    options = list(
        first_k(
            supply((Part(1.0, OWN, 0.0),)), [PieceMass(m) for m in masses], Demand(wanted_g, 100.0)
        )
    )
    chances = [option.p_enough for option in options]
    assert all(a <= b + 1e-4 for a, b in pairwise(chances))
    assert all(0.0 <= p <= 1.0 for p in chances)
    assert all(o.leftover_g >= o.expected_g - wanted_g - 5.0 for o in options)


def test_the_median_of_a_share_is_the_logistic_of_the_centre() -> None:
    assert LEARNED.quantile(0.5) == pytest.approx(expit(OWN.mean))
