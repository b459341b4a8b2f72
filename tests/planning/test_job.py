"""A job: one purchase in every answer, sums that add up, bad input in one line."""

from __future__ import annotations

import json
import re
import time
from decimal import Decimal
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from pitlogger.cli import root
from pitlogger.errors import FieldError, UsageError
from pitlogger.formats.job_file import parse_job
from pitlogger.planning import Dish, PastCooks, PlanQuestion, Portion, plan
from pitlogger.planning.card import CardQuestion, price_card
from pitlogger.planning.job.calculation import answer_job
from pitlogger.planning.job.change import follows
from pitlogger.planning.job.first_file import first_job
from pitlogger.planning.job.months import by_month
from pitlogger.planning.leftovers import cooks_to_look_at, shown_cooled
from pitlogger.yields.records import PastPiece
from pitlogger.yields.weighing.uncertainty import Measured

LB, OZ = 453.59237, 28.349523125
NOW_MS = 1_800_000_000_000  # January 2027
JOB = """
version = 1
[job]
name = "orchard wedding"
client = "B. Okafor"
place = "orchard"
guests = 120
serve_at = "2027-06-19T17:00:00-05:00"
portion = "5 oz"
currency = "USD"
price_per_guest = 24
tax_pct = 8.25
service_pct = 18
deposit_pct = 30
[[meat]]
cut = "brisket-packer"
price = "4.29/lb"
supplier = "North"
"""
TWO = JOB.replace('supplier = "North"', 'share_pct = 60') + """
[[meat]]
cut = "pork-butt"
price = "2.19/lb"
share_pct = 40
"""  # fmt: skip


def answered(text: str, **more: Any) -> Any:
    return answer_job(parse_job(text), **more)


def test_plan_and_job_buy_the_same() -> None:
    made = answered(JOB).dishes[0]
    dish = (Dish("brisket-packer"),)
    planned = plan(PlanQuestion(guests=120, dishes=dish, portion=Portion(5 * OZ))).dishes[0]
    assert made.pieces == planned.recommended
    assert made.purchase_g == pytest.approx(planned.purchase_g, abs=0.1)
    assert made.meat == round(Decimal(made.purchase_g / LB) * Decimal("4.29"), 2)


MORE = """
[[labour]]
role = "pit"
hours = 9
rate = 22
burden_pct = 12
[[per_guest]]
what = "plates"
cost = 0.6
kind = "disposables"
[[fixed]]
what = "permit"
cost = 85
"""


def test_the_costs_and_the_bill_add_up() -> None:
    text = TWO + MORE
    made = answered(text)
    costs = made.costs
    parts = (costs.meat, costs.food, costs.disposables, costs.other, costs.labour, costs.fuel,
             costs.card_fee)  # fmt: skip
    assert costs.total == sum(parts) - costs.credits
    assert costs.labour == Decimal("221.76")
    assert costs.meat == sum(dish.meat for dish in made.dishes)
    assert made.bill.total == made.bill.subtotal + made.bill.service + made.bill.tax
    assert made.earned.middle == made.earned.income - costs.total
    # Food alone over the food's price: Gisslen's definition; plates are no food.
    assert made.earned.food_cost_pct == round(costs.meat / made.bill.subtotal * 100, 2)


def test_all_dishes_together_keep_the_risk() -> None:
    made = answered(TWO.replace("guests = 120", "guests = 260"))
    assert made.p_all_enough >= 0.95
    assert made.p_all_enough <= min(dish.p_enough for dish in made.dishes)
    assert made.p_all_enough >= sum(dish.p_enough for dish in made.dishes) - 1


def test_four_answers_give_a_first_quote_with_all_else_assumed() -> None:
    text = first_job([("brisket-packer", "60"), ("pork-butt", "40")], 80, "2027-06-19T17:00-05:00",
                     'the "old" barn')  # fmt: skip
    made = answered(text)
    told = {one.field for one in made.assumed}
    assert told == {"job.portion", "meat.brisket-packer.price", "meat.pork-butt.price",
                    "job.price_per_guest"}  # fmt: skip
    assert made.place == 'the "old" barn'
    assert made.bill.total > made.costs.meat
    assert made.schedule is not None


def test_a_price_paid_before_is_assumed_again() -> None:
    masses = {"purchased": Measured(6000.0), "carved": Measured(3000.0)}
    past = PastCooks((PastPiece("b", "brisket-packer", "spring", masses=masses,
                                price_per_kg=Decimal("8.80")),))  # fmt: skip
    made = answered(JOB.replace('price = "4.29/lb"\n', ""), past=past)
    assert made.assumed[0].value == "3.99/lb, 8.80/kg"
    assert "spring" in made.assumed[0].why


def test_a_price_paid_for_another_cut_is_not_assumed() -> None:
    past = PastCooks((PastPiece("b", "pork-butt", "spring", price_per_kg=Decimal("8.80")),))
    made = answered(JOB.replace('price = "4.29/lb"\n', ""), past=past)
    assert "spring" not in made.assumed[0].why


def test_leftovers_wanted_are_bought() -> None:
    more = answered(JOB.replace("[job]", '[job]\nleave = "20 lb"')).dishes[0]
    plain = answered(JOB).dishes[0]
    assert more.demand_g - plain.demand_g == pytest.approx(20 * LB, abs=1)
    assert more.pieces > plain.pieces


def test_by_money_stands_beside_the_risk() -> None:
    cheap, dear = (
        answered(JOB + f"[shortage]\nrefund = {money}\n").dishes[0] for money in (5, 50_000)
    )
    assert cheap.pieces == dear.pieces
    assert cheap.by_money.pieces < cheap.pieces < dear.by_money.pieces
    totals = [one.total for one in dear.by_money.curve]
    assert min(totals) == dear.by_money.total


def test_another_cut_stands_side_by_side() -> None:
    text = JOB + 'or_else = [{cut = "brisket-flat", price = "7.49/lb"}]\n'
    own = answered(text).dishes[0]
    (way,) = own.other_ways
    assert way.pieces > 0
    assert way.meat > 0
    assert way.cost_per_served_kg > 0
    assert way.work_h / way.pieces == pytest.approx(own.work_h / own.pieces, abs=0.01)
    assert own.work_h > 0
    assert way.p_enough >= 0.95


def test_the_result_explains_the_whole_difference() -> None:
    masses = {"purchased": Measured(48_000.0), "carved": Measured(22_000.0)}
    past = PastCooks((PastPiece("b", "brisket-packer", "june", masses=masses),))
    text = JOB.replace("[job]", '[job]\ncook = "june"') + (
        '[actual]\nguests = 111\nmeat_cost = 470\nother_cost = 30\nleft = "3 kg"\n'
    )
    made = answered(text, past=past)
    told = made.result
    parts = sum(one.amount for one in told.why if not one.what.startswith("of which"))
    assert parts == told.profit - told.planned
    assert told.servable_pct == pytest.approx(100 * 22 / 48, abs=0.01)
    assert told.eaten_per_guest_g == pytest.approx(19_000 / 111, abs=0.1)
    (eaten,) = [one for one in told.why if "portions and guests" in one.what]
    worth = (made.dishes[0].demand_g - 19_000) * 470 / 22_000  # at the cost of served meat
    assert float(eaten.amount) == pytest.approx(worth, abs=0.01)
    assert made.bill.guests == 120  # the higher of guarantee and those who came
    assert answered(text.replace("guests = 111", "guests = 131")).bill.guests == 131


def test_leftovers_count_only_where_they_were_cooled_in_time() -> None:
    credit = '[[credit]]\nwhat="leftover"\nmass="4 kg"\nprice="12/kg"\nis_leftover=true\n'
    assert answered(JOB + credit).costs.credits == 0
    assert answered(JOB + credit + "cooling_met=true\n").costs.credits == 48


def test_months_add_up_and_currencies_do_not_mix() -> None:
    jobs = [(parse_job(text), answered(text)) for text in (JOB, TWO)]
    document = by_month(jobs)
    assert sum(m["sales"] for m in document["months"]) == sum(a.earned.income for _, a in jobs)
    other = JOB.replace('currency = "USD"', 'currency = "EUR"')
    with pytest.raises(FieldError, match="one currency at a time"):
        by_month([*jobs, (parse_job(other), answered(other))])


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("guests = 120", "guests = 0", "guests"),
        ("guests = 120", "guests = 1e9", "guests"),
        ("version = 1", "version = 2", "version"),
        ('supplier = "North"', "share_pct = 160", "share_pct"),
        ('supplier = "North"', "share_pct = 60", "share_pct come to 60"),
        (
            'supplier = "North"',
            'share_pct = 70\n[[meat]]\ncut = "pork-butt"\nshare_pct = 50',
            "share_pct come to 120",
        ),
        ('portion = "5 oz"', 'portion = "0 oz"', "portion"),
        ('portion = "5 oz"', "portion = 5", "portion"),
        ("tax_pct = 8.25", "tax_pct = 825", "tax_pct"),
        ("[job]", "[job]\ngusts = 4", "gusts"),
        ('supplier = "North"', 'piece_from = "9 lb"', "piece_from and piece_to"),
        ("guests = 120", "guests = true", "guests"),
        ("tax_pct = 8.25", "tax_pct = true", "tax_pct"),
        ('currency = "USD"', 'currency = "US\\nD"', "currency"),
        ('name = "orchard wedding"', 'name = "orchard\\u001b[2J"', "name"),
        ('supplier = "North"', f'supplier = "{"N" * 301}"', "supplier"),
    ],
)
def test_a_bad_job_file_names_its_field_in_one_line(old: str, new: str, said: str) -> None:
    with pytest.raises(UsageError, match=r"^job(:\d+)?: ") as caught:
        parse_job(JOB.replace(old, new))
    assert said in str(caught.value)
    assert "\n" not in str(caught.value)


def test_a_butchers_least_is_bought_and_one_beyond_any_kitchen_is_refused() -> None:
    least = 'supplier = "North"\nat_least = "{}"'
    bought = answered(JOB.replace('supplier = "North"', least.format("1400 lb"))).dishes[0]
    assert bought.billed_g >= 1400 * LB
    with pytest.raises(UsageError, match=r"at_least comes to \d+ pieces, more than 5000"):
        answered(JOB.replace('supplier = "North"', least.format("100000 lb")))


def test_a_serving_time_long_past_is_a_slip_and_a_late_entry_is_not() -> None:
    now_ms = round(time.time() * 1000)
    with pytest.raises(FieldError, match="serve_at"):
        answered(JOB.replace("2027-06-19", "2020-06-19"), now_ms=now_ms)
    month_ago = time.strftime("%Y-%m-%d", time.gmtime(time.time() - 30 * 86_400))
    assert answered(JOB.replace("2027-06-19", month_ago), now_ms=now_ms).schedule is not None
    served = "\n[actual]\nguests = 118\nmeat_cost = 300\n"
    old = answered(JOB.replace("2027-06-19", "2020-06-19") + served, now_ms=now_ms)
    assert old.result is not None


def test_the_command_writes_and_shows_a_job(tmp_path: Path) -> None:
    file = str(tmp_path / "job.toml")
    args = ["job", "new", file, "--guests", "60", "--serve-at", "2027-06-19T17:00-05:00", "--place",
            "barn", "--menu", "brisket-packer:70%,pork-butt:30%", "--name", "reunion"]  # fmt: skip
    made = CliRunner().invoke(root, args)
    assert made.exit_code == 0, made.output
    again = CliRunner().invoke(root, args)
    assert "is there already" in str(again.exception)
    shown = CliRunner().invoke(root, ["job", "show", file, "--json"], catch_exceptions=False)
    document = json.loads(shown.stdout)
    assert [dish["cut"] for dish in document["dishes"]] == ["brisket-packer", "pork-butt"]
    text = CliRunner().invoke(root, ["job", "show", file], catch_exceptions=False).output
    assert "Assumed, since you did not say" in text
    times = [event["at"] for event in document["schedule"]["events"]]
    assert all(a <= b for a, b in pairwise(times))


def test_a_first_job_that_is_refused_writes_nothing(tmp_path: Path) -> None:
    file = tmp_path / "job.toml"
    for menu, at, said in (("brisket", "2027-06-19T17:00-05:00", "--menu"),
                           ("brisket-packer", "2020-06-19T17:00-05:00", "--serve-at"),
                           ("brisket-packer", "tonight", "--serve-at")):  # fmt: skip
        run = CliRunner().invoke(root, ["job", "new", str(file), "--guests", "60", "--serve-at", at,
                                        "--place", "barn", "--menu", menu])  # fmt: skip
        assert said in str(run.exception)
        assert not file.exists()


def test_a_change_tells_what_follows_elsewhere() -> None:
    before, after = answered(JOB), answered(JOB.replace("guests = 120", "guests = 190"))
    told = {change.what: (change.before, change.after) for change in follows(before, after)}
    assert told["guests"] == ("120", "190")
    assert told["total"] == (str(before.bill.total), str(after.bill.total))
    assert {"pieces of whole brisket", "deposit", "profit"} <= set(told)
    assert "light the fire by" not in told  # more guests, the same hour
    assert follows(before, before) == ()


def test_the_command_says_what_follows(tmp_path: Path) -> None:
    was, now = tmp_path / "was.toml", tmp_path / "now.toml"
    was.write_text(JOB, encoding="utf-8")
    now.write_text(JOB.replace("17:00:00-05:00", "15:00:00-05:00"), encoding="utf-8")
    args = ["job", "show", str(now), "--against", str(was), "--json"]
    document = json.loads(CliRunner().invoke(root, args, catch_exceptions=False).stdout)
    told = [change["what"] for change in document["changes"]]
    assert told == ["light the fire by", "leave for orchard by"]


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("guests = 120", 'guests = 120\nportion = "5 lb"', "job.portion.*more than anybody eats"),
        ("serve_at = \"2027", "serve_at = \"2072", "more than 5 years off"),
    ],
)  # fmt: skip
def test_what_can_hardly_be_meant_names_its_field(old: str, new: str, words: str) -> None:
    text = re.sub(r"\nportion = .*", "", JOB).replace(old, new)
    with pytest.raises(FieldError, match=words):
        answer_job(parse_job(text), now_ms=NOW_MS)


def test_a_job_whose_hour_is_past_says_so_until_it_is_told_what_came_of_it() -> None:
    answer = answer_job(parse_job(JOB), now_ms=NOW_MS + 200 * 86_400_000)
    assert any("The last serving time was" in note for note in answer.notes)


def test_a_file_of_another_version_says_which_is_read() -> None:
    with pytest.raises(UsageError, match=r"job:2: version = 2: .* reads job files of version 1"):
        parse_job(JOB.replace("version = 1", "version = 2"))


KEPT = """
[[credit]]
what = "sliced brisket"
mass = "2 kg"
price = "10/kg"
is_leftover = true
cooling_met = true
"""


def test_leftovers_are_worth_something_only_where_their_cooling_limit_was_met() -> None:
    assert answered(JOB + KEPT).costs.credits == 20
    assert answered(JOB + KEPT.replace("cooling_met = true", "")).costs.credits == 0
    not_shown = answered(JOB + KEPT, cooled=False)  # what the food log says outweighs the word
    assert not_shown.costs.credits == 0
    assert any("cooling limit" in note for note in not_shown.notes)
    assert answered(JOB + KEPT.replace("cooling_met = true", ""), cooled=True).costs.credits == 20
    rows = [("cooling-reheat", "cooling", True), ("hot-hold", "hot holding", False)]
    assert shown_cooled(rows)
    assert not shown_cooled([*rows, ("cooling-reheat", "cooling", None)])
    assert not shown_cooled([])


def test_only_a_piece_mass_that_nobody_named_is_called_typical() -> None:
    said = [
        any(note.startswith("Piece mass") for note in answered(JOB + order).notes)
        for order in ("", 'piece_from = "12 lb"\npiece_to = "13 lb"\n',
                      'case_pieces = 4\ncase_mass = "52 lb"\n')
    ]  # fmt: skip
    assert said == [True, False, False]


def test_running_short_costs_what_the_missing_meat_is_bought_for() -> None:
    dear, cheap = (
        answered(JOB.replace("guests = 120", "guests = 120\nrisk_pct = 45")
                 + f'[shortage]\nbought_in = "{price}/lb"\n')
        for price in (40, 10)
    )  # fmt: skip
    assert dear.earned.low < cheap.earned.low < cheap.earned.high
    assert dear.earned.high == cheap.earned.high


def test_the_food_log_is_read_where_leftovers_are_to_be_worth_something() -> None:
    cook = JOB.replace("guests = 120", 'guests = 120\ncook = "supper"')
    credit = '[[credit]]\nwhat="{}"\nmass="4 kg"\nprice="12/kg"\nis_leftover={}\n'
    assert cooks_to_look_at(parse_job(cook)) == []
    assert cooks_to_look_at(parse_job(cook + credit.format("tallow", "false"))) == []
    assert cooks_to_look_at(parse_job(cook + credit.format("sliced", "true"))) == ["supper"]


def test_a_card_lists_what_was_cut_off_also_where_nobody_pays_for_it() -> None:
    masses = {
        name: Decimal(mass_g)
        for name, mass_g in (
            ("purchased", 6400),
            ("trim-fat", 900),
            ("trim-lean", 300),
            ("carved", 2900),
        )
    }
    question = CardQuestion(masses, Decimal("0.009"), {"trim-lean": Decimal("0.004")})
    parts = {part.part: part.value for part in price_card(question).card.parts}
    assert parts == {"trim-fat": 0, "trim-lean": Decimal("1.2")}


def test_delivery_is_no_food_in_the_food_cost() -> None:
    plain, delivered = (
        answered(JOB + more).earned
        for more in ("", '[[charge]]\nwhat = "delivery"\ncount = 1\nprice = 500\n')
    )
    assert delivered.income - plain.income >= 500
    assert delivered.food_cost_pct == plain.food_cost_pct
