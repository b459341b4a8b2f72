"""``pitlogger price``: cards, prices, bad input."""

from __future__ import annotations

import json
from typing import Any

import pytest
from click.testing import CliRunner

from pitlogger.cli.ahead.price import price
from pitlogger.errors import UsageError

CHAIN = (
    "purchased=14.2lb,trimmed=11.3lb,trim-fat=2.05lb,trim-lean=0.8lb,rested=7.72lb,carved=7.05lb"
)
BRISKET = (
    "--weights", CHAIN, "--price", "4.29/lb", "--credit", "trim-fat=0.25/lb",
    "--credit", "trim-lean=3.50/lb",
)  # fmt: skip


def run(*args: str) -> Any:
    result = CliRunner().invoke(price, [*args, "--json"], catch_exceptions=False)
    assert result.exit_code == 0, result.output
    return json.loads(result.stdout)


def test_the_worked_chain_gives_its_costs() -> None:
    # tests/data/butchers_yield_test_example.csv, brisket_invented.
    document = run(*BRISKET, "--portion", "5oz")
    card = document["card"]
    assert card["credit"] == pytest.approx(3.3125, abs=1e-5)
    assert card["net_cost"] == pytest.approx(57.6055, abs=1e-5)
    assert card["salable"]["cost_per_lb"] == pytest.approx(8.170993, abs=1e-5)
    assert card["salable"]["gross_cost_per_lb"] == pytest.approx(8.640851, abs=1e-5)
    assert card["salable"]["factor"] == pytest.approx(1.90466, abs=1e-5)
    assert card["cutting_loss_g"] == pytest.approx(22.68, abs=0.01)
    assert document["portion"]["cost"] == pytest.approx(2.553435, abs=1e-4)
    assert document["portion"]["factor_per_lb_price"] == pytest.approx(0.595206, abs=1e-4)
    assert document["portion"]["portions"] == pytest.approx(22.56, abs=1e-3)


def test_prices_are_given_for_what_is_asked() -> None:
    prices = run(
        *BRISKET, "--portion", "5oz", "--target-pct", "30", "--margin", "9", "--menu-price", "14",
        "--labour", "1.80", "--prime-cost-pct", "60", "--fixed", "900",
    )["prices"]  # fmt: skip
    assert prices["by_food_cost"] == pytest.approx(8.511451, abs=1e-3)
    assert prices["by_margin"] == pytest.approx(11.553435, abs=1e-3)
    assert prices["by_prime_cost"] == pytest.approx(7.255725, abs=1e-3)
    assert prices["margin_at_menu_price"] == pytest.approx(11.446565, abs=1e-3)
    assert prices["break_even_guests"] == 79


def test_a_textbook_card_with_parts_of_other_names() -> None:
    document = run(
        "--weights", "purchased=38.75lb,trimmed=22lb,rested=20.25lb,bone=1.25lb",
        "--price", "3.19/lb", "--part", "fat=6.5lb", "--part", "bones=4.25lb@0.32/lb",
        "--part", "short ribs=3.25lb@1.49/lb", "--part", "chopped beef=2.5lb@1.59/lb",
        "--portion", "10oz", "--new-price", "3.49/lb",
    )  # fmt: skip
    assert document["card"]["salable"]["cost_per_lb"] == pytest.approx(5.970263, abs=1e-5)
    assert document["card"]["salable"]["pct_of_purchased"] == pytest.approx(49.0323, abs=1e-3)
    assert document["card"]["loss_in_cooking_g"] == pytest.approx(1.75 * 453.59237, abs=0.01)
    assert document["at_new_price"]["portion_cost"] == pytest.approx(4.082331, abs=1e-4)


def test_cost_is_of_the_billed_mass_where_a_label_was_kept() -> None:
    document = run("--weights", "label=10kg,purchased=9.8kg,carved=5kg", "--price", "10/kg")
    assert document["card"]["cost"] == pytest.approx(100)
    assert document["card"]["salable"]["cost_per_kg"] == pytest.approx(20)


def test_printed_cards_round_each_credit_line() -> None:
    document = run(
        "--weights", "purchased=30lb,trimmed=18lb", "--price", "5/lb", "--as-printed",
        "--part", "fat=2.5lb@0.12/lb", "--part", "bone=3.3125lb@0.38/lb",
        "--part", "ground=2.125lb@4.89/lb", "--part", "stew=3lb@5.29/lb", "--part", "waste=0.875lb",
    )  # fmt: skip
    assert document["card"]["credit"] == pytest.approx(27.82)
    assert document["card"]["usable"]["factor"] == pytest.approx(1.35756, abs=1e-5)


@pytest.mark.parametrize(
    ("args", "said"),
    [
        ((), "--weights with --price"),
        (("--weights", "carved=5kg", "--price", "4/kg"), "purchased is missing"),
        (("--weights", "purchased=5kg", "--price", "4/kg"), "nothing is usable"),
        (("--weights", CHAIN, "--price", "4.29"), "money per unit"),
        (("--weights", CHAIN, "--price", "4/lb", "--credit", "tallow=1/lb"), "no mass"),
        (("--weights", CHAIN, "--price", "4/lb", "--part", "stew"), "cannot be read"),
        ((*BRISKET, "--portion", "5oz", "--target-pct", "0"), "not above 0"),
        ((*BRISKET, "--portion", "5oz", "--prime-cost-pct", "60"), "needs --labour"),
        ((*BRISKET, "--portion", "5oz", "--fixed", "60"), "needs --menu-price"),
    ],
)
def test_bad_questions_are_refused_with_a_reason(args: tuple[str, ...], said: str) -> None:
    result = CliRunner().invoke(price, list(args))
    assert isinstance(result.exception, UsageError), result.output
    assert said in str(result.exception)
