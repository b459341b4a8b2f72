"""What a capture puts on record: cooks apart, ended, without the keys of another node."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from pitlogger.errors import CaptureError, UsageError
from pitlogger.formats.cook_file import parse_cook
from pitlogger.formats.journal_json import dump_body
from pitlogger.model.journal import Body, CookFinished, CookStarted, Noted, Undone
from pitlogger.model.readings import Quality, Site, Tagged
from pitlogger.node.past_capture import ChannelReadings, Imported, imported

START_S = 1_790_000_400
COOK = '[cook]\nname = "{name}"\n[[piece]]\nid = "b1"\ncut = "brisket-packer"\n'


def said(at_s: int, body: Body, seq: int, **more: Any) -> dict[str, Any]:
    entry = {"run": "r1", "seq": seq, "t_ms": at_s * 1000, **more, **dump_body(body)}
    return {"n": "journal", "vs": json.dumps(entry), "t": at_s}


def read(at_s: int, celsius: float) -> dict[str, Any]:
    return {"n": "b1/core", "u": "Cel", "v": celsius, "t": at_s}


def started(at_s: int, name: str, seq: int) -> dict[str, Any]:
    return said(at_s, CookStarted(parse_cook(COOK.format(name=name))), seq)


def put(folder: Path, *records: dict[str, Any]) -> Imported:
    path = folder / "cook.senml"
    path.write_text("".join(f"[{json.dumps(one)}]\n" for one in records), encoding="utf-8")
    return imported(path)


def kinds(made: Imported, cook: str) -> list[str]:
    return [entry.body.kind for entry, of in made.entries if cook in of]


def test_two_cooks_of_one_capture_stay_two(tmp_path: Path) -> None:
    made = put(
        tmp_path, started(START_S, "one", 1), read(START_S + 1, 5.0),
        said(START_S + 60, CookFinished("one"), 2),
        started(START_S + 120, "two", 3), read(START_S + 121, 6.0),
    )  # fmt: skip
    one, two = made.books
    assert ("-one-" in one, "-two-" in two) == (True, True)
    assert kinds(made, one)[-1] == "cook-finished"
    assert kinds(made, two)[-1] == "cook-finished"  # the capture left it open
    assert made.origin == ("r1", 1)
    assert made.readings == 2


def test_a_finish_that_was_taken_back_belongs_to_its_cook(tmp_path: Path) -> None:
    made = put(
        tmp_path, started(START_S, "one", 1), said(START_S + 60, CookFinished("one"), 2),
        said(START_S + 70, Undone("r1", 2), 3), said(START_S + 80, Noted("on it goes"), 4),
    )  # fmt: skip
    (cook,) = made.books
    assert [kind for kind in kinds(made, cook) if kind != "alert-changed"] == [
        "cook-started", "cook-finished", "undone", "noted", "cook-finished",
    ]  # fmt: skip


def test_a_key_of_another_node_is_not_taken_over(tmp_path: Path) -> None:
    made = put(
        tmp_path, started(START_S, "one", 1),
        said(START_S + 1, Noted("twice"), 2, key="tap-1", by="MK"),
    )  # fmt: skip
    (entry,) = (entry for entry, _ in made.entries if isinstance(entry.body, Noted))
    assert (entry.key, entry.by) == ("", "MK")


def test_the_same_file_is_the_same_run(tmp_path: Path) -> None:
    first = put(tmp_path, started(START_S, "one", 1))
    assert put(tmp_path, started(START_S, "one", 1)).run == first.run
    assert put(tmp_path, started(START_S, "other", 1)).run != first.run


def test_an_empty_capture_and_one_without_a_cook_are_told_apart(tmp_path: Path) -> None:
    with pytest.raises(CaptureError, match="nothing in it"):
        put(tmp_path)
    with pytest.raises(UsageError, match="--cook"):
        put(tmp_path, read(START_S, 5.0))


def test_a_column_gives_back_what_it_took() -> None:
    given = [
        Tagged("b1/core", 1, 5, 6, Quality.GOOD, Site.CORE, "b1"),
        Tagged("b1/core", 2, None, None, Quality.OPEN, Site.CORE, "b1", None),
        Tagged("b1/core", 3, 7, 7, Quality.TOO_FAST, Site.CORE, "b1", True),
        Tagged("b1/core", 4, 8, 8, Quality.GOOD, Site.CORE, "b1", False),
    ]
    column = ChannelReadings()
    for reading in given:
        column.take(reading)
    assert column.part(1, 4) == {
        "t_ms": [2, 3, 4],
        "raw": [None, 7, 8],
        "value": [None, 7, 8],
        "quality": ["open", "too-fast", "good"],
        "stable": [None, True, False],
    }
