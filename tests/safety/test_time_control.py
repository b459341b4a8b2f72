"""Food held by time instead of temperature, as FDA Food Code 3-501.19 has it.

(B) four hours from 41 F or below or 135 F or above; (C) six hours from 41 F or below, the warmest
part never above 70 F; marked, and served or discarded by then; never back to temperature control.
"""

from __future__ import annotations

import json
from dataclasses import asdict, replace
from typing import Any, Literal

import pytest

from pitlogger.model.book import ByTime, Mark
from pitlogger.model.cooks import Piece, Stage
from pitlogger.model.journal import HeldByTime
from pitlogger.safety.history import PieceHistory, Withdrawn
from pitlogger.safety.instruments.belief import Doubt, DoubtReason
from pitlogger.safety.judge import judge
from pitlogger.safety.live import ClockState, PieceClocks, clocks_for, restore, run
from tests.safety.building import MIN, RETAIL, Readings, history, line

BEGUN = 800.0  # minutes
COOKED = line((0, 45), (600, 203), (700, 170), (BEGUN, 140), (900, 95), (1100, 72))
CHILLED = line((0, 38), (BEGUN, 38), (1000, 60), (1190, 69))
HOT = ((0.0, "smoking"), (600.0, "resting"), (700.0, "holding"))
COLD = ((0.0, "chilled"),)


def held(
    core: Readings = COOKED,
    stages: tuple[tuple[float, str], ...] = HOT,
    *,
    hours: Literal[4, 6] = 4,
    begun: float = BEGUN,
    entered: float | None = None,
    **more: Any,
) -> PieceHistory:
    """Return a piece that is held by time from ``begun`` on."""
    said = HeldByTime("brisket-1", round(begun * MIN), hours)
    known = round((begun if entered is None else entered) * MIN)
    return history(core, stages=stages, by_time=ByTime(said, known), **more)


def met(piece: PieceHistory) -> bool | None:
    return judge(piece, RETAIL).time_control.met


def reason(piece: PieceHistory) -> str:
    return judge(piece, RETAIL).time_control.reason


@pytest.mark.parametrize(("served", "wanted"), [(900.0, True), (1039.0, True), (1041.0, False)])
def test_it_is_served_within_four_hours(served: float, wanted: bool) -> None:
    assert met(held(stages=(*HOT, (served, "served")))) is wanted


def test_thrown_away_in_time_is_as_good_as_eaten_and_late_is_late() -> None:
    assert met(held(stages=(*HOT, (1000.0, "discarded")))) is True
    late = held(stages=(*HOT, (1050.0, "discarded")))
    assert met(late) is False
    assert "past its discard time" in reason(late)


def test_what_nobody_marked_is_not_shown_before_its_discard_time_and_not_met_after() -> None:
    assert met(held(end_min=1000.0)) is None
    assert met(held(end_min=1041.0)) is False


@pytest.mark.parametrize(
    ("start_f", "hours", "wanted"),
    [
        (140, 4, True), (135, 4, True), (134, 4, False), (100, 4, False), (42, 4, False),
        (41, 4, True), (38, 4, True), (38, 6, True), (140, 6, False), (42, 6, False),
    ],
)  # fmt: skip
def test_it_begins_cold_or_hot(start_f: float, hours: Literal[4, 6], wanted: bool) -> None:
    core = line((0, start_f), (BEGUN, start_f), (BEGUN + 60, min(start_f, 60)))
    stages = ((0.0, "serving"), (BEGUN + 55, "served"))
    assert met(held(core, stages, hours=hours)) is wanted


def test_a_start_that_nobody_read_is_not_shown() -> None:
    core = line((0, 45), (600, 203), (780, 150))
    stages = (*HOT, (900.0, "served"))
    assert met(held(core, stages)) is None
    assert met(held(core, stages, spots=((795.0, 141.0),))) is True
    assert met(held(core, stages, spots=((795.0, 120.0),))) is False


def test_a_start_that_is_in_doubt_is_not_shown() -> None:
    made = held(stages=(*HOT, (900.0, "served")))
    air = Doubt(round(790 * MIN), round(830 * MIN), DoubtReason.AIR)
    doubted = replace(made, cores=(replace(made.cores[0], doubts=(air,)),))
    assert met(doubted) is None
    by_hand = held(stages=(*HOT, (900.0, "served")), spots=((BEGUN, 140.0),))
    pulled = line((0, 45), (600, 203), (700, 170), (790, 141), (791, 75), (900, 75))
    made = held(pulled, (*HOT, (880.0, "served")), spots=((799.0, 139.0),))
    assert met(replace(made, cores=(replace(made.cores[0], doubts=(air,)),))) is True
    struck = Withdrawn(round(BEGUN * MIN), 40_000, "104 F was struck", round(860 * MIN))
    assert met(by_hand) is True
    assert met(replace(by_hand, withdrawn=(struck,))) is None
    long_before = struck._replace(t_ms=round((BEGUN - 11) * MIN))
    assert met(replace(by_hand, withdrawn=(long_before,))) is True


@pytest.mark.parametrize("stage", ["cooling", "chilled", "reheating"])
def test_it_does_not_go_back_to_temperature_control(stage: str) -> None:
    back = held(stages=(*HOT, (900.0, stage)))
    assert met(back) is False
    assert "thrown away" in reason(back)
    assert met(held(stages=(*HOT, (900.0, "served"), (1000.0, stage)))) is False


def test_six_hours_are_read_and_stay_under_70_f() -> None:
    stages = (*COLD, (1150.0, "served"))
    assert met(held(CHILLED, stages, hours=6)) is True
    assert met(held(CHILLED, stages)) is False  # four hours are over long before
    warm = line((0, 38), (BEGUN, 38), (1000, 71), (1190, 60))
    assert met(held(warm, stages, hours=6)) is False
    gap = tuple(p for p in CHILLED if not 900 * MIN < p[0] < 940 * MIN)
    assert met(held(gap, stages, hours=6)) is None
    assert met(held(gap, stages, hours=6, spots=((920.0, 50.0),))) is True
    assert met(held(CHILLED, stages, hours=6, moves=(1000.0,))) is None
    air = Doubt(round(900 * MIN), round(920 * MIN), DoubtReason.AIR)
    hot = tuple((t, 25_000 if 905 <= t / MIN < 915 else mc) for t, mc in CHILLED)
    made = held(hot, stages, hours=6)
    assert met(replace(made, cores=(replace(made.cores[0], doubts=(air,)),))) is None


def test_its_warmest_part_decides_six_hours() -> None:
    other = line((0, 38), (BEGUN, 38), (1000, 75), (1190, 75))
    said = HeldByTime("brisket-1", round(BEGUN * MIN), 6)
    two = history(
        CHILLED, other, stages=(*COLD, (1150.0, "served")), by_time=ByTime(said, said.at_ms)
    )
    assert met(two) is False


def test_while_it_runs_holding_is_not_judged_and_before_it_as_always() -> None:
    found = judge(held(stages=(*HOT, (1000.0, "served"))), RETAIL)
    assert found.holding.met is True
    assert judge(history(COOKED, stages=(*HOT, (1000.0, "served"))), RETAIL).holding.met is False
    low = line((0, 45), (600, 203), (700, 130), (760, 140), (BEGUN, 140), (1100, 72))
    early = judge(held(low, (*HOT, (1000.0, "served"))), RETAIL)
    assert (early.time_control.met, early.holding.met) == (True, False)


def test_begun_after_a_breach_or_entered_late_it_undoes_nothing() -> None:
    served = (*HOT, (1000.0, "served"))
    late = judge(held(stages=served, entered=890.0), RETAIL)
    assert late.holding.met is False  # it fell under the limit before anybody said so
    assert "entered" in late.time_control.reason
    soon = judge(held(stages=served, entered=802.0), RETAIL)
    assert soon.holding.met is True


def test_eaten_in_time_but_entered_after_its_discard_time_is_not_shown() -> None:
    made = held(stages=(*HOT, (1000.0, "served")))
    mark = Mark(Stage.SERVED, round(1000 * MIN), round(1060 * MIN))
    assert met(replace(made, marks=(mark,))) is None
    assert met(replace(made, marks=(replace(mark, entered_ms=round(1020 * MIN)),))) is True


def test_what_went_on_in_its_parts_is_judged_there() -> None:
    made = held(end_min=1100.0)
    assert made.by_time is not None
    parted = judge(replace(made, by_time=replace(made.by_time, divided=True)), RETAIL)
    assert not parted.time_control.applies
    warm = held(line((0, 45), (600, 203), (BEGUN, 120)), end_min=1100.0)
    assert warm.by_time is not None
    assert met(replace(warm, by_time=replace(warm.by_time, divided=True))) is False
    stages = ((820.0, "serving"), (1000.0, "served"))
    assert met(held((), stages, parents=("brisket-0",))) is True
    assert met(held((), stages)) is None


def test_what_was_on_the_pit_or_eaten_when_its_time_began_is_not_shown() -> None:
    core = line((0, 45), (600, 203), (900, 203))
    assert met(held(core, ((0.0, "smoking"), (880.0, "served")))) is None
    assert met(held(core, ((0.0, "smoking"), (700.0, "served"), (880.0, "discarded")))) is None


def test_a_span_by_time_gives_no_credit_to_cooking() -> None:
    core = line((0, 45), (600, 140), (601, 140), (900, 140))
    stages = ((0.0, "smoking"), (600.0, "serving"), (880.0, "served"))
    assert judge(history(core, stages=stages), RETAIL).lethality.verdict.met is True
    assert judge(held(core, stages, begun=601.0), RETAIL).lethality.verdict.met is not True


# -- as it runs -------------------------------------------------------------------------------


def told(piece: PieceHistory, now_min: float) -> dict[str, ClockState]:
    return {one.kind: one for one in run([piece], RETAIL).told(round(now_min * MIN), RETAIL)}


def test_its_clock_runs_down_to_a_prompt_and_an_alarm() -> None:
    piece = held()
    early = told(piece, 900)
    assert early["discard-due"].remaining_s == 140 * 60
    assert not early["discard-near"].is_true
    assert "hot-hold-low" not in early
    assert "time-limit" not in early
    assert told(piece, 1015)["discard-near"].is_true
    over = told(piece, 1040)
    assert over["discard-due"].is_true
    assert not over["discard-near"].is_true


@pytest.mark.parametrize(
    ("stages", "is_due"),
    [
        ((*HOT, (1000.0, "served")), False),
        ((*HOT, (1050.0, "served")), True),
        ((*HOT, (1050.0, "served"), (1060.0, "discarded")), False),
        ((*HOT, (1050.0, "discarded")), False),
        ((*HOT, (1000.0, "served"), (1060.0, "cooling")), True),
        ((*HOT, (900.0, "chilled")), True),
    ],
)
def test_the_alarm_ends_with_what_was_eaten_in_time_or_thrown_away(
    stages: tuple[tuple[float, str], ...], is_due: bool
) -> None:
    assert told(held(stages=stages), 1070)["discard-due"].is_true is is_due


def test_six_hours_alarm_at_once_above_the_limit() -> None:
    warm = line((0, 38), (BEGUN, 38), (1000, 71), (1100, 60))
    assert told(held(warm, COLD, hours=6), 1101)["discard-due"].is_true
    assert not told(held(CHILLED, COLD, hours=6), 1101)["discard-due"].is_true


def test_a_clock_stored_as_text_goes_on_alike() -> None:
    clocks = run([held()], RETAIL)
    again: PieceClocks = restore(json.loads(json.dumps(asdict(clocks))))
    assert again == clocks
    assert clocks_for(Piece("b"), RETAIL).by_time is None


def test_time_of_which_nothing_is_known_may_be_over() -> None:
    clocks = run([held(end_min=900.0)], RETAIL)
    clocks.let_pass(24 * 60 * MIN)
    found = {one.kind: one.is_true for one in clocks.told(round(901 * MIN), RETAIL)}
    assert found["discard-due"]


def test_a_mark_of_another_stage_says_nothing_of_when_it_was_known_to_be_eaten() -> None:
    made = held(stages=(*HOT, (900.0, "serving"), (1000.0, "served")))
    serving = Mark(Stage.SERVING, round(900 * MIN), round(900 * MIN))
    late = Mark(Stage.SERVED, round(1000 * MIN), round(1060 * MIN))
    assert met(replace(made, marks=(serving, late))) is None
    earlier = Mark(Stage.SERVED, round(700 * MIN), round(700 * MIN))  # of a portion, before it
    assert met(replace(made, marks=(earlier, late))) is None
