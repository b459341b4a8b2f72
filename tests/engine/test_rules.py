"""The rules beyond single limits: pit, stages, clocks of food safety, hands."""

import pytest

from pitlogger.errors import UsageError
from pitlogger.model.cooks import Stage
from pitlogger.model.journal import AlertActed, SpotRead, StageSet, Weighed
from pitlogger.model.quantities import milli_c_from_fahrenheit

from .conftest import COOK, START_MS, Kitchen

BAND = COOK.replace('id = "pit"\n', 'id = "pit"\nset_point = "238F"\nlow = "210F"\nhigh = "290F"\n')
HOUR = 3600


def states(kitchen: Kitchen, kind: str) -> list[str]:
    return [state for _, state in kitchen.alerts(kind)]


def minutes(
    kitchen: Kitchen, fahrenheit: float, count: int, channel: str, every_s: int = 10
) -> None:
    """Hold a channel at a temperature for some minutes, a reading every ten seconds."""
    for _ in range(count * 60 // every_s):
        kitchen.t_ms += every_s * 1000
        kitchen.read(fahrenheit, channel)


def ramp(kitchen: Kitchen, start: float, end: float, hours: float, channel: str) -> None:
    steps = round(hours * 360)
    for step in range(1, steps + 1):
        kitchen.t_ms += 10_000
        kitchen.read(start + (end - start) * step / steps, channel)


def test_a_pit_under_its_band_is_told_after_ten_minutes() -> None:
    kitchen = Kitchen(BAND)
    kitchen.stage(Stage.SMOKING)
    minutes(kitchen, 238, 5, "pit")
    minutes(kitchen, 205, 9, "pit")
    assert states(kitchen, "pit-low") == []
    minutes(kitchen, 205, 2, "pit")
    assert states(kitchen, "pit-low") == ["unacknowledged"]


def test_a_pit_over_its_band_is_told_after_five_minutes() -> None:
    kitchen = Kitchen(BAND)
    kitchen.stage(Stage.SMOKING)
    minutes(kitchen, 238, 5, "pit")
    minutes(kitchen, 300, 6, "pit")
    assert states(kitchen, "pit-high") == ["unacknowledged"]


def test_a_fire_being_lit_is_not_too_cold() -> None:
    kitchen = Kitchen(BAND)
    kitchen.stage(Stage.SMOKING)
    minutes(kitchen, 120, 60, "pit")
    assert states(kitchen, "pit-low") == []


def test_a_fire_that_never_gets_there_is_told_after_ninety_minutes() -> None:
    kitchen = Kitchen(BAND)
    kitchen.stage(Stage.SMOKING)
    minutes(kitchen, 120, 110, "pit")
    assert states(kitchen, "pit-low") == ["unacknowledged"]


def test_without_a_band_there_is_no_band_alarm(kitchen: Kitchen) -> None:
    kitchen.stage(Stage.SMOKING)
    minutes(kitchen, 238, 5, "pit")
    minutes(kitchen, 120, 60, "pit")
    assert states(kitchen, "pit-low") == []


def test_an_empty_pit_needs_no_hand() -> None:
    kitchen = Kitchen(BAND)
    kitchen.stage(Stage.SMOKING)
    minutes(kitchen, 238, 5, "pit")
    kitchen.stage(Stage.RESTING)
    minutes(kitchen, 100, 60, "pit")
    assert states(kitchen, "pit-low") == []


def test_a_lid_that_stays_open_is_a_notice_that_settles_by_itself(kitchen: Kitchen) -> None:
    kitchen.stage(Stage.SMOKING)
    minutes(kitchen, 238, 10, "pit")
    ramp(kitchen, 238, 180, 0.01, "pit")
    minutes(kitchen, 180, 5, "pit")
    assert states(kitchen, "lid-open") == ["unacknowledged"]
    ramp(kitchen, 180, 236, 0.05, "pit")
    minutes(kitchen, 238, 5, "pit")
    assert states(kitchen, "lid-open") == ["unacknowledged", "acknowledged", "normal"]


def test_a_very_hot_pit_is_told_at_once(kitchen: Kitchen) -> None:
    kitchen.stage(Stage.SMOKING)
    minutes(kitchen, 238, 5, "pit")
    ramp(kitchen, 238, 480, 0.1, "pit")
    assert states(kitchen, "flare-up") == ["unacknowledged"]


def test_a_falling_fire_is_told_before_it_leaves_its_band() -> None:
    kitchen = Kitchen(BAND)
    kitchen.stage(Stage.SMOKING)
    minutes(kitchen, 238, 40, "pit")
    ramp(kitchen, 238, 211, 0.7, "pit")
    assert states(kitchen, "pit-falling")[:1] == ["unacknowledged"]
    assert states(kitchen, "pit-low") == []


def test_a_tender_check_comes_before_the_pull_and_not_yet_asks_again(kitchen: Kitchen) -> None:
    kitchen.stage(Stage.WRAPPED)
    minutes(kitchen, 196, 2, "brisket-1/core")
    key = "tender-check-due/brisket-1"
    kitchen.say(AlertActed(key, "answer", reason="not yet"), by="AB")
    minutes(kitchen, 196, 20, "brisket-1/core")
    assert states(kitchen, "tender-check-due") == ["unacknowledged", "acknowledged"]
    minutes(kitchen, 198.5, 1, "brisket-1/core")
    assert states(kitchen, "tender-check-due")[-1] == "unacknowledged"
    assert states(kitchen, "pull-due") == []


def test_not_yet_asks_again_after_half_an_hour(kitchen: Kitchen) -> None:
    kitchen.stage(Stage.SMOKING)
    minutes(kitchen, 166, 2, "brisket-1/core")
    kitchen.say(AlertActed("wrap-due/brisket-1", "answer", reason="not yet"))
    minutes(kitchen, 166, 31, "brisket-1/core")
    assert states(kitchen, "wrap-due") == ["unacknowledged", "acknowledged", "unacknowledged"]


def test_leaving_it_bare_settles_the_wrap_for_good(kitchen: Kitchen) -> None:
    kitchen.stage(Stage.SMOKING)
    minutes(kitchen, 166, 2, "brisket-1/core")
    kitchen.say(AlertActed("wrap-due/brisket-1", "answer", reason="leaving it bare"))
    minutes(kitchen, 150, 5, "brisket-1/core")
    minutes(kitchen, 170, 60, "brisket-1/core")
    assert states(kitchen, "wrap-due").count("unacknowledged") == 1


def test_an_unknown_answer_is_told(kitchen: Kitchen) -> None:
    kitchen.stage(Stage.SMOKING)
    minutes(kitchen, 166, 2, "brisket-1/core")
    with pytest.raises(UsageError, match="did you mean 'not yet'"):
        kitchen.say(AlertActed("wrap-due/brisket-1", "answer", reason="not yett"))


def test_cooling_too_slowly_is_told_at_the_limit_and_latches(kitchen: Kitchen) -> None:
    kitchen.stage(Stage.SMOKING)
    minutes(kitchen, 203, 5, "brisket-1/core")
    kitchen.stage(Stage.COOLING)
    ramp(kitchen, 203, 135, 0.5, "brisket-1/core")
    crossed_s = (kitchen.t_ms - START_MS) // 1000
    ramp(kitchen, 135, 90, 2.5, "brisket-1/core")
    raised = [
        at for at, state in kitchen.alerts("cooling-stage-1-late") if state == "unacknowledged"
    ]
    assert raised == [pytest.approx(crossed_s + 7200, abs=120)]
    assert states(kitchen, "cooling-will-miss")[:1] == ["unacknowledged"]


def test_cooling_in_time_is_not_told(kitchen: Kitchen) -> None:
    kitchen.stage(Stage.SMOKING)
    minutes(kitchen, 203, 5, "brisket-1/core")
    kitchen.stage(Stage.COOLING)
    ramp(kitchen, 203, 135, 0.3, "brisket-1/core")
    ramp(kitchen, 135, 70, 1.5, "brisket-1/core")
    ramp(kitchen, 70, 40, 3, "brisket-1/core")
    assert states(kitchen, "cooling-stage-1-late") == []
    assert states(kitchen, "cooling-stage-2-late") == []


def test_a_stage_set_in_the_past_runs_the_cooling_clock_from_then(kitchen: Kitchen) -> None:
    kitchen.stage(Stage.SMOKING)
    minutes(kitchen, 203, 10, "brisket-1/core")
    kitchen.stage(Stage.RESTING)
    began_ms = kitchen.t_ms
    ramp(kitchen, 203, 100, 1.5, "brisket-1/core")
    kitchen.say(StageSet("brisket-1", Stage.COOLING, began_ms + 1000))
    clock = kitchen.engine.state.clocks["brisket-1"].cooling
    assert clock.started_ms is not None
    assert clock.started_ms < kitchen.t_ms - HOUR * 1000 * 0.4


def test_warm_raw_meat_in_a_cold_place_is_told_after_half_an_hour() -> None:
    kitchen = Kitchen(COOK + '[[channel]]\nid = "fridge"\nsite = "cold"\n')
    minutes(kitchen, 38, 10, "fridge", every_s=30)
    minutes(kitchen, 45, 29, "fridge", every_s=30)
    assert states(kitchen, "cold-hold-high") == []
    minutes(kitchen, 45, 3, "fridge", every_s=30)
    assert states(kitchen, "cold-hold-high") == ["unacknowledged"]


def test_a_rest_of_three_quarters_of_an_hour_is_told(kitchen: Kitchen) -> None:
    kitchen.stage(Stage.RESTING)
    minutes(kitchen, 170, 50, "brisket-1/core")
    assert [at // 60 for at, state in kitchen.alerts("rest-done") if state == "unacknowledged"] == [
        45
    ]


def test_a_rest_is_done_by_temperature_too(kitchen: Kitchen) -> None:
    kitchen.stage(Stage.RESTING)
    ramp(kitchen, 170, 148, 0.4, "brisket-1/core")
    assert states(kitchen, "rest-done") == ["unacknowledged"]
    assert kitchen.alerts("rest-done")[0][0] < 45 * 60


def test_a_piece_boxed_too_hot_is_to_be_vented(kitchen: Kitchen) -> None:
    kitchen.stage(Stage.HOLDING)
    minutes(kitchen, 200, 3, "brisket-1/core")
    assert states(kitchen, "check-due") == ["unacknowledged"]
    ramp(kitchen, 200, 190, 0.2, "brisket-1/core")
    assert states(kitchen, "check-due")[-1] == "normal"


def test_a_weighing_is_asked_for_once_where_a_person_weighs(kitchen: Kitchen) -> None:
    kitchen.say(Weighed("brisket-1", "purchased", 6_400_000, 0, kitchen.t_ms))
    kitchen.stage(Stage.SMOKING)
    kitchen.t_ms += 1000
    kitchen.stage(Stage.WRAPPED)
    minutes(kitchen, 150, 10, "brisket-1/core")
    assert states(kitchen, "weigh-due") == ["unacknowledged"]
    kitchen.say(AlertActed("weigh-due/brisket-1@at-wrap", "acknowledge"))
    minutes(kitchen, 150, 60, "brisket-1/core")
    assert states(kitchen, "weigh-due") == ["unacknowledged", "acknowledged", "normal"]


def test_nobody_who_does_not_weigh_is_asked_to(kitchen: Kitchen) -> None:
    kitchen.stage(Stage.WRAPPED)
    minutes(kitchen, 150, 60, "brisket-1/core")
    assert states(kitchen, "weigh-due") == []


def test_one_probe_on_raw_and_then_on_cooked_meat_asks_for_washing() -> None:
    kitchen = Kitchen(COOK + '[[piece]]\nid = "butt"\ncut = "pork-butt"\n')
    kitchen.say(SpotRead(4_000, kitchen.t_ms, piece="butt", probe="pen"))
    kitchen.stage(Stage.RESTING)
    kitchen.say(
        SpotRead(milli_c_from_fahrenheit(180), kitchen.t_ms, piece="brisket-1", probe="pen")
    )
    assert states(kitchen, "sanitize-due") == ["unacknowledged"]
    kitchen.say(AlertActed("sanitize-due/pen", "acknowledge"))
    assert states(kitchen, "sanitize-due")[-1] == "normal"


def test_the_stall_is_noticed_and_its_end(kitchen: Kitchen) -> None:
    kitchen.stage(Stage.SMOKING)
    kitchen.say(AlertActed("wrap-due/brisket-1", "shelve", kitchen.t_ms + 14_000_000, "test"))
    ramp(kitchen, 100, 155, 1.5, "brisket-1/core")
    ramp(kitchen, 155, 156.5, 1.5, "brisket-1/core")
    assert states(kitchen, "stall-began")[:1] == ["unacknowledged"]
    ramp(kitchen, 156.5, 185, 1.5, "brisket-1/core")
    assert states(kitchen, "stall-began")[-1] == "normal"
    assert states(kitchen, "stall-ended")[:1] == ["unacknowledged"]


def test_hot_food_that_no_probe_reads_is_asked_for_by_hand_each_hour() -> None:
    kitchen = Kitchen('[[piece]]\nid = "butt"\ncut = "pork-butt"\n')
    kitchen.stage(Stage.HOLDING, "butt")
    kitchen.wait(59 * 60)
    assert states(kitchen, "check-due") == []
    kitchen.wait(120)
    assert states(kitchen, "check-due") == ["unacknowledged"]
    hot = milli_c_from_fahrenheit(150)
    kitchen.say(SpotRead(hot, kitchen.t_ms, piece="butt"))
    kitchen.wait(120)
    assert states(kitchen, "check-due")[-1] == "normal"


def test_chilled_food_is_to_be_marked_with_its_date_once(kitchen: Kitchen) -> None:
    for stage in (Stage.RESTING, Stage.COOLING, Stage.CHILLED):
        kitchen.stage(stage)
        kitchen.wait(60)
    assert states(kitchen, "date-mark-due") == ["unacknowledged"]
    kitchen.say(AlertActed("date-mark-due/brisket-1", "acknowledge"))
    kitchen.wait(7200)
    assert states(kitchen, "date-mark-due") == ["unacknowledged", "acknowledged", "normal"]
