"""The clocks of a piece as they run, and their agreement with the verdict afterwards."""

from __future__ import annotations

import json
from dataclasses import asdict

import pytest

from pitlogger.model.cooks import Piece, Stage
from pitlogger.model.quantities import milli_c_from_fahrenheit
from pitlogger.safety.history import PieceHistory
from pitlogger.safety.judge import judge
from pitlogger.safety.live import ClockState, PieceClocks, clocks_for, restore, run
from pitlogger.safety.policy import parse_policy
from tests.safety.building import MIN, RETAIL, history, line

STAGES = ((0.0, "smoking"), (600.0, "resting"), (700.0, "holding"), (800.0, "cooling"))
WHOLE = line((0, 45), (600, 203), (720, 150), (810, 135), (900, 70), (1100, 41), (1110, 40))


def told(clocks: PieceClocks, now_min: float) -> dict[str, ClockState]:
    return {said.kind: said for said in clocks.told(round(now_min * MIN), RETAIL)}


def at(piece: PieceHistory, now_min: float | None = None) -> dict[str, ClockState]:
    return told(run([piece], RETAIL), piece.end_ms / MIN if now_min is None else now_min)


def test_a_good_cook_raises_nothing() -> None:
    found = at(history(WHOLE, stages=STAGES))
    assert not [kind for kind, said in found.items() if said.is_true]


def test_clocks_stored_as_text_go_on_alike() -> None:
    whole, first = (
        clocks_for(Piece("b", "brisket-flat"), RETAIL),
        clocks_for(Piece("b", "brisket-flat"), RETAIL),
    )
    stages = {round(t * MIN): Stage(name) for t, name in STAGES}
    for index, (t_ms, value_mc) in enumerate(WHOLE):
        for clocks in (whole, first):
            if t_ms in stages:
                clocks.enter(stages[t_ms], t_ms, RETAIL)
        whole.update(t_ms, value_mc, value_mc)
        first.update(t_ms, value_mc, value_mc)
        if index == 850:
            stored = asdict(first) | {"growth": {"model": "of an earlier version"}}
            first = restore(json.loads(json.dumps(stored)))
    assert first == whole


def test_cooling_tells_what_is_left_and_when_it_is_late() -> None:
    core = line((0, 150), (10, 135), (100, 90))
    piece = history(core, stages=((0.0, "holding"), (5.0, "cooling")))
    found = at(piece)
    assert found["cooling-stage-1-late"].remaining_s == pytest.approx(30 * 60, abs=2)
    assert not found["cooling-stage-1-late"].is_true
    late = at(piece, 131)
    assert late["cooling-stage-1-late"].is_true
    assert not late["cooling-stage-2-late"].is_true


def test_a_late_stage_stays_late_after_it_arrived() -> None:
    core = line((0, 150), (10, 135), (140, 70), (150, 65))
    found = at(history(core, stages=((0.0, "cooling"),)))
    assert found["cooling-stage-1-late"].is_true
    assert found["cooling-stage-1-late"].remaining_s is None


@pytest.mark.parametrize(
    ("stages", "core", "kind"),
    [
        ((0.0, "resting"), ((0, 150), (10, 134), (60, 134)), "hot-hold-low"),
        ((0.0, "smoking"), ((0, 60), (400, 100)), "come-up-slow"),
        ((0.0, "serving"), ((0, 150), (10, 134), (300, 90)), "time-limit"),
        ((0.0, "chilled"), ((0, 40), (30, 40), (40, 50), (80, 50)), "cold-hold-high"),
        ((0.0, "reheating"), ((0, 41), (130, 140)), "reheat-late"),
    ],
)
def test_each_limit_is_raised_by_its_kind(
    stages: tuple[float, str], core: tuple[tuple[float, float], ...], kind: str
) -> None:
    assert at(history(line(*core), stages=(stages,)))[kind].is_true


def test_lethality_is_asked_when_the_piece_is_about_to_be_eaten() -> None:
    core = line((0, 60), (100, 140), (110, 140), (130, 125))
    resting = ((0.0, "smoking"), (110.0, "resting"))
    assert "lethality-not-met" not in at(history(core, stages=resting))
    served = (*resting, (129.0, "serving"))
    assert at(history(core, stages=served))["lethality-not-met"].is_true


def test_a_piece_without_readings_raises_nothing_by_proxy() -> None:
    stages = ((0.0, "smoking"), (600.0, "holding"), (700.0, "serving"))
    assert at(history(stages=stages, end_min=900)) == {}


def test_a_hand_reading_below_the_limit_is_a_breach_at_once() -> None:
    clocks = clocks_for(Piece("b"), RETAIL)
    clocks.enter(Stage.HOLDING, 0, RETAIL)
    low = milli_c_from_fahrenheit(130)
    clocks.update(0, low, low, by_hand=True)
    assert clocks.hold.breached_ms == 0
    assert told(clocks, 0)["hot-hold-low"].is_true


@pytest.mark.parametrize("middle_min", [80, 110, 119, 121, 150])
def test_live_and_record_agree_on_cooling(middle_min: float) -> None:
    core = line((0, 150), (10, 135), (10 + middle_min, 70), (300, 41), (310, 40))
    piece = history(core, stages=((0.0, "cooling"),))
    late = at(piece).get("cooling-stage-1-late")
    assert judge(piece, RETAIL).cooling.stages[0].met is not (late is not None and late.is_true)


def test_live_and_record_agree_on_lethality() -> None:
    for top_f in (128, 139, 150):
        core = line((0, 60), (100, top_f), (105, top_f), (120, 120))
        piece = history(core, stages=((0.0, "smoking"), (105.0, "resting")))
        clocks = run([piece], RETAIL)
        assert (clocks.lethality.met_ms is not None) is judge(piece, RETAIL).lethality.verdict.met


def test_a_guard_band_moves_an_alarm_inward() -> None:
    guarded = parse_policy(
        '[policy]\nname = "test"\nversion = "1"\nbase = "retail-food-code"\n'
        '[guard_band]\nvalue = "1F"\nsource = "this test"\n'
    )
    held = history(line((0, 150), (10, 135.6), (60, 135.6)), stages=((0.0, "holding"),))
    chilled = history(line((0, 38), (10, 40.4), (600, 40.4)), stages=((0.0, "chilled"),))
    for piece, alarm in ((held, "hot-hold-low"), (chilled, "cold-hold-high")):
        assert told(run([piece], guarded), piece.end_ms / MIN)[alarm].is_true, alarm
        assert not told(run([piece], RETAIL), piece.end_ms / MIN)[alarm].is_true, alarm
    assert judge(held, guarded).holding.met, "the limit itself was kept"


def test_a_piece_is_held_to_the_cold_limit_only_once_it_was_cold() -> None:
    """135 F to 41 F takes hours: until then it is late or not, and never a warm refrigerator."""
    warm = line((0, 150), (10, 135), (120, 60))
    stages = ((0.0, "holding"), (5.0, "cooling"))
    assert "cold-hold-high" not in at(history(warm, stages=stages))
    cold = line((0, 150), (10, 135), (120, 60), (300, 40), (310, 41), (360, 50))
    assert at(history(cold, stages=stages))["cold-hold-high"].is_true


def test_cooked_meat_that_nobody_marked_as_off_the_pit_is_held_to_the_hot_limit() -> None:
    core = line((0, 45), (600, 203), (700, 140), (760, 120), (800, 115))
    said = at(history(core, stages=((0.0, "smoking"),)))["hot-hold-low"]
    assert said.is_true
    raw = line((0, 45), (600, 130), (700, 110), (800, 100))  # was never cooked
    assert "hot-hold-low" not in at(history(raw, stages=((0.0, "smoking"),)))


@pytest.mark.parametrize(("warm_f", "is_late"), [(46.0, False), (60.0, True)])
def test_reheating_counts_from_the_cold_only_where_it_was_plainly_warm(
    warm_f: float, is_late: bool
) -> None:
    core = line((0, 38), (60, 38), (90, warm_f), (150, warm_f), (240, 150))
    piece = history(core, stages=((0.0, "chilled"), (150.0, "reheating")))
    assert at(piece)["reheat-late"].is_true is is_late


def test_a_fall_that_not_all_probes_showed_begins_the_cooling_and_ends_no_step() -> None:
    clocks = clocks_for(Piece("b", "brisket-flat"), RETAIL)
    for t_ms, value_mc in line((0, 150), (10, 135), (60, 60), (70, 55)):
        if t_ms == 5 * MIN:
            clocks.enter(Stage.COOLING, t_ms, RETAIL)
        clocks.update(t_ms, value_mc, value_mc, whole=t_ms <= 5 * MIN)
    found = told(clocks, 70)["cooling-stage-1-late"]
    assert found.remaining_s == pytest.approx(60 * 60, abs=120)
