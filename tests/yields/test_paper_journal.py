"""A paper log on record: folding its journal gives the history the file gives."""

from datetime import UTC, datetime

import pytest

from pitlogger.formats.paper_journal import cooks_of
from pitlogger.formats.paper_log import parse_paper_log
from pitlogger.model.book import Book
from pitlogger.model.folding import fold
from pitlogger.model.journal import Entry
from pitlogger.yields.books import from_books
from pitlogger.yields.learned.servable import learn, observations
from pitlogger.yields.records import from_paper

LOG = b"""date,cook,piece,cut,purchased,trimmed,carved,trim-fat,notes,guests,wrap
2026-05-09,may,b,brisket-packer,6.40 kg,5.10 kg,3.15 kg,800 g,windy,30,paper
2026-05-09,may,b,brisket-packer,6.10 kg,4.90 kg,2.95 kg,,,,foil
2026-05-02,,x,pork-butt,3.60 kg,,1.95 kg,,,,
"""
ROWS = parse_paper_log(LOG).all_rows()


def books() -> list[Book]:
    return [
        fold(Entry("import", k, t_ms, body) for k, (t_ms, body) in enumerate(cook.bodies, 1))
        for cook in cooks_of(ROWS)
    ]


def test_cooks_come_oldest_first_with_their_day() -> None:
    first, second = cooks_of(ROWS)
    assert (first.name, second.name) == ("2026-05-02", "may")
    assert datetime.fromtimestamp(first.start_ms / 1000, UTC).isoformat() == (
        "2026-05-02T12:00:00+00:00"
    )


def test_times_never_run_back() -> None:
    for cook in cooks_of(ROWS):
        times = [t_ms for t_ms, _ in cook.bodies]
        assert times == sorted(times)


def test_a_piece_named_twice_stays_two_pieces() -> None:
    assert set(books()[1].pieces) == {"b", "b-2"}


@pytest.mark.parametrize("cut", ["brisket-packer", "pork-butt"])
def test_what_is_learned_from_the_record_is_what_the_file_teaches(cut: str) -> None:
    of_file = learn(cut, observations(from_paper(ROWS).pieces()))
    of_record = learn(cut, observations(from_books(books()).pieces()))
    assert of_record.n == of_file.n
    assert of_record.quantile(0.1) == pytest.approx(of_file.quantile(0.1))


def test_notes_and_guests_are_kept() -> None:
    piece = next(p for p in from_books(books()).pieces() if p.piece == "b")
    assert (piece.notes, piece.guests, piece.wrap) == ("windy", 30, "paper")
