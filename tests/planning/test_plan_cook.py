"""A plan and a shopping list by cook: its guests, its hour, its pieces as weighed last."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from pitlogger.cli import root
from pitlogger.cli.records import past
from pitlogger.errors import FieldError
from pitlogger.formats.cook_file import parse_cook
from pitlogger.model.book import Book
from pitlogger.model.cooks import Stage
from pitlogger.model.folding import fold
from pitlogger.model.journal import Body, CookFinished, CookStarted, Entry, StageSet, Weighed
from pitlogger.planning.past import PastCooks
from pitlogger.planning.plan_cook import asked_of_cook

COOK = """
[cook]
name = "{name}"
guests = 40
portion = "5 oz"
[[piece]]
id = "{name}-1"
cut = "brisket-packer"
mass = "6.4 kg"
[[piece]]
id = "{name}-2"
cut = "brisket-packer"
mass = "6 kg"
"""


def book(name: str, *bodies: Body) -> Book:
    said = (CookStarted(parse_cook(COOK.format(name=name))), *bodies)
    return fold([Entry("r", seq, seq * 1000, body) for seq, body in enumerate(said, 1)])


def weighed(piece: str, checkpoint: str, kg: float) -> Weighed:
    return Weighed(piece, checkpoint, round(kg * 1e6), 0, 5000)


def test_pieces_count_where_all_of_them_were_weighed_last() -> None:
    bought = [weighed("supper-1", "purchased", 6.5), weighed("supper-2", "purchased", 6)]
    held = book("supper", *bought, weighed("supper-1", "at-wrap", 4.4))
    assert held.cook is not None
    told = asked_of_cook(held.cook, held)
    assert (told["pieces"], told["weighed_at"]) == ("6500 g,6000 g", "purchased")
    wrapped = [weighed("supper-1", "at-wrap", 4.4), weighed("supper-2", "at-wrap", 4.1)]
    later = book("supper", *wrapped)
    told = asked_of_cook(held.cook, later)
    assert (told["pieces"], told["weighed_at"]) == ("4400 g,4100 g", "at-wrap")
    assert (told["guests"], told["cut"]) == ("40", "brisket-packer")


def test_what_was_discarded_feeds_nobody_and_what_was_not_weighed_counts_as_planned() -> None:
    held = book("supper", StageSet("supper-1", Stage.DISCARDED, 6000))
    assert held.cook is not None
    assert asked_of_cook(held.cook, held)["pieces"] == "6000 g"
    assert asked_of_cook(held.cook)["pieces"] == "6400 g,6000 g"


def test_several_cuts_are_asked_about_and_another_is_refused() -> None:
    text = COOK.format(name="supper").replace("brisket-packer", "pork-butt", 1)
    with pytest.raises(FieldError, match="has pork-butt, brisket-packer: say which"):
        asked_of_cook(parse_cook(text))
    with pytest.raises(FieldError, match="has no tri-tip"):
        asked_of_cook(parse_cook(text), cut="tri-tip")
    assert asked_of_cook(parse_cook(text), cut="pork-butt")["pieces"] == "6400 g"


def test_the_commands_answer_for_the_cook_that_is_named(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    held = [
        book(name, *(weighed(f"{name}-{n}", "purchased", kg) for n in (1, 2)))
        for name, kg in (("supper", 6.0), ("market", 7.0))
    ]
    monkeypatch.setattr(past, "books", lambda: held)
    documents = {
        name: json.loads(CliRunner().invoke(root, ["plan", "--cook", name, "--json"]).output)
        for name in ("supper", "market")
    }
    last = {name: document["options"][-1] for name, document in documents.items()}
    assert [one["pieces"] for one in last.values()] == [2, 2]
    assert last["market"]["expected_g"] / last["supper"]["expected_g"] == pytest.approx(7 / 6)
    done = CliRunner().invoke(root, ["plan", "--cook", "lunch"])
    assert "unknown open cook 'lunch'; known: supper, market" in str(done.exception)
    out = tmp_path / "list.html"
    listed = ["report", "shopping", "--cook", "supper", "--cook", "market", "--out", str(out)]
    assert CliRunner().invoke(root, listed).exit_code == 0
    text = out.read_text("utf-8")
    assert "whole brisket (supper)" in text
    assert "whole brisket (market)" in text


def test_without_guests_it_says_what_is_missing() -> None:
    done = CliRunner().invoke(root, ["plan", "--cut", "brisket-packer", "--portion", "5oz"])
    assert str(done.exception) == "--guests is missing: how many are booked"


def test_only_a_cook_that_is_not_finished_is_under_way() -> None:
    books = [book("supper"), book("market", CookFinished("market"))]
    assert list(PastCooks.from_books(books).under_way) == ["supper"]
