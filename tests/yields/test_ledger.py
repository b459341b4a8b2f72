"""The ledger: steps, servable yield, loss by cause, splits, merges, added mass."""

import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pitlogger.formats.written_mass import parse_weights
from pitlogger.model.cooks import AddedMass, ByProduct
from pitlogger.yields.causes import CHAIN, cause_of
from pitlogger.yields.document import piece_document
from pitlogger.yields.inspected_plant import barbecue_limit
from pitlogger.yields.ledger import Account, account, accounts, accounts_of_history, discarded_g
from pitlogger.yields.records import PastPiece, from_weights
from pitlogger.yields.weighing.uncertainty import Measured

FULL = (
    "purchased=14.20lb,trimmed=11.30lb,seasoned=11.52lb,at-wrap=8.95lb,rested=7.72lb,carved=7.05lb"
)
LB = 453.59237


def of(weights: str, **more: object) -> Account:
    record = from_weights(parse_weights(weights))
    masses = record.masses
    return account(PastPiece("p", masses=masses, **more))  # type: ignore[arg-type]


def grams(**masses: float) -> dict[str, Measured]:
    return {name.replace("_", "-"): Measured(g, {name: 1.0}) for name, g in masses.items()}


def test_the_worked_brisket_chain_gives_its_published_steps() -> None:
    # Invented chain of tests/data/butchers_yield_test_example.csv, arithmetic checked there.
    one = of(FULL)
    ratios = [step.ratio.value for step in one.steps]
    assert ratios == pytest.approx([0.795775, 1.019469, 0.77691, 0.86257, 0.913212], abs=1e-6)
    assert one.servable_yield is not None
    assert one.servable_yield.value == pytest.approx(0.496479, abs=1e-6)


def test_each_loss_has_its_cause_and_they_close() -> None:
    one = of(FULL)
    assert list(one.losses_g) == ["trim", "rub", "smoke", "wrapped+rest", "carve"]
    assert one.losses_g["rub"].value == pytest.approx(-0.22 * LB, abs=0.01)
    lost = sum(loss.value for loss in one.losses_g.values())
    assert lost == pytest.approx((14.20 - 7.05) * LB, abs=0.01)


def test_a_missing_checkpoint_joins_causes_and_invents_nothing() -> None:
    one = of("purchased=10kg,carved=5kg")
    assert [(s.start, s.end) for s in one.steps] == [("purchased", "carved")]
    assert list(one.losses_g) == ["trim+cook+rest+carve"]


@pytest.mark.parametrize("weights", ["trimmed=5kg,carved=3kg", "purchased=7kg,off-pit=4kg"])
def test_without_both_masses_there_is_no_servable_yield(weights: str) -> None:
    document = piece_document(of(weights))
    assert document["servable_pct"] is None
    assert document["steps"]


def test_servable_is_rested_where_nothing_was_carved() -> None:
    one = of("purchased=10kg,rested=6kg")
    assert one.servable_yield is not None
    assert one.servable_yield.value == pytest.approx(0.6)


@pytest.mark.parametrize(
    ("start", "end", "cause"),
    [
        ("at-wrap", "unwrapped", "wrapped"),
        ("unwrapped", "off-pit", "uncovered"),
        ("unwrapped", "rested", "rest"),
        ("seasoned", "off-pit", "cook"),
        ("label", "trimmed", "purge+trim"),
        ("carved", "served", "line"),
    ],
)
def test_causes_are_named_by_what_lies_between(start: str, end: str, cause: str) -> None:
    assert cause_of(start, end) == cause


def test_added_mass_does_not_hide_a_loss() -> None:
    one = account(PastPiece("p", masses=grams(seasoned=5000, at_wrap=4000, spritz=150)))
    assert one.losses_g["smoke"].value == pytest.approx(1150)
    assert one.losses_g["spritz"].value == pytest.approx(-150)


def test_weighed_rub_shows_what_fell_off() -> None:
    one = account(PastPiece("p", masses=grams(trimmed=5000, seasoned=5090, rub=120)))
    assert one.losses_g["rub"].value == pytest.approx(-120)
    assert one.losses_g["seasoning"].value == pytest.approx(30)


def test_juice_kept_in_foil_is_set_apart() -> None:
    masses = grams(at_wrap=4000, off_pit=3500, drippings=300)
    assert account(PastPiece("p", masses=masses, wrap="foil")).losses_g["kept-in-wrap"].value == 300
    assert account(PastPiece("p", masses=masses, wrap="paper")).losses_g["drippings"].value == 300


def test_purge_weighed_without_a_label_is_a_loss_before_purchase() -> None:
    assert (
        account(PastPiece("p", masses=grams(purchased=6000, purge=80))).losses_g["purge"].value
        == 80
    )


def test_trim_by_products_leave_a_named_cutting_loss() -> None:
    masses = grams(purchased=6441, trimmed=5126, trim_fat=930, trim_lean=363)
    (balance,) = account(PastPiece("p", masses=masses)).balances
    assert balance.step == "trimmed"
    assert balance.unaccounted_g.value == pytest.approx(22)


def test_line_and_leftover_are_told_apart() -> None:
    one = account(PastPiece("p", masses=grams(carved=3200, served=2500, leftover=500, tasting=60)))
    assert one.losses_g["line"].value == pytest.approx(200)
    assert one.losses_g["leftover"].value == pytest.approx(500)


SPLIT = [
    PastPiece("b", masses=grams(purchased=6400, rested=3500), children=("b-flat", "b-point")),
    PastPiece("b-flat", masses=grams(rested=2000, carved=1800), parents=("b",)),
    PastPiece("b-point", masses=grams(rested=1480, carved=1300), parents=("b",)),
]


def test_split_children_close_to_the_parent_with_an_unaccounted_line() -> None:
    parent = accounts(SPLIT)[0]
    assert parent.servable_g is not None
    assert parent.servable_g.value == pytest.approx(3100)
    assert parent.losses_g["unaccounted"].value == pytest.approx(20)
    assert parent.losses_g["carve"].value == pytest.approx(380)
    assert sum(x.value for x in parent.losses_g.values()) == pytest.approx(6400 - 3100)
    assert parent.balances[-1].step == "split"


def test_a_child_not_yet_carved_leaves_the_parent_at_its_last_common_weighing() -> None:
    unfinished = [*SPLIT[:2], PastPiece("b-point", masses=grams(rested=1480), parents=("b",))]
    parent = accounts(unfinished)[0]
    assert [step.end for step in parent.steps] == ["rested"]
    assert parent.servable_g is not None
    assert parent.servable_g.value == pytest.approx(3480)


def test_merged_pieces_begin_with_the_sum_of_their_parents() -> None:
    cook = [
        PastPiece("a", masses=grams(purchased=3600, rested=2200), children=("all",)),
        PastPiece("b", masses=grams(purchased=3400, rested=2000), children=("all",)),
        PastPiece("all", masses=grams(carved=3800), parents=("a", "b")),
    ]
    merged = accounts(cook)[2]
    assert merged.servable_yield is not None
    assert merged.servable_yield.value == pytest.approx(3800 / 7000)


def test_pieces_of_the_same_name_in_two_cooks_stay_apart() -> None:
    history = [
        PastPiece("b", cook="one", masses=grams(purchased=6000, carved=3000)),
        PastPiece("b", cook="two", masses=grams(purchased=7000, carved=3300)),
    ]
    assert [len(one.doubts) for one in accounts_of_history(history)] == [0, 0]


def test_the_plant_limit_is_seventy_percent_of_fresh() -> None:
    # 9 CFR 319.80.
    assert barbecue_limit(of("trimmed=10kg,off-pit=7.0kg")).met is True
    assert barbecue_limit(of("trimmed=10kg,off-pit=7.1kg")).met is False
    assert barbecue_limit(of("purchased=10kg,carved=5kg")).met is None


names = st.sampled_from([*CHAIN, *ByProduct, *AddedMass])


@given(st.dictionaries(names, st.floats(1, 9000), max_size=14), st.sampled_from(["foil", "none"]))
def test_losses_always_sum_to_first_less_last(masses: dict[str, float], wrap: str) -> None:
    record = PastPiece("p", masses={n: Measured(g, {n: 1.0}) for n, g in masses.items()}, wrap=wrap)
    one = account(record)
    chain = [c for c in CHAIN if c in masses]
    lost = math.fsum(x.value for name, x in one.losses_g.items())
    if chain and chain[0] == "purchased":
        lost -= masses.get("purge", 0.0)
    first_less_last = masses[chain[0]] - masses[chain[-1]] if chain else 0.0
    assert lost == pytest.approx(first_less_last, abs=1e-6)


def test_the_document_gives_the_servable_share_in_percent_of_what_was_bought() -> None:
    document = piece_document(of("purchased=8kg,carved=3.71kg"))
    assert document["servable_pct"] == pytest.approx(46.375)
    assert 0.0 < document["u_servable_pct"] < 1.0


def test_what_was_thrown_away_is_what_fell_off_and_what_a_piece_ended_as() -> None:
    kept = PastPiece("b", "brisket-packer")
    assert discarded_g(kept) == 0
    dropped = replace(kept, drops=(("rested", Measured(250.0)),))
    assert discarded_g(dropped) == 250
    assert discarded_g(replace(dropped, discarded_g=Measured(2900.0))) == 3150
