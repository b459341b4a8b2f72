"""Recognition inside the engine: asked, taken, denied, taken back, and never at an alarm's cost."""

from __future__ import annotations

from dataclasses import replace

import pytest

from pitlogger.bootstrap.policies import load_policy
from pitlogger.engine.feed import feed
from pitlogger.engine.inputs import Command
from pitlogger.engine.restart import catch_up
from pitlogger.engine.snapshot import dump_state, load_state
from pitlogger.engine.state import EngineState
from pitlogger.engine.step import Engine
from pitlogger.formats.capture import parse_capture
from pitlogger.formats.cook_file import parse_cook
from pitlogger.formats.journal_json import dump_entry, load_entry
from pitlogger.model.cooks import Stage
from pitlogger.model.journal import (
    AlertActed,
    AlertChanged,
    Body,
    CookStarted,
    Entry,
    StageSet,
    Undone,
)
from pitlogger.model.readings import Reading
from pitlogger.rules.places import is_in_use
from pitlogger.rules.policies import StageFrom
from tests.inference.made import Made

KEY = "stage-likely/brisket-1"
made = Made(seed=4)
READINGS = [
    one for one in parse_capture(line.encode() for line in made.lines()) if isinstance(one, Reading)
]


class Run:
    """A made cook, fed up to a moment of its truth."""

    def __init__(self, stage_from: StageFrom, state: EngineState | None = None) -> None:
        policy = replace(load_policy(), stage_from=stage_from)
        self.engine = Engine(state or EngineState("r"), policy)
        self.entries: list[Entry] = []
        self.at = 0

    def begin(self) -> Run:
        self.say(CookStarted(parse_cook(made.cook())))
        return self

    def until(self, stage: str, minutes: float) -> Run:
        end_ms = (made.truth[stage] + minutes * 60) * 1000
        while self.at < len(READINGS) and READINGS[self.at].t_ms <= end_ms:
            self.take(READINGS[self.at])
            self.at += 1
        return self

    def take(self, given: Reading | Command) -> None:
        for out in feed(self.engine, given):
            self.entries += [one for one in out if isinstance(one, Entry)]

    def say(self, body: Body, by: str = "AB") -> None:
        self.take(Command(READINGS[self.at].t_ms, body, by))

    def stages(self) -> list[StageSet]:
        return [one.body for one in self.entries if isinstance(one.body, StageSet)]

    def asked(self) -> list[str]:
        changes = [one.body for one in self.entries if isinstance(one.body, AlertChanged)]
        return [one.now.value for one in changes if one.alert == KEY]


def test_person_alone_is_the_default_and_nothing_is_looked_for() -> None:
    assert load_policy().stage_from == "person"
    run = Run("person").begin().until("smoking", 90)
    assert run.engine.state.sights == {}
    assert run.asked() == []


def test_asked_raises_a_prompt_and_sets_nothing() -> None:
    run = Run("asked").begin().until("smoking", 90)
    assert run.asked() == ["unacknowledged"]
    assert run.stages() == []
    assert run.engine.book.pieces["brisket-1"].stage is Stage.RAW


def test_a_persons_mark_ends_the_question() -> None:
    run = Run("asked").begin().until("smoking", 90)
    run.say(StageSet("brisket-1", Stage.SMOKING, READINGS[run.at].t_ms - 60_000))
    assert run.asked()[-1] == "normal"
    run.until("smoking", 150)
    assert run.asked().count("unacknowledged") == 1


def test_a_no_is_not_asked_again() -> None:
    run = Run("asked").begin().until("smoking", 90)
    run.say(AlertActed(KEY, "answer", reason="no"))
    assert run.asked()[-1] == "normal"
    at_ms = run.engine.recognition.state.sights["brisket-1"].denied[0][1]
    run.until("smoking", 200)
    again = run.engine.recognition.proposals.get("brisket-1", [])
    assert all(abs(one.at_ms - at_ms) > 600_000 for one in again)


def test_taken_sets_stages_with_who_and_how_likely() -> None:
    run = Run("taken").begin().until("resting", 60)
    assert [one.stage for one in run.stages()][:3] == [
        Stage.SMOKING, Stage.WRAPPED, Stage.RESTING,
    ]  # fmt: skip
    for one in run.stages():
        assert one.source == "inferred"
        assert (one.p or 0) >= 0.9
        assert one.is_unconfirmed
    assert all(one.by == "" for one in run.entries if isinstance(one.body, StageSet))


def test_what_was_taken_back_is_not_taken_again() -> None:
    run = Run("taken").begin().until("smoking", 60)
    entry = next(one for one in run.entries if isinstance(one.body, StageSet))
    run.say(Undone(entry.run, entry.seq))
    assert run.engine.book.pieces["brisket-1"].stage is Stage.RAW
    run.until("smoking", 75)
    assert run.engine.book.pieces["brisket-1"].stage is Stage.RAW


def test_nothing_is_taken_while_an_alarm_of_the_piece_stands() -> None:
    run = Run("taken").begin().until("smoking", 5)
    run.engine.alerts.tell(
        "cold-hold-high", "brisket-1", READINGS[run.at].t_ms, True, "made up", piece="brisket-1"
    )
    run.until("smoking", 90)
    assert run.stages() == []
    assert run.asked() == ["unacknowledged"]
    standing = run.engine.state.watches["cold-hold-high/brisket-1"]
    assert standing.holds


def test_a_pit_is_watched_until_a_person_says_that_its_piece_is_off() -> None:
    run = Run("taken").begin().until("resting", 40)
    held = run.engine.book.pieces["brisket-1"]
    assert held.stage is Stage.RESTING
    assert is_in_use("pit", run.engine.book)
    mark = held.marks[-1]
    run.say(replace(mark, confirmed=True, at_ms=mark.at_ms + 1))
    assert not is_in_use("pit", run.engine.book)


@pytest.mark.parametrize("stage", ["smoking", "wrapped", "resting"])
def test_a_snapshot_goes_on_as_if_never_stopped(stage: str) -> None:
    whole = Run("taken").begin().until("resting", 60)
    first = Run("taken").begin().until(stage, 3)
    second = Run("taken", load_state(dump_state(first.engine.state)))
    second.at = first.at
    second.until("resting", 60)
    assert first.stages() + second.stages() == whole.stages()


def test_catching_up_takes_from_the_journal_and_finds_nothing_twice() -> None:
    run = Run("taken").begin().until("wrapped", 60)
    caught = Run("taken")
    refused = catch_up(caught.engine, run.entries, READINGS[: run.at])
    assert refused == []
    marks = [(mark.stage, mark.at_ms) for mark in caught.engine.book.pieces["brisket-1"].marks]
    assert marks == [(one.stage, one.at_ms) for one in run.stages()]


def test_an_entry_of_a_person_reads_as_before_and_an_inferred_one_is_told() -> None:
    told = dump_entry(Entry("r", 1, 5, StageSet("brisket-1", Stage.SMOKING, 5), "AB"))
    assert not {"source", "p"} & told.keys()
    found = Entry("r", 1, 5, StageSet("b", Stage.SMOKING, 5, source="inferred", p=0.93))
    assert dump_entry(found)["source"] == "inferred"
    assert load_entry(dump_entry(found)) == found


def test_an_answer_of_a_record_replays_without_recognition() -> None:
    run = Run("person").begin()
    run.say(AlertActed(KEY, "answer", reason="no"))
    assert isinstance(run.entries[-1].body, AlertActed)
