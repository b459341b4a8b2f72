"""A whole cook from a pad, with its times and without."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from pitlogger.errors import CookFileError, UsageError
from pitlogger.formats.pad_file import load_pad
from pitlogger.formats.paper_journal import PaperCook
from pitlogger.model.book import Book
from pitlogger.model.cooks import Stage
from pitlogger.model.folding import fold
from pitlogger.model.journal import Entry

ZONE = ZoneInfo("America/Chicago")
NOW = datetime(2026, 9, 20, 12, tzinfo=ZONE)
PAD = """
[cook]
name = "harvest supper"
started = "2026-09-18 20:00"
guests = 18

[[piece]]
id = "brisket-1"
cut = "brisket-packer"

[[entry]]
piece = "brisket-1"
checkpoint = "purchased"
mass = "14.2 lb"
[[entry]]
at = "9 pm"
piece = "brisket-1"
stage = "smoking"
[[entry]]
at = "04:10"
piece = "brisket-1"
stage = "wrapped"
wrap = "paper"
[[entry]]
at = "9:30"
piece = "brisket-1"
temp = "203F"
[[entry]]
piece = "brisket-1"
stage = "resting"
[[entry]]
piece = "brisket-1"
checkpoint = "carved"
mass = "7.05 lb"
[meal]
came = 16
"""


def never(text: str, found: list[datetime]) -> datetime:
    raise AssertionError(f"{text} was asked about")


def load(tmp_path: Path, text: str = PAD) -> PaperCook:
    file = tmp_path / "pad.toml"
    file.write_text(text, encoding="utf-8")
    return load_pad(file, NOW, never, ZONE)


def book_of(cook: PaperCook) -> Book:
    return fold(Entry("r", seq, t_ms, body) for seq, (t_ms, body) in enumerate(cook.bodies, 1))


def test_clock_times_run_through_the_night_and_lines_without_one_stay_in_order(
    tmp_path: Path,
) -> None:
    held = book_of(load(tmp_path)).pieces["brisket-1"]
    marks = [
        (
            mark.stage,
            datetime.fromtimestamp(mark.at_ms / 1000, ZONE).strftime("%d %H:%M"),
            mark.timed,
        )
        for mark in held.marks
    ]
    assert marks == [
        (Stage.SMOKING, "18 21:00", "stated"),
        (Stage.WRAPPED, "19 04:10", "stated"),
        (Stage.RESTING, "19 09:30", "unrecorded"),
    ]
    assert [w.weighed.timed for w in held.weighings] == ["unrecorded", "unrecorded"]


def test_the_same_pad_gives_the_same_cook(tmp_path: Path) -> None:
    assert load(tmp_path) == load(tmp_path)


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ('started = "2026-09-18 20:00"', "", "when it was"),
        ('started = "2026-09-18 20:00"', 'started = "2026-09-21 20:00"', "lies ahead"),
        ('mass = "7.05 lb"', "", "needs its mass"),
        ('stage = "resting"', 'stage = "restin"', "did you mean"),
        (
            'piece = "brisket-1"\nstage = "resting"',
            'piece = "brisket-2"\nstage = "resting"',
            "brisket-2",
        ),
        ('stage = "resting"', 'stage = "resting"\nnote = "x"', "one of"),
        ('at = "04:10"', 'at = "4:77"', "not a time"),
    ],
)  # fmt: skip
def test_what_cannot_be_used_is_told_in_one_line(
    tmp_path: Path, old: str, new: str, told: str
) -> None:
    assert old in PAD
    with pytest.raises((CookFileError, UsageError)) as caught:
        load(tmp_path, PAD.replace(old, new, 1))
    assert told in str(caught.value)
    assert "\n" not in str(caught.value)
