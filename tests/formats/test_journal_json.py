"""Journal entries as JSON: every kind comes back as it was."""

import json
from dataclasses import fields
from typing import get_args

import pytest

from pitlogger.errors import UsageError
from pitlogger.formats.journal_json import KINDS, dump_entry, load_entry
from pitlogger.model.alerts import AlertState, Priority
from pitlogger.model.cooks import Channel, Cook, Piece, Stage
from pitlogger.model.journal import (
    Adjusted,
    AlertActed,
    AlertChanged,
    Body,
    ChannelAssigned,
    ChannelDoubted,
    CheckMade,
    ClockSet,
    CookFinished,
    CookStarted,
    CookWithdrawn,
    Corrected,
    CorrectiveTaken,
    DeviceChanged,
    Doubted,
    Entry,
    ForecastMade,
    ForecastScored,
    ForecastSkipped,
    ForecastTaught,
    HeldByTime,
    LearningSet,
    LocalScore,
    MealTold,
    Noted,
    PieceAdded,
    PiecesMerged,
    PieceSplit,
    ProbeMoved,
    Received,
    RunStarted,
    SignedOff,
    SpotRead,
    StageSet,
    Tared,
    TargetSet,
    Tenderness,
    TroubleChanged,
    Undone,
    Weighed,
)
from pitlogger.model.readings import Site

PIECE = Piece("b", "brisket-packer", mass_mg=6_400_000, wrap="paper")
BODIES: list[Body] = [
    CookStarted(Cook("supper", (PIECE,), (Channel("c", Site.CORE, "b"),))),
    CookFinished("supper"),
    PieceAdded(PIECE),
    PieceSplit("b", (Piece("p"), Piece("f"))),
    PiecesMerged(("p", "f"), Piece("both")),
    ChannelAssigned(Channel("c", Site.PIT), lead=True),
    StageSet("b", Stage.WRAPPED, 5, "foil"),
    Weighed("b", "trimmed", 5_000_000, 450_000, 6, "scale", "bench", 5_000, "tray", True),
    SpotRead(95_000, 7, piece="b", probe="pen"),
    Noted("bark soft", "b"),
    Received("b", True, 8, 3_000, "cold, sealed", "Miller", "7731"),
    HeldByTime("b", 8, 6, "stated"),
    TargetSet("b", pull_at_mc=95_000),
    Tared("bench", 450_000, "tray"),
    ProbeMoved("c"),
    Adjusted("c", -500, "ice point"),
    Undone("r", 3),
    Corrected("r", 3, Weighed("b", "trimmed", 5_100_000, 0, 6), "typed wrongly"),
    AlertActed("wrap-due/b", "shelve", 99, "guests"),
    AlertChanged("a/b", "wrap-due", AlertState.NORMAL, AlertState.UNACKNOWLEDGED, Priority.LOW),
    CookWithdrawn("2026-09-19-supper", "typed twice"),
    LearningSet(False, "the scale stood on the tray", "b"),
    LearningSet(True, "it was right", of_run="r", of_seq=3),
    ChannelDoubted("b/core", "air", 1, 2, "b"),
    Doubted("b", "tare-forgotten", "was the tray on it?", 4),
    ForecastMade("b", "pull", 0.9, True, 0, 1, 2, 3),
    ForecastMade("b", "wrap", 0.1, True, 0, reason="cannot say yet"),
    ForecastSkipped("b", "wrap", 0, "not ready in time"),
    ForecastScored((LocalScore("supper", "brisket", -0.4),)),
    ForecastTaught((LocalScore("supper", "brisket", -0.4),)),
    DeviceChanged("scale", "lost", "gone", "plug it in"),
    TroubleChanged("disk-low", "node", True, "97 % full", "make room"),
    CheckMade("pen", "ice", -300, 1000, True, "ice water"),
    CorrectiveTaken("b", "lid left off", "lid on", "timer set", "reheated", "hot-hold-low/b"),
    SignedOff("2026-09-19-supper", 40, "ab" * 32),
    MealTold("2026-09-19-supper", 41, 1_900_000, (Tenderness("b", 4),), "beans ran out"),
    RunStarted("boot", "0.1.0", True, None),
    ClockSet(3_600_000),
]


def test_every_kind_of_entry_is_tried_here() -> None:
    assert {type(body) for body in BODIES} == set(get_args(Body))
    assert {body.kind for body in BODIES} == set(KINDS)


@pytest.mark.parametrize("body", BODIES, ids=lambda body: body.kind)
def test_an_entry_comes_back_as_it_was(body: Body) -> None:
    entry = Entry("run", 7, 1_700_000_000_000, body, "AB", "key-1")
    assert load_entry(json.loads(json.dumps(dump_entry(entry)))) == entry


@pytest.mark.parametrize("body", BODIES, ids=lambda body: body.kind)
def test_no_field_of_a_body_hides_one_of_the_envelope(body: Body) -> None:
    names = {field.name for field in fields(body)}
    assert not names & {"run", "seq", "t_ms", "by", "key"}


def test_a_field_of_the_wrong_type_is_named() -> None:
    with pytest.raises(UsageError, match="journal entry 'undone', field 'of_seq'"):
        load_entry(
            {"run": "r", "seq": 1, "t_ms": 0, "kind": "undone", "of_run": "r", "of_seq": "x"}
        )


@pytest.mark.parametrize(
    ("body", "fields_said"),
    [
        (Noted("rain"), {"text"}),
        (PieceAdded(Piece("b")), {"piece"}),
        (SignedOff("c", 3, "ab"), {"cook", "entries", "head"}),
        (CookFinished("supper"), {"name"}),
        (Undone("r", 1), {"of_run", "of_seq"}),
    ],
)
def test_a_field_that_came_later_is_left_out_where_it_says_nothing(
    body: Body, fields_said: set[str]
) -> None:
    """So that an entry written before it reads the same for ever, and its signed chain holds."""
    assert dump_entry(Entry("r", 1, 2, body)).keys() - {"run", "seq", "t_ms", "kind"} == fields_said
