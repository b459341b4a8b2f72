"""Records from the book of a cook: which weighings count, tare, corrections, doubts."""

from collections.abc import Sequence
from typing import Any

import pytest

from pitlogger.model.book import Book
from pitlogger.model.cooks import Cook, Piece, Stage
from pitlogger.model.folding import fold
from pitlogger.model.journal import (
    Body,
    CookStarted,
    Corrected,
    Entry,
    PieceSplit,
    StageSet,
    Undone,
    Weighed,
)
from pitlogger.yields.books import from_book, from_books
from pitlogger.yields.ledger import accounts
from pitlogger.yields.records import PastPiece
from pitlogger.yields.weighing.uncertainty import KnownScale


def book(*bodies: Body) -> Book:
    cook = Cook("supper", (Piece("b", "brisket-packer"), Piece("c", "brisket-packer")), guests=20)
    all_bodies: Sequence[Body] = (CookStarted(cook), *bodies)
    return fold(Entry("r", seq, seq * 1000, body) for seq, body in enumerate(all_bodies, 1))


def weighed(checkpoint: str, gross_g: float, at: int = 0, **more: Any) -> Weighed:
    more = {"piece": "b", "tare_mg": 0, "interval_mg": 5000, **more}
    return Weighed(checkpoint=checkpoint, gross_mg=round(gross_g * 1000), at_ms=at, **more)


def first(*bodies: Body) -> PastPiece:
    return from_book(book(*bodies))[0]


def net_g(record: PastPiece, checkpoint: str) -> float:
    return record.masses[checkpoint].value


def test_net_is_gross_less_tare() -> None:
    assert net_g(first(weighed("purchased", 6850, tare_mg=450_000)), "purchased") == 6400


def test_the_last_weighing_of_a_checkpoint_counts_and_a_large_change_is_asked() -> None:
    record = first(weighed("rested", 3500, 1), weighed("rested", 3400, 2))
    assert net_g(record, "rested") == 3400
    assert [d.doubt for d in record.doubts] == ["weighed-twice"]


def test_each_checkpoint_weighed_twice_is_asked_about_by_itself() -> None:
    record = first(
        weighed("purchased", 6400, 1), weighed("rested", 3500, 2), weighed("rested", 3400, 3),
        weighed("carved", 3100, 4), weighed("carved", 3101, 5),
    )  # fmt: skip
    asked = [(d.doubt, d.checkpoint) for d in record.doubts if d.doubt == "weighed-twice"]
    assert asked == [("weighed-twice", "rested")]  # one in 3 100 is no difference


def test_by_products_weighed_in_two_goes_add_up() -> None:
    record = first(weighed("trim-fat", 500, 1), weighed("trim-fat", 430, 2))
    assert net_g(record, "trim-fat") == 930
    assert record.doubts == ()


def test_pans_of_one_checkpoint_add_up_by_container() -> None:
    record = first(
        weighed("carved", 2000, 1, tare_mg=450_000, container="pan-1"),
        weighed("carved", 1900, 2, tare_mg=450_000, container="pan-2"),
        weighed("carved", 1950, 3, tare_mg=450_000, container="pan-2"),
    )
    assert net_g(record, "carved") == 1550 + 1500


def test_a_corrected_and_an_undone_weighing_count_as_they_should() -> None:
    record = first(
        weighed("rested", 3500, 1),
        Corrected("r", 2, weighed("rested", 3450, 1)),
        weighed("carved", 3300, 2),
        Undone("r", 4),
    )
    assert net_g(record, "rested") == 3450
    assert "carved" not in record.masses


def test_one_stored_tare_for_two_weighings_is_correlated() -> None:
    # Case D of tests/data/yield_uncertainty_examples.csv.
    scale = KnownScale("bench", 5, 3, 0.001)
    stored = {"tare_mg": 450_000, "channel": "bench", "source": "scale", "container": "pan"}
    held = book(weighed("purchased", 6850, 1, **stored), weighed("rested", 3565, 2, **stored))
    record = from_book(held, {"bench": scale})[0]
    share = record.masses["rested"] / record.masses["purchased"]
    assert share.u == pytest.approx(0.0006372, abs=1e-7)


def test_a_weighing_without_tare_between_two_with_one_is_asked_about() -> None:
    record = first(
        weighed("trimmed", 5500, 1, tare_mg=450_000, channel="bench"),
        weighed("seasoned", 5600, 2, channel="bench"),
        weighed("at-wrap", 4500, 3, tare_mg=450_000, channel="bench"),
    )
    assert [(d.doubt, d.checkpoint) for d in record.doubts] == [("tare-not-taken", "seasoned")]


def test_a_net_mass_of_nothing_is_left_out_and_asked_about() -> None:
    record = first(weighed("purchased", 450, tare_mg=450_000), weighed("rested", 3000, 2))
    assert set(record.masses) == {"rested"}
    assert [d.doubt for d in record.doubts] == ["no-mass"]


def test_two_cooks_of_one_name_stay_two_cooks() -> None:
    history = from_books([book(weighed("purchased", 6400)), book(weighed("purchased", 6100))])
    assert {piece.cook for piece in history.pieces()} == {"supper", "supper #2"}


def test_a_split_in_the_book_closes_in_the_ledger() -> None:
    children = (Piece("b-flat", "brisket-flat"), Piece("b-point", "brisket-point"))
    held = book(
        weighed("purchased", 6400, 1),
        weighed("rested", 3500, 2),
        PieceSplit("b", children),
        weighed("carved", 1800, 3, piece="b-flat"),
        weighed("carved", 1300, 4, piece="b-point"),
    )
    parent = accounts(from_book(held))[0]
    assert parent.servable_g is not None
    assert parent.servable_g.value == pytest.approx(3100)


def test_the_history_of_many_books_keeps_cook_and_guests() -> None:
    history = from_books([book(weighed("purchased", 6400))]).pieces()
    assert {(piece.cook, piece.guests) for piece in history} == {("supper", 20)}


def test_a_discarded_piece_is_lost_by_what_it_weighed_last() -> None:
    record = first(weighed("purchased", 6400, 1), weighed("off-pit", 4000, 2),
                   StageSet("b", Stage.DISCARDED, 3))  # fmt: skip
    assert record.discarded_g is not None
    assert record.discarded_g.value == 4000
    assert first(StageSet("b", Stage.DISCARDED, 3)).discarded_g is None


def test_a_scale_known_to_be_coarse_makes_its_weighings_uncertain() -> None:
    told = book(weighed("purchased", 6400, channel="bench"))
    by = {name: from_book(told, {"bench": KnownScale("bench", 5, repeats_g)})[0]
          for name, repeats_g in (("fine", 0.0), ("coarse", 40.0))}  # fmt: skip
    assert by["coarse"].masses["purchased"].u > 2 * by["fine"].masses["purchased"].u
