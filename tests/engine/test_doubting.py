"""What the engine does not believe becomes spans of the journal, and no verdict rests on it."""

from __future__ import annotations

from dataclasses import replace

import pytest

from pitlogger.model.cooks import Stage
from pitlogger.model.folding import fold
from pitlogger.model.journal import ChannelDoubted, Entry, SpotRead, Undone
from pitlogger.model.quantities import milli_c_from_fahrenheit
from pitlogger.model.readings import Quality, Reading, Tagged
from pitlogger.safety.judge import judge
from pitlogger.safety.policy import shipped_policy
from pitlogger.safety.recorded import histories

from .conftest import Kitchen
from .test_rules import minutes, ramp
from .test_taken_back import last_id, open_alerts

CORE = "brisket-1/core"


def doubted(kitchen: Kitchen) -> list[ChannelDoubted]:
    return [one.body for one in kitchen.entries() if isinstance(one.body, ChannelDoubted)]


def warmed() -> Kitchen:
    kitchen = Kitchen()
    kitchen.stage(Stage.SMOKING)
    ramp(kitchen, 50, 120, 3, CORE)
    return kitchen


def test_a_probe_that_hangs_in_the_air_is_doubted_from_when_to_when() -> None:
    kitchen = warmed()
    out_ms = kitchen.t_ms
    minutes(kitchen, 225, 20, CORE)
    begun = doubted(kitchen)
    assert [(one.channel, one.piece, one.to_ms) for one in begun] == [(CORE, "brisket-1", None)]
    assert abs(begun[0].from_ms - out_ms) <= 20_000
    minutes(kitchen, 121, 10, CORE)
    told = doubted(kitchen)
    assert told[-1].to_ms is not None
    assert abs(told[-1].to_ms - out_ms - 20 * 60_000) <= 60_000
    assert (told[-1].reason, told[-1].from_ms) == (told[-2].reason, told[-2].from_ms)


def test_a_short_one_is_no_entry() -> None:
    kitchen = warmed()
    kitchen.hold(225, 30, CORE)
    minutes(kitchen, 121, 10, CORE)
    assert not doubted(kitchen)


def test_verdicts_over_the_record_leave_out_what_was_doubted() -> None:
    kitchen = warmed()
    ramp(kitchen, 120, 160, 2, CORE)
    entries = kitchen.entries()
    readings = [Reading(CORE, one.t_ms, one.raw) for one in kitchen.out if isinstance(one, Tagged)]
    policy = shipped_policy("retail-food-code")
    believed = judge(histories(fold(entries), readings)[0], policy)
    assert believed.lethality.verdict.met is True
    said = ChannelDoubted(CORE, "drifting", entries[0].t_ms, None, "brisket-1")
    kitchen.engine._enter(kitchen.t_ms, said, "")
    with_it = [*entries, *(out for out in kitchen.engine._taken())]
    judged = judge(histories(fold(with_it), readings)[0], policy)  # type: ignore[arg-type]
    assert judged.lethality.verdict.met is None
    assert "drifting" in judged.lethality.verdict.reason
    back = ChannelDoubted(CORE, "drifting", entries[0].t_ms, None, "brisket-1", believed=True)
    kitchen.engine._enter(kitchen.t_ms, back, "AB")
    worded = [*with_it, *(out for out in kitchen.engine._taken())]
    again = judge(histories(fold(worded), readings)[0], policy)  # type: ignore[arg-type]
    assert again.lethality.verdict.met is None, "a word alone gives no credit"
    hand = SpotRead(readings[-1].value or 0, kitchen.t_ms, "brisket-1", probe="pen")
    kitchen.engine._enter(kitchen.t_ms, hand, "AB")
    shown = [*worded, *(out for out in kitchen.engine._taken())]
    judged = judge(histories(fold(shown), readings)[0], policy)  # type: ignore[arg-type]
    assert judged.lethality.verdict.met is True
    right = replace(back, believed=False)
    kitchen.engine._enter(kitchen.t_ms, right, "AB")
    after = [*shown, *(out for out in kitchen.engine._taken())]
    judged = judge(histories(fold(after), readings)[0], policy)  # type: ignore[arg-type]
    assert judged.lethality.verdict.met is None, "the last word counts"
    entry = after[-1]
    assert isinstance(entry, Entry)
    undone = [*after, Entry("r", 9_999, kitchen.t_ms, Undone(entry.run, entry.seq), "AB")]
    judged = judge(histories(fold(undone), readings)[0], policy)  # type: ignore[arg-type]
    assert judged.lethality.verdict.met is True


def doubted_in_the_box() -> Kitchen:
    """Return a kitchen whose piece is held, its probe doubted and read beside it.

    The doubted stretch is too cold to be held, and agreed with by hand.
    """
    kitchen = Kitchen()
    kitchen.stage(Stage.SMOKING)
    ramp(kitchen, 100, 203, 1, CORE)
    kitchen.stage(Stage.HOLDING)
    ramp(kitchen, 203, 150, 1, CORE)
    minutes(kitchen, 128, 15, CORE)
    kitchen.say(SpotRead(milli_c_from_fahrenheit(128), kitchen.t_ms, "brisket-1"), by="AB")
    minutes(kitchen, 150, 10, CORE)
    return kitchen


@pytest.mark.parametrize("believed", [True, False], ids=["wrong", "right"])
def test_a_word_on_a_doubt_and_its_undo_leave_clocks_and_alerts_alone(believed: bool) -> None:
    with_it, without = doubted_in_the_box(), doubted_in_the_box()
    first = doubted(with_it)[0]
    with_it.say(replace(first, believed=believed), by="AB")
    of = last_id(with_it, ChannelDoubted)
    for kitchen in (with_it, without):
        minutes(kitchen, 150, 4, CORE)
    with_it.say(Undone(*of), by="AB")
    for kitchen in (with_it, without):
        minutes(kitchen, 150, 3, CORE)
    assert open_alerts(with_it) == open_alerts(without)
    with_clocks, clocks = (
        {one.kind: one.is_true for one in kitchen.engine.state.clocks["brisket-1"].told(
            kitchen.t_ms, kitchen.engine.safety)}
        for kitchen in (with_it, without)
    )  # fmt: skip
    assert with_clocks == clocks
    assert with_it.engine.book.doubted == without.engine.book.doubted


@pytest.mark.parametrize(("doubt", "is_stuck"), [("stuck", True), ("swapped", False)])
def test_only_a_stuck_probe_is_called_stuck(doubt: str, is_stuck: bool) -> None:
    kitchen = warmed()
    kitchen.engine.lanes[CORE].state.doubt = doubt
    kitchen.hold(120, 1, CORE)
    assert (kitchen.tagged()[-1].quality is Quality.STUCK) is is_stuck
