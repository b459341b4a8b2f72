"""``pitlogger plan``: the contract, defaults, profiles, bad input."""

from __future__ import annotations

import csv
import json
import re
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from pitlogger.cli.ahead.plan import plan
from pitlogger.errors import UsageError

LB = 453.59237
YIELDS = [0.482, 0.511, 0.467, 0.498, 0.525, 0.459, 0.503, 0.490]
BASE = ("--portion", "5oz", "--cut", "brisket-packer")
DATA = Path(__file__).parents[1] / "data"


@pytest.fixture
def log(tmp_path: Path) -> str:
    path = tmp_path / "log.csv"
    rows = [f"c{k},b,brisket-packer,10 kg,{10 * y:.2f} kg" for k, y in enumerate(YIELDS)]
    path.write_text("\n".join(["cook,piece,cut,purchased,carved", *rows]), encoding="utf-8")
    return str(path)


def run(*args: str) -> Any:
    result = CliRunner().invoke(plan, [*args, "--json"], catch_exceptions=False)
    assert result.exit_code == 0, result.output
    return json.loads(result.stdout)


def test_the_document_has_the_keys_of_the_contract() -> None:
    document = run("--guests", "20", *BASE)
    assert set(document) == {
        "cut", "demand_g", "demand_sd_g", "options", "recommended", "purchase_g", "basis", "notes",
    }  # fmt: skip
    assert set(document["options"][0]) == {"pieces", "p_enough", "expected_g", "sd_g", "leftover_g"}
    assert set(document["basis"]) == {"n", "median", "p10", "p90", "prior"}
    assert document["basis"]["n"] == 0
    assert any("No own cook of whole brisket yet" in note for note in document["notes"])


def test_twenty_guests_one_brisket_or_two_is_the_first_line() -> None:
    text = CliRunner().invoke(plan, ["--guests", "20", *BASE]).output
    first = text.splitlines()[0]
    assert first.startswith("20 guests: 2 brisket-packer")
    assert "1 with" in first


ROWS = list(csv.DictReader((DATA / "sufficiency_examples.csv").read_text("utf-8").splitlines()))


@pytest.mark.parametrize("row", ROWS, ids=lambda r: f"{r['event']}-{r['pieces']}")
def test_the_sufficiency_examples_come_out_of_the_command(row: dict[str, str], log: str) -> None:
    document = run(
        "--guests", "1", "--portion", f"{row['demand_lb']}lb", "--cut", "brisket-packer",
        "--piece-mass", "14lb", "--piece-sd", "1.5lb", "--history", log, "--prior", "flat",
    )  # fmt: skip
    option = document["options"][int(row["pieces"]) - 1]
    assert option["p_enough"] == pytest.approx(float(row["p_monte_carlo"]), abs=2e-3)
    assert option["expected_g"] == pytest.approx(float(row["mean_servable_lb"]) * LB, rel=1e-3)


def test_options_end_at_certainty_and_two_past_the_recommended() -> None:
    options = run("--guests", "100", *BASE)
    chances = [option["p_enough"] for option in options["options"]]
    assert [o["pieces"] for o in options["options"]] == list(range(1, len(chances) + 1))
    assert chances[-1] >= 0.999
    assert len(chances) >= options["recommended"] + 2
    assert chances[-2] < 0.999 or len(chances) == options["recommended"] + 2


def test_weighed_pieces_are_taken_in_order(log: str) -> None:
    document = run("--guests", "20", *BASE, "--pieces", "9lb,15lb,12lb", "--history", log)
    assert document["purchase_g"] == pytest.approx(24 * LB, abs=0.01)
    assert document["options"][0]["expected_g"] == pytest.approx(9 * 0.4918 * LB, rel=2e-3)


def test_weighed_pieces_that_are_short_come_with_remedies() -> None:
    document = run("--guests", "60", *BASE, "--pieces", "12lb,12lb", "--light-by", "03:10")
    assert document["recommended"] is None
    assert document["shortfall"]["short_g"] > 0
    assert any("03:10" in r["message"] for r in document["shortfall"]["remedies"])


def test_a_paid_guarantee_is_owed_and_says_what_that_costs() -> None:
    paid, party = (run("--guests", "100", *BASE, "--profile", p) for p in ("paid", "party"))
    assert paid["recommended"] >= party["recommended"]
    assert any("From 5 % risk to 1 % costs" in note for note in paid["notes"])


def test_stacked_margins_are_said() -> None:
    document = run("--guests", "100", *BASE, "--over", "5")
    assert document["demand_g"] == pytest.approx(1.05 * 31.25 * LB, abs=0.1)
    assert any("stacked" in note for note in document["notes"])


def test_show_rate_and_portion_spread_enter_the_demand() -> None:
    document = run("--guests", "100", *BASE, "--show-rate", "93", "--portion-sd", "1.6oz")
    assert document["demand_g"] / LB == pytest.approx(29.0625, abs=1e-3)
    assert document["demand_sd_g"] / LB == pytest.approx(1.2513, abs=1e-3)


def test_children_eat_half() -> None:
    document = run("--guests", "10", "--children", "10", *BASE)
    assert document["demand_g"] == pytest.approx(15 * 5 / 16 * LB, abs=0.1)


def test_portions_may_be_counted() -> None:
    document = run("--guests", "10", "--portion", "1 quarter", "--cut", "chicken-whole")
    assert document["recommended"] == 3
    assert [o["p_enough"] for o in document["options"][:3]] == [0.0, 0.0, 1.0]
    bones = run("--guests", "10", "--portion", "3 bones", "--cut", "pork-spareribs")
    assert bones["recommended"] == 3


def test_a_menu_has_a_plan_for_each_dish_and_a_shopping_list() -> None:
    document = run(
        "--guests", "100", "--portion", "5oz", "--menu", "brisket-packer:60%,pork-butt:50%:6oz"
    )
    assert [dish["cut"] for dish in document["dishes"]] == ["brisket-packer", "pork-butt"]
    assert document["dishes"][0]["demand_g"] == pytest.approx(0.6 * 31.25 * LB, abs=0.1)
    assert [item["pieces"] for item in document["shopping"]] == [
        dish["recommended"] for dish in document["dishes"]
    ]


def test_mid_cook_masses_re_plan_from_the_wrap() -> None:
    document = run("--guests", "20", *BASE, "--pieces", "4.1kg,4.0kg", "--weighed-at", "at-wrap")
    assert document["basis"]["median"] > 0.6


def test_a_budget_says_what_it_buys() -> None:
    notes = run("--guests", "60", *BASE, "--price", "4/lb", "--budget", "130")["notes"]
    assert any("The budget buys 2 pieces" in note for note in notes)


def test_the_seed_changes_nothing() -> None:
    assert run("--guests", "30", *BASE, "--seed", "1") == run(
        "--guests", "30", *BASE, "--seed", "2"
    )


@pytest.mark.parametrize(
    ("args", "said"),
    [
        (("--guests", "0", *BASE), "0 guests"),
        (("--guests", "-4", *BASE), "below zero"),
        (("--guests", "9", "--portion", "5", "--cut", "tri-tip"), "no unit"),
        (("--guests", "9", "--cut", "tri-tip"), "--portion is missing"),
        (("--guests", "9", "--portion", "5oz"), "--cut"),
        (("--guests", "9", "--portion", "5oz", "--cut", "brisket-packr"), "did you mean"),
        (("--guests", "9", "--portion", "2 bones", "--cut", "tri-tip"), "not served by the bone"),
        (("--guests", "9", *BASE, "--prior", "flat"), "the history has 0"),
        (("--guests", "9", *BASE, "--pieces", "9lb", "--piece-mass", "9lb"), "leave --piece-mass"),
        (("--guests", "9", *BASE, "--profile", "paid", "--show-rate", "90"), "owed"),
        (("--guests", "9", *BASE, "--risk", "0"), "--risk"),
        (("--guests", "9", *BASE, "--show-rate", "120"), "--show-rate"),
        (("--guests", "9", *BASE, "--piece-mass", "2lb", "--piece-sd", "3lb"), "more than half"),
        (("--guests", "9", *BASE, "--budget", "100"), "needs --price"),
        (("--guests", "9", *BASE, "--history", "/none.csv"), "cannot be read"),
        (("--guests", "9", *BASE, "--weighed-at", "at-wrap"), "needs --pieces"),
        (("--guests", "9", "--portion", "5oz", "--menu", "tri-tip:50%"), "come to 50 %"),
    ],
)
def test_bad_questions_are_refused_with_a_reason(args: tuple[str, ...], said: str) -> None:
    result = CliRunner().invoke(plan, list(args))
    assert isinstance(result.exception, UsageError), result.output
    assert said in str(result.exception)


def test_past_pieces_that_cannot_be_used_are_counted(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    path.write_text(
        "cut,purchased,carved\nbrisket-packer,6 kg,2.9 kg\nbrisket-packer,6 kg,\n", encoding="utf-8"
    )
    notes = run("--guests", "20", *BASE, "--history", str(path))["notes"]
    assert any("1 past piece of whole brisket left out" in note for note in notes)


def test_one_row_of_history_is_used_and_said(tmp_path: Path) -> None:
    path = tmp_path / "one.csv"
    path.write_text("cut,purchased,carved\nbrisket-packer,6 kg,2.9 kg\n", encoding="utf-8")
    document = run("--guests", "20", *BASE, "--history", str(path))
    assert document["basis"]["n"] == 1
    assert any("One own cook of whole brisket so far" in note for note in document["notes"])


MEALS = "\n".join(
    ["cook,cut,guests,came,left,tender,wrap,grade,purchased,carved"]
    + [
        f"c{k},brisket-packer,50,{came},0.2 kg,{mark},{wrap},{grade},6.4 kg,{carved} kg"
        for k, (came, mark, wrap, grade, carved) in enumerate(
            [(45, 4, "paper", "Prime", 3.35), (40, 3, "foil", "Choice", 3.0),
             (47, 4, "paper", "Prime", 3.4), (38, 3, "foil", "Choice", 2.95),
             (44, 5, "paper", "Prime", 3.38), (41, 2, "foil", "Choice", 3.05)]
        )
    ]
)  # fmt: skip


@pytest.fixture
def told(tmp_path: Path) -> str:
    (tmp_path / "meals.csv").write_text(MEALS, encoding="utf-8")
    return str(tmp_path / "meals.csv")


def test_past_meals_give_portion_and_show_rate(told: str) -> None:
    document = run("--guests", "60", "--from-meals", "--cut", "brisket-packer", "--history", told)
    meals = document["meals"]
    assert meals["show_rate_pct"]["n"] == meals["eaten_per_guest_g"]["n"] == 6
    each_g = meals["eaten_per_guest_g"]["median"] * meals["show_rate_pct"]["median"] / 100
    assert document["demand_g"] == pytest.approx(60 * each_g, rel=1e-3)
    assert document["demand_sd_g"] > 0.05 * document["demand_g"]


def test_what_is_given_counts_before_past_meals(told: str) -> None:
    args = ("--guests", "60", "--from-meals", "--cut", "brisket-packer", "--history", told)
    document = run(*args, "--portion", "5oz", "--show-rate", "100")
    assert document["demand_g"] == pytest.approx(60 * 5 / 16 * LB, abs=0.1)
    paid = run(*args, "--profile", "paid")
    each_g = paid["meals"]["eaten_per_guest_g"]["median"]
    assert paid["demand_g"] == pytest.approx(60 * each_g, rel=1e-3)


def test_past_meals_are_told_unasked_and_change_nothing(told: str) -> None:
    document = run("--guests", "60", *BASE, "--history", told)
    assert document["demand_g"] == pytest.approx(60 * 5 / 16 * LB, abs=0.1)
    assert any("--from-meals" in note for note in document["notes"])
    assert any("Tenderness by wrap" in note for note in document["notes"])


def test_no_past_meal_is_said_not_guessed() -> None:
    result = CliRunner().invoke(plan, ["--guests", "60", "--from-meals", "--cut", "brisket-packer"])
    assert "no past meal" in str(result.exception)


def test_grade_and_wrap_move_the_yield_and_say_so(told: str) -> None:
    plain = run("--guests", "60", *BASE, "--history", told)
    prime = run("--guests", "60", *BASE, "--history", told, "--grade", "prime")
    assert prime["basis"]["median"] > plain["basis"]["median"] + 0.015
    (factor,) = prime["basis"]["factors"]
    assert (factor["factor"], factor["n"], factor["used"]) == ("grade", 3, True)
    assert any("grade prime: 3 past pieces" in note for note in prime["notes"])


def test_a_factor_nobody_tried_changes_nothing_and_says_so(told: str) -> None:
    plain = run("--guests", "60", *BASE, "--history", told)
    other = run("--guests", "60", *BASE, "--history", told, "--pull-at", "198F")
    assert other["options"] == plain["options"]
    assert any("no past piece tells it" in note for note in other["notes"])


def test_a_menu_is_answered_in_one_line_with_the_risk_of_any_dish() -> None:
    args = ["--guests", "40", "--portion", "5oz", "--menu", "brisket-packer:60%,pork-butt:40%"]
    text = CliRunner().invoke(plan, args).output
    assert text.splitlines()[0].startswith("40 guests: 2 brisket-packer (28 lb 0 oz raw), 2 pork")
    assert "one of them runs short is likelier, at most" in text


def test_a_spread_larger_than_the_portion_is_a_slip_of_the_unit() -> None:
    result = CliRunner().invoke(plan, ["--guests", "9", *BASE, "--portion-sd", "30oz"])
    assert "check the unit" in str(result.exception)


def test_many_options_are_thinned_and_keep_the_recommended() -> None:
    args = ["--guests", "100", "--portion", "5oz", "--cut", "sausage"]
    text = CliRunner().invoke(plan, args).output
    best = text.split()[2]
    assert sum(line[:1].isdigit() for line in text.splitlines()[1:]) <= 20
    assert any(line.split()[:1] == [best] for line in text.splitlines()[1:])


def test_another_piece_is_offered_until_its_fire_would_be_too_late() -> None:
    args = ("--guests", "60", *BASE, "--pieces", "12lb,12lb")
    ahead = run(*args, "--serve-at", "2099-09-19T18:00-05:00")["shortfall"]["remedies"]
    past = run(*args, "--serve-at", "2020-09-19T18:00-05:00")["shortfall"]["remedies"]
    (another,) = [r for r in ahead if r["remedy"] == "another-piece"]
    assert re.search(r"by (\w+ )?\d\d:\d\d$", another["message"])
    assert not [r for r in past if r["remedy"] == "another-piece"]


@pytest.mark.parametrize(
    ("args", "said"),
    [
        (("--serve-at", "tonight"), "not a time"),
        (("--serve-at", "2099-01-01T18:00Z", "--light-by", "03:10"), "leave one of the two out"),
    ],
)
def test_a_serving_time_that_cannot_be_used_is_refused(args: tuple[str, ...], said: str) -> None:
    result = CliRunner().invoke(plan, ["--guests", "60", *BASE, "--pieces", "9lb", *args])
    assert said in str(result.exception)


def test_the_curve_is_drawn_in_the_terminal() -> None:
    text = CliRunner().invoke(plan, ["--guests", "20", *BASE]).output
    bars = [line.split()[2] for line in text.splitlines() if line[:1].isdigit() and "#" in line]
    assert [len(bar) for bar in bars] == [24] * len(bars)
    assert bars[0].count("#") == 16
    assert bars[-1] == "#" * 24


def test_what_a_guarantee_costs_is_said_in_money_where_the_price_is_known() -> None:
    args = ("--guests", "106", *BASE, "--profile", "paid", "--price", "4.00/lb")
    (note,) = [n for n in run(*args)["notes"] if "From 5 % risk" in n]
    assert re.search(r"1 more piece, 14 lb 0 oz raw, 56\.00\.", note), note
