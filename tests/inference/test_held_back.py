"""What recognition may set by itself: never what could end an alarm, or a clock to one."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from pitlogger.clock import rfc3339
from pitlogger.engine.explain import watched
from pitlogger.engine.feed import ticks_until
from pitlogger.engine.watch.lineage import lineage_of
from pitlogger.engine.watch.recognition import inferred
from pitlogger.inference.recogniser import Sight, StageProposal
from pitlogger.inference.semi_markov import Branch
from pitlogger.model.alerts import AlertState
from pitlogger.model.cooks import Stage
from pitlogger.model.journal import AlertChanged, StageSet, Undone, Weighed
from pitlogger.model.readings import Reading
from pitlogger.reports.replay_document import stage_rows
from pitlogger.rules.messages import Units
from pitlogger.views.alert_words import looks
from pitlogger.views.shown import Shown
from tests.engine.conftest import Kitchen
from tests.inference.test_engine import READINGS, Run, made

PIECE, CORE = "brisket-1", "brisket-1/core"
OTHER = """
[cook]
name = "two"
[[piece]]
id = "brisket-1"
cut = "brisket-packer"
[[piece]]
id = "brisket-2"
cut = "brisket-packer"
[[channel]]
id = "brisket-1/core"
site = "core"
piece = "brisket-1"
[[channel]]
id = "brisket-2/core"
site = "core"
piece = "brisket-2"
[[channel]]
id = "pit"
site = "pit"
"""


def on_the_pit(*levels_c: float) -> Kitchen:
    """Return a kitchen in ``taken`` whose piece a person put on; its core went through levels."""
    kitchen = Kitchen(OTHER)
    recognition = kitchen.engine.recognition
    recognition.policy = replace(recognition.policy, stage_from="taken", stage_chance=0.999)
    kitchen.stage(Stage.SMOKING)
    for level_c in levels_c:
        warmed(kitchen, level_c)
    return kitchen


def warmed(kitchen: Kitchen, level_c: float, minutes: int = 40) -> None:
    """Let the core come to a level evenly."""
    from_mc = kitchen.engine.state.channels[CORE].value or 4000
    for step in range(1, minutes * 6 + 1):
        kitchen.t_ms += 10_000
        level_mc = from_mc + round((1000 * level_c - from_mc) * step / (minutes * 6))
        kitchen.feed(Reading(CORE, kitchen.t_ms, level_mc))
        kitchen.feed(Reading("pit", kitchen.t_ms, 110_000))


def is_set(kitchen: Kitchen, stage: Stage) -> bool:
    """Return whether a stage that the piece looks to be in now is set without a question."""
    found = [StageProposal(stage, kitchen.t_ms - 60_000, 0.9999)]
    kitchen.engine.recognition.proposals[PIECE] = found
    taken = [one.stage for one in kitchen.engine.recognition.take(kitchen.engine.book)]
    assert taken in ([], [stage])
    return bool(taken)


def alarmed(kitchen: Kitchen, kind: str, subject: str, *, on: bool = True) -> None:
    piece = subject if subject in kitchen.engine.book.pieces else None
    kitchen.engine.alerts.tell(
        kind, subject, kitchen.t_ms, on, "made up", piece=piece,
        channel=None if piece else subject,
    )  # fmt: skip
    for _ in ticks_until(kitchen.engine, kitchen.t_ms):
        pass


def test_off_the_pit_is_asked_about_while_the_come_up_runs() -> None:
    kitchen = on_the_pit(20.0, 45.0)
    assert not is_set(kitchen, Stage.RESTING)
    assert is_set(kitchen, Stage.WRAPPED)
    warmed(kitchen, 53.0)
    assert not is_set(kitchen, Stage.RESTING)
    warmed(kitchen, 70.0)
    assert is_set(kitchen, Stage.RESTING)


@pytest.mark.parametrize("stage", list(Stage))
def test_only_three_stages_are_ever_set(stage: Stage) -> None:
    kitchen = on_the_pit(70.0)
    known = stage in (Stage.SMOKING, Stage.WRAPPED, Stage.RESTING)
    assert is_set(kitchen, stage) == known


def test_what_is_asked_about_does_not_keep_what_came_before_from_being_set() -> None:
    kitchen = on_the_pit(70.0)
    recognition, t_ms = kitchen.engine.recognition, kitchen.t_ms
    order = (Stage.WRAPPED, Stage.RESTING, Stage.HOLDING)
    recognition.proposals[PIECE] = [
        StageProposal(stage, t_ms - 60_000 * (9 - at), 0.9999) for at, stage in enumerate(order)
    ]
    taken = [one.stage for one in recognition.take(kitchen.engine.book)]
    assert taken == [Stage.WRAPPED, Stage.RESTING]
    assert recognition.take(kitchen.engine.book) == []


@pytest.mark.parametrize(
    ("checkpoint", "said", "before_ms", "is_carved"),
    [
        ("carved", {}, 60_000, True),
        ("carved", {"p": 0.99}, 60_000, False),  # recognised itself
        ("carved", {"p": 0.99, "confirmed": True}, 60_000, True),
        ("carved", {}, 120_000, False),  # another weighing
        ("rested", {}, 60_000, False),
        ("sauced", {}, 60_000, False),
    ],
)
def test_carved_is_set_where_a_person_weighed_it_as_carved(
    checkpoint: str, said: dict[str, Any], before_ms: int, is_carved: bool
) -> None:
    kitchen = on_the_pit(70.0)
    kitchen.say(Weighed(PIECE, checkpoint, 3_000_000, 0, kitchen.t_ms - before_ms, **said))
    assert is_set(kitchen, Stage.CARVED) == is_carved


def test_a_question_is_about_the_last_of_what_it_looks_like() -> None:
    kitchen = on_the_pit(70.0)
    recognition, t_ms = kitchen.engine.recognition, kitchen.t_ms
    found = [StageProposal(Stage.RESTING, t_ms - 900_000, 0.97),
             StageProposal(Stage.COOLING, t_ms - 60_000, 0.94)]  # fmt: skip
    recognition._ask(PIECE, found, t_ms)
    assert recognition.state.watches[f"stage-likely/{PIECE}"].message.endswith(
        "looks cooling, 94 % likely"
    )


def test_a_weighing_is_a_sign_once_and_not_before_its_time() -> None:
    kitchen = on_the_pit(70.0)
    weighed = Weighed(PIECE, "off-pit", 3_000_000, 0, kitchen.t_ms)
    kitchen.say(weighed)
    sight = kitchen.engine.state.sights[PIECE]
    recognition, book = kitchen.engine.recognition, kitchen.engine.book
    held = book.pieces[PIECE]
    recognition._follow(sight, held, weighed.at_ms)
    assert sight.weighed == []
    for later_ms in (1, 60_000):
        recognition._follow(sight, held, weighed.at_ms + later_ms)
        assert sight.weighed == [("off-pit", weighed.at_ms)]
        assert [one[:2] for one in sight.signs] == [("off-pit", weighed.at_ms)]


def test_what_began_nobody_knows_when_is_asked_about_and_what_came_after_is_set() -> None:
    kitchen = on_the_pit(70.0)
    recognition, t_ms = kitchen.engine.recognition, kitchen.t_ms
    wrapped = StageProposal(
        Stage.WRAPPED, t_ms - 3_600_000, 0.9999, between_ms=(t_ms - 5_400_000, t_ms - 1_800_000)
    )
    recognition.proposals[PIECE] = [wrapped]
    assert recognition.take(kitchen.engine.book) == []
    resting = StageProposal(Stage.RESTING, t_ms - 60_000, 0.9999)
    recognition.proposals[PIECE] = [wrapped, resting]
    assert [one.stage for one in recognition.take(kitchen.engine.book)] == [Stage.RESTING]


def test_what_began_nobody_knows_when_stands_where_it_likeliest_belongs_with_its_span() -> None:
    kitchen = on_the_pit(70.0)
    smoking_ms, t_ms = kitchen.engine.book.pieces[PIECE].marks[-1].at_ms, kitchen.t_ms + 7_200_000
    kitchen.say(StageSet(PIECE, Stage.RESTING, kitchen.t_ms))
    between = (smoking_ms + 60_000, smoking_ms + 240_000)
    wrapped = StageProposal(Stage.WRAPPED, smoking_ms + 120_000, 0.93, between)
    off = StageProposal(Stage.HOLDING, t_ms, 0.95)
    rows = stage_rows(kitchen.engine.book, {PIECE: [wrapped, off]})
    assert [row["stage"] for row in rows][-4:] == ["smoking", "wrapped", "resting", "holding"]
    assert [one["to"] for one in rows[:-1]] == [one["from"] for one in rows[1:]]
    told = rows[-3]
    assert (told["earliest"], told["latest"]) == (rfc3339(between[0]), rfc3339(between[1]))
    assert "earliest" not in rows[-1]
    shown = Shown(Units(), t_ms)
    assert "since some time between" in looks(PIECE, wrapped, shown)


def test_a_time_is_known_where_most_of_the_chance_lies_within_some_minutes() -> None:
    hour, now_ms = 3_600_000, 40 * 3_600_000
    told = []
    for share in (0.9, 0.7):
        sight = Sight(
            branches=[
                Branch(Stage.WRAPPED, 20 * hour, share, [(Stage.RAW, 0), (Stage.SMOKING, hour)]),
                Branch(
                    Stage.WRAPPED, 21 * hour, 1 - share, [(Stage.RAW, 0), (Stage.SMOKING, hour)]
                ),
            ]
        )
        assert len(sight.proposals(now_ms, 0.9)) == (2 if share == 0.9 else 1)
        told.append(sight.proposals(now_ms + hour, 0.9))  # waited for long enough
    assert [one.between_ms for one in told[0]] == [None, None]
    assert [one.between_ms for one in told[1]] == [None, (20 * hour, 21 * hour)]
    assert [found[1].at_ms for found in told] == [20 * hour, 20 * hour]


def test_back_on_the_pit_is_asked_about() -> None:
    kitchen = on_the_pit(70.0)
    kitchen.stage(Stage.RESTING)
    assert not is_set(kitchen, Stage.SMOKING)
    assert not is_set(kitchen, Stage.WRAPPED)


def test_nothing_is_set_while_the_core_falls_under_the_holding_limit() -> None:
    kitchen = on_the_pit(50.0, 95.0, 75.0, 57.6)
    assert is_set(kitchen, Stage.RESTING)
    for level_mc in (57_400, 57_200, 57_100):  # not a minute under it yet: no alarm
        kitchen.t_ms += 10_000
        kitchen.feed(Reading(CORE, kitchen.t_ms, level_mc))
    assert not kitchen.alerts("hot-hold-low")
    assert kitchen.engine.state.clocks[PIECE].hold.since_ms is not None
    assert not is_set(kitchen, Stage.RESTING)
    assert not is_set(kitchen, Stage.WRAPPED)


@pytest.mark.parametrize(
    ("kind", "subject", "is_held"),
    [
        ("time-limit", PIECE, True),
        ("time-limit", "brisket-2", False),
        ("channel-stale", CORE, True),
        ("channel-stale", "brisket-2/core", False),
        ("probe-fault", CORE, True),
        ("rest-done", PIECE, False),  # a prompt is no alarm
    ],
)
def test_its_own_alarms_hold_back_what_would_be_set(kind: str, subject: str, is_held: bool) -> None:
    kitchen = on_the_pit(70.0)
    alarmed(kitchen, kind, subject)
    assert is_set(kitchen, Stage.RESTING) != is_held
    assert is_set(kitchen, Stage.WRAPPED) != is_held


def test_an_alarm_that_was_seen_or_will_ring_holds_back_and_one_that_is_over_does_not() -> None:
    kitchen = on_the_pit(70.0)
    alarmed(kitchen, "time-limit", PIECE)
    watch = kitchen.engine.state.watches[f"time-limit/{PIECE}"]
    for state in (AlertState.UNACKNOWLEDGED, AlertState.ACKNOWLEDGED,
                  AlertState.LATCHED_UNACKNOWLEDGED):  # fmt: skip
        watch.state, watch.holds, watch.pending_ms = state, False, None
        assert not is_set(kitchen, Stage.RESTING), state
    watch.state, watch.pending_ms = AlertState.NORMAL, kitchen.t_ms
    assert not is_set(kitchen, Stage.RESTING)
    watch.pending_ms, watch.holds = None, True  # true, and shelved
    assert not is_set(kitchen, Stage.RESTING)
    watch.holds = False
    assert is_set(kitchen, Stage.RESTING)


def test_marks_that_a_person_changes_are_taken_as_they_are_now() -> None:
    run = Run("asked").begin().until("smoking", 30)
    smoking = StageSet(PIECE, Stage.SMOKING, round(made.truth["smoking"] * 1000))
    run.say(smoking)
    run.until("smoking", 40)
    sight = run.engine.state.sights[PIECE]
    assert sight.known == [(Stage.SMOKING, smoking.at_ms)]
    run.say(StageSet(PIECE, Stage.TRIMMED, smoking.at_ms - 600_000))  # entered late
    run.until("smoking", 50)
    assert sight.known == [
        (Stage.TRIMMED, smoking.at_ms - 600_000), (Stage.SMOKING, smoking.at_ms),
    ]  # fmt: skip
    assert sight.denied == []
    entry = next(one for one in run.entries if one.body == smoking)
    run.say(Undone(entry.run, entry.seq))
    run.until("smoking", 60)
    assert sight.known == [(Stage.TRIMMED, smoking.at_ms - 600_000)]
    assert sight.denied == [(Stage.SMOKING, smoking.at_ms)]


def test_a_mark_that_stays_does_not_make_the_rest_forgotten() -> None:
    """The wrap is seen from a lid and from the core since, hours after the last mark."""
    run = Run("asked").begin().until("smoking", 30)
    run.say(StageSet(PIECE, Stage.SMOKING, round(made.truth["smoking"] * 1000)))
    run.until("wrapped", 90)
    (wrap,) = run.engine.recognition.proposals[PIECE]
    assert wrap.stage is Stage.WRAPPED
    assert abs(wrap.at_ms - made.truth["wrapped"] * 1000) < 300_000
    known = [one.body for one in run.entries if isinstance(one.body, AlertChanged)]
    asked = [one for one in known if one.alert == f"stage-likely/{PIECE}"]
    assert [one.now for one in asked].count(AlertState.UNACKNOWLEDGED) == 2  # smoking, wrapped
    assert READINGS[run.at].t_ms > wrap.at_ms


@pytest.mark.parametrize("is_agreed", [False, True])
def test_a_probe_that_falls_out_is_told_until_somebody_said_that_its_piece_is_off(
    is_agreed: bool,
) -> None:
    kitchen = on_the_pit(50.0, 80.0)
    off = replace(inferred(PIECE, StageProposal(Stage.RESTING, kitchen.t_ms, 0.95)))
    kitchen.say(replace(off, confirmed=is_agreed))
    warmed(kitchen, 108.0, 5)  # the air of the pit
    warmed(kitchen, 108.0, 10)
    assert bool(kitchen.alerts("probe-fault")) != is_agreed


@pytest.mark.parametrize("is_agreed", [False, True])
def test_what_only_looks_off_the_pit_is_timed_as_if_it_were_cooled(is_agreed: bool) -> None:
    """On the pit, unmarked, it would be: what recognition set takes none of that away."""
    kitchen = on_the_pit(50.0, 90.0)
    off = inferred(PIECE, StageProposal(Stage.RESTING, kitchen.t_ms, 0.95))
    kitchen.say(replace(off, confirmed=is_agreed))
    warmed(kitchen, 40.0, 120)
    warmed(kitchen, 36.0, 120)
    assert kitchen.alerts("hot-hold-low")
    for kind in ("cooling-will-miss", "cooling-stage-1-late"):
        assert bool(kitchen.alerts(kind)) != is_agreed, kind
    assert not kitchen.alerts("cooling-stage-2-late")
    rows = [one["kind"] for one in watched(kitchen.engine, PIECE)]
    assert ("cooling-stage-1-late" in rows) != is_agreed
    assert lineage_of(kitchen.engine.state, kitchen.engine.book, PIECE)[-1].unsaid != is_agreed
