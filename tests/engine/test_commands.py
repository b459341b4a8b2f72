"""Commands: what is refused, that nothing is written then, and asking twice."""

import pytest

from pitlogger.errors import RefusedError, UsageError
from pitlogger.formats.cook_file import parse_cook
from pitlogger.model.cooks import Channel, Piece, Stage
from pitlogger.model.journal import (
    AlertActed,
    Body,
    ChannelAssigned,
    CookFinished,
    CookStarted,
    Corrected,
    CorrectiveTaken,
    Noted,
    PieceSplit,
    ProbeMoved,
    SpotRead,
    StageSet,
    TargetSet,
    Undone,
    Weighed,
)
from pitlogger.model.readings import Site

from .conftest import COOK, START_MS, Kitchen

BAD: list[tuple[Body, str]] = [
    (StageSet("brisket-9", Stage.SMOKING, START_MS), "did you mean 'brisket-1'"),
    (StageSet("brisket-1", Stage.SMOKING, START_MS + 3_600_000), "future"),
    (Weighed("brisket-1", "trimed", 5_000_000, 0, START_MS), "did you mean 'trimmed'"),
    (Weighed("brisket-1", "trimmed", -1, 0, START_MS), "zero or more"),
    (Weighed("brisket-1", "trimmed", 1_000_000, 2_000_000, START_MS), "more than gross"),
    (SpotRead(95_000, START_MS, piece="butt"), "unknown piece"),
    (TargetSet("brisket-1", wrap_at_mc=96_000, pull_at_mc=90_000), "below wrap"),
    (TargetSet("brisket-1", pull_at_mc=60_000), "below wrap"),
    (PieceSplit("brisket-1", (Piece("flat"),)), "at least two"),
    (PieceSplit("brisket-1", (Piece("flat"), Piece("flat"))), "each needs its own id"),
    (ChannelAssigned(Channel("c", Site.CORE, "ham")), "unknown piece"),
    (CorrectiveTaken("ham", "a", "b", "c", "discarded"), "unknown piece"),
    (CorrectiveTaken("brisket-1", "a", "b", "c", "discarded", "hot-hold/x"), "hot-hold-low"),
    (ProbeMoved("brisket-1/cor"), "did you mean 'brisket-1/core'"),
    (Undone("r", 99), "no entry 9gr4f9-99"),
    (Undone("r", 1), "cannot be undone"),
    (Corrected("r", 1, Noted("x")), "cannot be corrected"),
]


@pytest.mark.parametrize(("body", "told"), BAD)
def test_what_cannot_be_used_is_told_and_changes_nothing(body: Body, told: str) -> None:
    kitchen = Kitchen()
    before = kitchen.engine.state.seq
    with pytest.raises(UsageError, match=told):
        kitchen.say(body)
    assert kitchen.engine.state.seq == before


def test_a_stage_out_of_order_is_told(kitchen: Kitchen) -> None:
    kitchen.stage(Stage.RESTING)
    with pytest.raises(UsageError, match="'trimmed' cannot follow 'resting'"):
        kitchen.stage(Stage.TRIMMED)
    kitchen.t_ms += 60_000
    with pytest.raises(UsageError, match="'resting' cannot follow 'discarded'"):
        kitchen.say(StageSet("brisket-1", Stage.DISCARDED, START_MS - 1000))


def test_nothing_is_cooked_without_a_cook() -> None:
    kitchen = Kitchen(cook=None)
    with pytest.raises(RefusedError, match="no cook is running"):
        kitchen.stage(Stage.SMOKING)


def test_one_cook_at_a_time(kitchen: Kitchen) -> None:
    with pytest.raises(RefusedError, match="still running"):
        kitchen.say(CookStarted(parse_cook(COOK)))
    kitchen.say(CookFinished("harvest supper"))
    kitchen.say(CookStarted(parse_cook(COOK.replace("brisket-1", "brisket-2"))))
    assert list(kitchen.engine.book.pieces) == ["brisket-2"]


def test_the_same_key_twice_is_one_decision(kitchen: Kitchen) -> None:
    weighed = Weighed("brisket-1", "trimmed", 5_000_000, 0, START_MS)
    kitchen.say(weighed, key="k1")
    kitchen.say(weighed, key="k1")
    assert len(kitchen.engine.book.pieces["brisket-1"].weighings) == 1


def test_children_of_a_split_are_named_for_their_cut(kitchen: Kitchen) -> None:
    kitchen.say(PieceSplit("brisket-1", (Piece("brisket-1-point"), Piece("brisket-1-flat"))))
    pieces = kitchen.engine.book.pieces
    assert pieces["brisket-1-point"].piece.cut == "brisket-point"
    assert pieces["brisket-1-flat"].piece.cut == "brisket-flat"
    kitchen.t_ms += 1000
    with pytest.raises(UsageError, match="brisket-1-point, brisket-1-flat"):
        kitchen.stage(Stage.SMOKING)


def test_a_correction_must_be_of_the_same_kind(kitchen: Kitchen) -> None:
    kitchen.say(Noted("bark soft"))
    seq = kitchen.engine.state.seq
    with pytest.raises(UsageError, match="cannot be corrected to a 'stage-set'"):
        kitchen.say(Corrected("r", seq, StageSet("brisket-1", Stage.SMOKING, START_MS)))


def test_nothing_is_taken_out_of_service_any_more() -> None:
    kitchen = Kitchen()
    kitchen.stage(Stage.SMOKING)
    for action in ("remove", "return"):
        with pytest.raises(UsageError, match=f"nothing to {action}"):
            kitchen.say(AlertActed("wrap-due/brisket-1", action, reason="broken"))


@pytest.mark.parametrize(
    ("cut", "half"), [("brisket-packer", "brisket-flat"), ("beef-chuck", "beef-chuck")]
)
def test_only_half_a_brisket_is_a_flat_by_its_name(cut: str, half: str) -> None:
    kitchen = Kitchen(COOK.replace("brisket-packer", cut))
    kitchen.say(PieceSplit("brisket-1", (Piece("the-point"), Piece("the-flat"))))
    assert kitchen.engine.book.pieces["the-flat"].piece.cut == half
