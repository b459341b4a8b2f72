"""Short in mid-cook: pieces at stages of their own, several cuts; against drawing."""

import math
import subprocess
import sys
from dataclasses import replace

import numpy as np
import pytest

from pitlogger.rules.policies import shipped_kitchen
from pitlogger.yields.learned.belief import FLAT, logit
from pitlogger.yields.learned.kitchen import Part
from pitlogger.yields.learned.servable import Observed, learn
from pitlogger.yields.purchase.demand import Demand, Party, demand
from pitlogger.yields.purchase.masses import PieceMass
from pitlogger.yields.purchase.plan import PurchaseQuestion
from pitlogger.yields.purchase.rescue import shortfall
from pitlogger.yields.purchase.running_short import on_the_way, running_short
from pitlogger.yields.purchase.sufficiency import supply
from pitlogger.yields.purchase.supply_grid import Cumulants, Mixture, judge
from pitlogger.yields.records import PastPiece
from pitlogger.yields.timing.schedule import Sitting, latest_load_ms
from pitlogger.yields.weighing.uncertainty import Measured

TABLE = demand((Party(40, 140.0),), 1.0)


def piece(name: str, cut: str = "brisket-packer", **masses_g: float) -> PastPiece:
    weighed = {key.replace("_", "-"): Measured(mass_g) for key, mass_g in masses_g.items()}
    return PastPiece(name, cut, masses=weighed)


def test_pieces_at_one_stage_are_judged_as_the_plan_judges_them() -> None:
    found = running_short([piece("a", at_wrap=4100), piece("b", at_wrap=3900)], TABLE)
    learned = learn("brisket-packer", [], start="at-wrap")
    weighed = (PieceMass(4100.0), PieceMass(3900.0))
    asked = PurchaseQuestion(learned, TABLE, 0.05, PieceMass(4000.0, 400.0), weighed)
    assert found.p_enough == pytest.approx(shortfall(asked).p_enough, abs=1e-9)


def test_a_piece_weighed_earlier_is_less_sure_than_one_weighed_late() -> None:
    masses = on_the_way([piece("a", at_wrap=4000), piece("b", purchased=6400)], ()).pieces
    assert masses[0] == PieceMass(4000.0)
    assert 3000 < masses[1].mean_g < 5000
    assert masses[1].sd_g > 0.1 * masses[1].mean_g


def test_what_was_carved_is_there_already() -> None:
    done = running_short([piece("a", purchased=6400, carved=6000)], TABLE)
    assert (done.p_enough, done.short_g) == (1.0, 0.0)
    short = running_short([piece("a", purchased=6400, carved=5000)], TABLE)
    assert short.p_enough == 0.0
    assert short.short_g == pytest.approx(600, abs=1)


def test_no_piece_at_all_is_short_by_the_demand() -> None:
    short = running_short([], TABLE)
    assert short.short_g == pytest.approx(TABLE.mean_g, abs=1)
    assert "another-piece" not in {remedy.remedy for remedy in short.remedies}


def test_every_remedy_helps_and_buying_in_reaches_the_risk() -> None:
    short = running_short([piece("a", at_wrap=4100)], TABLE, risk=0.02, light_by="03:10")
    by_id = {remedy.remedy: remedy for remedy in short.remedies}
    assert {"another-piece", "chop", "sides", "buy-in"} <= set(by_id)
    assert by_id["buy-in"].p_enough == pytest.approx(0.98, abs=2e-3)
    assert "03:10" in by_id["another-piece"].message
    assert all(remedy.p_enough >= short.p_enough for remedy in short.remedies)


def test_too_late_for_another_piece_is_not_offered() -> None:
    short = running_short([piece("a", at_wrap=4100)], TABLE, light_by=None)
    assert "another-piece" not in {remedy.remedy for remedy in short.remedies}


def test_children_of_a_split_count_once() -> None:
    parent = PastPiece("a", "brisket-packer", masses={"purchased": Measured(6400.0)},
                       children=("p", "f"))  # fmt: skip
    point, flat = (
        PastPiece(name, "brisket-packer", masses={"rested": Measured(mass_g)}, parents=("a",))
        for name, mass_g in (("p", 1500.0), ("f", 2000.0))
    )
    whole = running_short([piece("a", purchased=6400, rested=3500)], TABLE)
    assert running_short([parent, point, flat], TABLE).p_enough == pytest.approx(whole.p_enough)


@pytest.mark.slow
def test_cuts_that_share_nothing_add_up_as_drawn() -> None:
    rng, draws = np.random.default_rng(20240229), 400_000
    beliefs = [
        FLAT.updated([logit(y) for y in shares])
        for shares in ((0.48, 0.51, 0.47, 0.50, 0.46), (0.52, 0.57, 0.55, 0.50, 0.53, 0.58))
    ]
    masses = (13_000.0, 9_000.0)
    total = np.zeros(draws)
    mixed: Mixture | None = None
    for belief, mass_g in zip(beliefs, masses, strict=True):
        sigma = np.sqrt(belief.sum_squares / rng.chisquare(belief.nu, draws))
        shared = rng.standard_normal(draws) * np.sqrt(1 / belief.kappa)
        centre = belief.mean + sigma * (shared + rng.standard_normal(draws))
        total += mass_g / (1 + np.exp(-centre))
        grid = supply((Part(1.0, belief, 0.0),))
        one = Mixture(grid.weight, Cumulants.of_piece(grid, PieceMass(mass_g)))
        mixed = one if mixed is None else mixed.and_apart(one)
    assert mixed is not None
    for wanted_g in (10_500.0, 11_000.0, 11_300.0):
        p = float(np.mean(total >= wanted_g))
        found = judge(2, mixed.weight, mixed.mass, Demand(wanted_g, 0.0), 0.0, 0.0).p_enough
        assert found == pytest.approx(p, abs=4 * math.sqrt(p * (1 - p) / draws) + 2e-3)


def test_another_piece_has_to_be_on_before_the_meal_by_its_cook_time() -> None:
    kitchen = shipped_kitchen()
    sitting = Sitting(at_ms=100 * 3_600_000)
    assert latest_load_ms("brisket-packer", sitting, kitchen) < latest_load_ms(
        "pork-butt", sitting, kitchen
    )
    assert latest_load_ms("chicken-half", sitting, kitchen) < sitting.at_ms


def test_naming_it_does_not_load_numpy() -> None:
    code = (
        "import sys, pitlogger.yields.purchase.running_short, pitlogger.yields.purchase.plan;"
        "import pitlogger.yields.books;"
        "sys.exit('numpy' in sys.modules)"
    )
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


def test_a_weighed_trimming_is_no_stage_of_the_piece() -> None:
    masses = on_the_way([piece("a", purchased=6400, trim_fat=900)], ())
    assert masses.pieces == (PieceMass(6400.0),)


def test_what_a_piece_loses_on_its_way_is_learned_from_its_own_cut() -> None:
    """Butts that kept 90 % to the wrap say so of butts; briskets that kept half say nothing."""

    def done(cut: str, kept: float) -> list[Observed]:
        one = piece("p", cut, purchased=6000, at_wrap=6000 * kept)
        return [Observed(replace(one, cook=f"c{n}"), 3000.0) for n in range(8)]

    there = [piece("a", "pork-butt", at_wrap=4000), piece("b", "pork-butt", purchased=6000)]
    taken_to = [on_the_way(there, past).pieces[1].mean_g
                for past in ([], done("brisket-packer", 0.5), done("pork-butt", 0.9))]  # fmt: skip
    assert taken_to[0] == taken_to[1]
    assert taken_to[0] + 300 < taken_to[2] < 5400
