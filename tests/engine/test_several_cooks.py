"""Two cooks at once on one node: each with its pieces, its end, its record; one pit, one alarm."""

from __future__ import annotations

from dataclasses import replace

import pytest

from pitlogger.bootstrap.policies import load_policy
from pitlogger.engine.restart import begin_run, catch_up, decisions
from pitlogger.engine.state import EngineState
from pitlogger.engine.step import Engine
from pitlogger.errors import RefusedError, UsageError
from pitlogger.formats.cook_file import parse_cook
from pitlogger.model.alerts import ACTIVE
from pitlogger.model.belonging import cooks_of
from pitlogger.model.book import Book
from pitlogger.model.cooks import Piece, Stage
from pitlogger.model.folding import fold
from pitlogger.model.journal import (
    AlertChanged,
    Body,
    CookFinished,
    CookStarted,
    Entry,
    Noted,
    PieceAdded,
    PiecesMerged,
    StageSet,
    Undone,
    Weighed,
)

from .conftest import START_MS, Kitchen


def cook_text(name: str, piece: str, pit: str = "pit", guests: int = 40) -> str:
    return f"""
[cook]
name = "{name}"
guests = {guests}
[[piece]]
id = "{piece}"
cut = "brisket-packer"
mass = "14 lb"
pit = "{pit}"
pull_at = "203F"
[[channel]]
id = "{piece}/core"
site = "core"
piece = "{piece}"
[[channel]]
id = "{pit}"
site = "pit"
low = "225F"
high = "275F"
"""


def started(name: str, piece: str, pit: str = "pit", guests: int = 40) -> CookStarted:
    cook = parse_cook(cook_text(name, piece, pit, guests))
    return CookStarted(replace(cook, id=f"id-{name}"))


@pytest.fixture
def two() -> Kitchen:
    """A wedding with brisket-1 and a market with brisket-2 on the same pit."""
    kitchen = Kitchen(cook=None)
    kitchen.say(started("wedding", "brisket-1"))
    kitchen.t_ms += 3_600_000
    kitchen.say(started("market", "brisket-2"))
    return kitchen


def open_ids(book: Book) -> tuple[str, ...]:
    return tuple(book.open_cooks())


def owners(kitchen: Kitchen, body: Body) -> tuple[str, ...]:
    return cooks_of(body, kitchen.engine.book, kitchen.engine.state.entries)


def test_a_second_cook_begins_beside_the_first(two: Kitchen) -> None:
    assert open_ids(two.engine.book) == ("id-wedding", "id-market")
    assert list(two.engine.book.pieces) == ["brisket-1", "brisket-2"]
    each = [two.engine.book.only(cook) for cook in open_ids(two.engine.book)]
    assert [list(one.pieces) for one in each] == [["brisket-1"], ["brisket-2"]]
    two.stage(Stage.SMOKING, "brisket-1")
    two.stage(Stage.SMOKING, "brisket-2")
    assert {held.stage for held in two.engine.book.pieces.values()} == {Stage.SMOKING}


def test_what_the_first_cook_reads_is_not_forgotten_when_the_second_begins() -> None:
    kitchen = Kitchen(cook=None)
    kitchen.say(started("wedding", "brisket-1"))
    kitchen.stage(Stage.SMOKING, "brisket-1")
    kitchen.hold(150.0, 700, "brisket-1/core")
    before = kitchen.engine.state.channels["brisket-1/core"].minutes_mc[:]
    kitchen.say(started("market", "brisket-2"))
    assert kitchen.engine.state.channels["brisket-1/core"].minutes_mc == before
    assert kitchen.engine.book.cores("brisket-1") == ["brisket-1/core"]


def test_a_piece_id_is_unique_among_open_cooks(two: Kitchen) -> None:
    with pytest.raises(UsageError, match="a piece 'brisket-1' in 'wedding' already"):
        two.say(started("third", "brisket-1"))
    with pytest.raises(UsageError, match="a piece 'brisket-1' already"):
        two.say(PieceAdded(Piece("brisket-1"), "id-market"))
    with pytest.raises(UsageError, match="of two cooks"):
        two.say(PiecesMerged(("brisket-1", "brisket-2"), Piece("pulled")))
    two.say(CookFinished("wedding", "id-wedding"))
    two.say(started("third", "brisket-1"))
    assert two.engine.book.pieces["brisket-1"].cook == "id-third"


def test_which_cook_is_meant_is_never_guessed(two: Kitchen) -> None:
    for body in (CookFinished(""), PieceAdded(Piece("flat"))):
        with pytest.raises(UsageError, match="which cook is meant"):
            two.say(body)
    with pytest.raises(UsageError, match="open cook"):
        two.say(CookFinished("", "id-weding"))
    two.say(PieceAdded(Piece("flat"), "id-wedding"))
    assert two.engine.book.pieces["flat"].cook == "id-wedding"


def test_one_is_finished_while_the_other_goes_on(two: Kitchen) -> None:
    two.stage(Stage.SMOKING, "brisket-1")
    two.stage(Stage.SMOKING, "brisket-2")
    two.hold(250.0, 600, "pit")
    two.say(CookFinished("wedding", "id-wedding"))
    assert open_ids(two.engine.book) == ("id-market",)
    assert [name for name, held in two.engine.book.pieces.items() if held.is_open] == ["brisket-2"]
    assert two.engine.book.finished_ms is None
    with pytest.raises(UsageError, match="brisket-1"):
        two.stage(Stage.RESTING, "brisket-1")
    two.stage(Stage.RESTING, "brisket-2")
    two.say(CookFinished("market"))
    assert open_ids(two.engine.book) == ()
    with pytest.raises(RefusedError, match="no cook is running"):
        two.stage(Stage.CARVED, "brisket-2")


def test_finishing_one_takes_its_own_alerts_alone(two: Kitchen) -> None:
    for piece in ("brisket-1", "brisket-2"):
        two.stage(Stage.SMOKING, piece)
        two.hold(204.0, 200, f"{piece}/core")
    active = {watch.key for watch in two.engine.state.watches.values() if watch.state in ACTIVE}
    assert {"pull-due/brisket-1", "pull-due/brisket-2"} <= active
    two.say(CookFinished("wedding", "id-wedding"))
    after = {watch.key for watch in two.engine.state.watches.values() if watch.state in ACTIVE}
    assert "pull-due/brisket-1" not in after
    assert "pull-due/brisket-2" in after


def test_a_finish_taken_back_opens_that_cook_again(two: Kitchen) -> None:
    two.stage(Stage.SMOKING, "brisket-1")
    two.say(CookFinished("wedding", "id-wedding"))
    finish = next(e for e in reversed(two.entries()) if isinstance(e.body, CookFinished))
    two.say(Undone(finish.run, finish.seq))
    assert set(open_ids(two.engine.book)) == {"id-wedding", "id-market"}
    assert two.engine.book.pieces["brisket-1"].stage is Stage.SMOKING


def test_alarms_of_a_shared_pit_come_once_and_belong_to_both(two: Kitchen) -> None:
    two.stage(Stage.SMOKING, "brisket-1")
    two.stage(Stage.SMOKING, "brisket-2")
    two.hold(250.0, 900, "pit")
    two.hold(150.0, 3600, "pit")
    changes = [e.body for e in two.entries() if isinstance(e.body, AlertChanged)]
    raised = [c for c in changes if c.alert_kind == "pit-low" and c.now in ACTIVE]
    assert len(raised) == 1
    assert owners(two, raised[0]) == ("id-wedding", "id-market")


def test_each_entry_belongs_to_the_cook_of_its_piece(two: Kitchen) -> None:
    assert owners(two, StageSet("brisket-2", Stage.SMOKING, two.t_ms)) == ("id-market",)
    assert owners(two, Noted("rain", cook="id-wedding")) == ("id-wedding",)
    assert owners(two, Noted("rain")) == ("id-wedding", "id-market")
    two.stage(Stage.SMOKING, "brisket-1")
    mark = next(e for e in reversed(two.entries()) if isinstance(e.body, StageSet))
    assert owners(two, Undone(mark.run, mark.seq)) == ("id-wedding",)


def test_each_cook_is_judged_by_its_own_guests() -> None:
    kitchen = Kitchen(cook=None)
    kitchen.say(started("wedding", "brisket-1", guests=200))
    kitchen.say(started("market", "brisket-2", guests=4))
    kitchen.stage(Stage.SMOKING, "brisket-1")
    kitchen.stage(Stage.SMOKING, "brisket-2")
    for piece in ("brisket-1", "brisket-2"):
        kitchen.say(Weighed(piece, "off-pit", 4_000_000, 0, kitchen.t_ms))
    told = {
        watch.key for watch in kitchen.engine.state.watches.values()
        if watch.kind == "short-of-meat" and watch.state in ACTIVE
    }  # fmt: skip
    assert told == {"short-of-meat/node"}  # of the cook that began alone


def test_killed_and_restarted_equals_never_killed(two: Kitchen) -> None:
    two.stage(Stage.SMOKING, "brisket-1")
    two.stage(Stage.SMOKING, "brisket-2")
    two.say(CookFinished("wedding", "id-wedding"))
    journal: list[Entry] = two.entries()
    again = Engine(EngineState("r"), load_policy())
    assert catch_up(again, journal, ()) == []
    again.state.entries = decisions(journal)
    begin_run(again, "s", two.t_ms)
    fresh = Engine(again.state, load_policy())
    assert fresh.book.cooks == two.engine.book.cooks
    assert fresh.book.pieces == two.engine.book.pieces


def test_the_part_of_a_cook_is_its_own_record(two: Kitchen) -> None:
    two.stage(Stage.SMOKING, "brisket-1")
    two.stage(Stage.SMOKING, "brisket-2")
    entries = two.engine.state.entries
    book = two.engine.book
    for cook in open_ids(book):
        own = fold(e for e in entries if cook in cooks_of(e.body, book, entries))
        assert own.pieces == book.only(cook).pieces
        assert own.cook == book.only(cook).cook


def test_cooks_without_ids_are_told_apart_too() -> None:
    kitchen = Kitchen(cook=None)
    kitchen.say(CookStarted(parse_cook(cook_text("wedding", "brisket-1"))))
    kitchen.say(CookStarted(parse_cook(cook_text("market", "brisket-2"))))
    assert len(open_ids(kitchen.engine.book)) == 2
    assert kitchen.engine.book.started_ms == START_MS
