"""When alerts are raised, cleared, acknowledged, latched and frozen."""

import random

import pytest

from pitlogger.errors import UsageError
from pitlogger.model.alerts import AlertState
from pitlogger.model.cooks import Stage
from pitlogger.model.journal import AlertActed, AlertChanged, DeviceChanged, SpotRead
from pitlogger.model.quantities import milli_c_from_fahrenheit
from pitlogger.model.readings import Quality

from .conftest import Kitchen


def test_wrap_is_due_half_a_minute_after_the_lead_core_reaches_it(kitchen: Kitchen) -> None:
    kitchen.stage(Stage.SMOKING)
    kitchen.hold(164.9, 100)
    kitchen.hold(165.0, 60)
    assert kitchen.alerts("wrap-due") == [(131, "unacknowledged")]


def test_the_second_core_neither_wraps_nor_pulls(kitchen: Kitchen) -> None:
    kitchen.stage(Stage.SMOKING)
    kitchen.hold(204, 120, "brisket-1/point")
    assert kitchen.alerts() == []


def test_wrapping_settles_the_prompt_in_the_name_of_who_did_it(kitchen: Kitchen) -> None:
    kitchen.stage(Stage.SMOKING)
    kitchen.hold(166, 40)
    kitchen.stage(Stage.WRAPPED)
    assert [state for _, state in kitchen.alerts("wrap-due")] == [
        "unacknowledged",
        "acknowledged",
        "normal",
    ]
    kitchen.hold(150, 60)
    kitchen.hold(170, 60)
    assert len(kitchen.alerts("wrap-due")) == 3


def test_a_piece_that_stays_bare_is_never_asked_to_be_wrapped() -> None:
    kitchen = Kitchen(
        '[[piece]]\nid = "brisket-1"\ncut = "brisket-packer"\nwrap_at = "never"\n'
        '[[channel]]\nid = "brisket-1/core"\nsite = "core"\npiece = "brisket-1"\n'
    )
    kitchen.stage(Stage.SMOKING)
    kitchen.hold(170, 100)
    assert kitchen.alerts() == []


def test_a_hot_hold_breach_is_told_after_sixty_seconds_and_latches(kitchen: Kitchen) -> None:
    kitchen.stage(Stage.RESTING)
    kitchen.hold(150, 10)
    kitchen.hold(134.9, 61)
    assert kitchen.alerts("hot-hold-low") == [(71, "unacknowledged")]
    kitchen.hold(160, 60)
    assert kitchen.alerts("hot-hold-low")[-1][1] == "latched-unacknowledged"


def test_exactly_the_limit_is_no_breach(kitchen: Kitchen) -> None:
    kitchen.stage(Stage.RESTING)
    kitchen.hold(135.0, 300)
    assert kitchen.alerts("hot-hold-low") == []


def test_the_coldest_core_decides_hot_holding(kitchen: Kitchen) -> None:
    kitchen.stage(Stage.HOLDING)
    kitchen.read(150)
    for _ in range(90):
        kitchen.t_ms += 1000
        kitchen.read(150)
        kitchen.read(130, "brisket-1/point")
    assert [state for _, state in kitchen.alerts("hot-hold-low")] == ["unacknowledged"]


@pytest.mark.parametrize(
    "stage", [Stage.RESTING, Stage.HOLDING, Stage.IN_TRANSIT, Stage.SERVING, Stage.CARVED]
)
def test_hot_holding_is_watched_whatever_the_stage_is_called(stage: Stage) -> None:
    kitchen = Kitchen()
    kitchen.stage(stage)
    kitchen.hold(120, 70)
    assert kitchen.alerts("hot-hold-low")


@pytest.mark.parametrize("stage", [Stage.COOLING, Stage.CHILLED, Stage.SERVED, Stage.DISCARDED])
def test_what_is_meant_to_be_cold_is_not(stage: Stage) -> None:
    kitchen = Kitchen()
    kitchen.stage(Stage.RESTING)
    kitchen.stage(stage)
    kitchen.hold(100, 120)
    assert kitchen.alerts("hot-hold-low") == []


def test_noise_about_the_limit_raises_nothing(kitchen: Kitchen) -> None:
    noise = random.Random(7)
    kitchen.stage(Stage.RESTING)
    for _ in range(3600):
        kitchen.t_ms += 1000
        kitchen.read(135.6 + noise.gauss(0, 0.45))
    assert kitchen.alerts("hot-hold-low") == []


def test_noise_about_the_limit_hides_nothing(kitchen: Kitchen) -> None:
    noise = random.Random(7)
    kitchen.stage(Stage.RESTING)
    kitchen.hold(136, 5)
    for _ in range(300):
        kitchen.t_ms += 1000
        kitchen.read(134.5 + noise.gauss(0, 0.45))
    raised = [at for at, state in kitchen.alerts("hot-hold-low") if state == "unacknowledged"]
    assert len(raised) == 1
    assert raised[0] <= 5 + 60 + 30


def test_the_deadband_widens_only_the_return_side(kitchen: Kitchen) -> None:
    kitchen.stage(Stage.RESTING)
    kitchen.hold(139, 60)
    kitchen.hold(142, 60)
    assert len(kitchen.alerts("hot-hold-near")) == 1
    kitchen.hold(144, 120)
    assert [state for _, state in kitchen.alerts("hot-hold-near")] == [
        "unacknowledged",
        "returned-unacknowledged",
    ]


def test_a_silent_channel_is_stale_after_three_intervals_at_least_fifteen_seconds(
    kitchen: Kitchen,
) -> None:
    kitchen.stage(Stage.SMOKING)
    kitchen.hold(150, 20)
    kitchen.wait(15)
    assert kitchen.alerts("channel-stale") == []
    kitchen.wait(1)
    assert kitchen.alerts("channel-stale") == [(36, "unacknowledged")]


def test_a_slow_channel_may_be_silent_for_longer(kitchen: Kitchen) -> None:
    kitchen.stage(Stage.SMOKING)
    for _ in range(5):
        kitchen.wait(60)
        kitchen.read(150)
    kitchen.wait(180)
    assert kitchen.alerts("channel-stale") == []
    kitchen.wait(1)
    assert [at for at, _ in kitchen.alerts("channel-stale")] == [481]


def test_a_channel_heard_again_is_no_longer_stale(kitchen: Kitchen) -> None:
    kitchen.stage(Stage.SMOKING)
    kitchen.hold(150, 20)
    kitchen.wait(30)
    kitchen.hold(150, 10)
    assert [state for _, state in kitchen.alerts("channel-stale")] == [
        "unacknowledged",
        "returned-unacknowledged",
    ]


def test_a_probe_on_the_table_needs_no_hand(kitchen: Kitchen) -> None:
    kitchen.stage(Stage.TRIMMED)
    kitchen.hold(70, 20)
    kitchen.wait(600)
    assert kitchen.alerts("channel-stale") == []


def test_silence_freezes_a_process_alarm(kitchen: Kitchen) -> None:
    kitchen.stage(Stage.RESTING)
    kitchen.hold(134, 90)
    kitchen.wait(3600)
    states = [state for _, state in kitchen.alerts("hot-hold-low")]
    assert states == ["unacknowledged"]


def test_silence_stops_a_delay_that_was_running(kitchen: Kitchen) -> None:
    kitchen.stage(Stage.RESTING)
    kitchen.hold(150, 30)
    kitchen.hold(134, 20)
    kitchen.wait(300)
    assert kitchen.alerts("hot-hold-low") == []


def test_an_open_probe_raises_its_own_alarm_and_no_temperature_alarm(kitchen: Kitchen) -> None:
    kitchen.stage(Stage.RESTING)
    kitchen.hold(150, 10)
    for _ in range(40):
        kitchen.t_ms += 1000
        kitchen.bad(Quality.OPEN)
    assert [kind for _, kind in kitchen.alerts("probe-fault")] == ["unacknowledged"]
    assert kitchen.alerts("hot-hold-low") == []


def test_a_lone_spike_is_kept_and_judged_by_nobody(kitchen: Kitchen) -> None:
    kitchen.stage(Stage.SMOKING)
    kitchen.hold(150, 60)
    kitchen.t_ms += 1000
    kitchen.read(260)
    kitchen.hold(150, 60)
    spike = [tagged for tagged in kitchen.tagged() if tagged.quality is Quality.TOO_FAST]
    assert [tagged.value for tagged in spike] == [milli_c_from_fahrenheit(260)]
    assert kitchen.alerts() == []


def test_a_hand_reading_counts_where_no_probe_is() -> None:
    kitchen = Kitchen('[[piece]]\nid = "butt"\ncut = "pork-butt"\n')
    kitchen.stage(Stage.HOLDING, "butt")
    kitchen.say(SpotRead(milli_c_from_fahrenheit(130), kitchen.t_ms, piece="butt"))
    kitchen.wait(61)
    assert kitchen.alerts("hot-hold-low") == [(60, "unacknowledged")]


def test_a_lost_device_is_told_after_a_minute(kitchen: Kitchen) -> None:
    kitchen.say(DeviceChanged("scale", "lost", "the port is gone", "plug it in again"))
    kitchen.wait(59)
    assert kitchen.alerts("device-lost") == []
    kitchen.wait(2)
    told = [entry.body for entry in kitchen.entries() if isinstance(entry.body, AlertChanged)]
    assert [(alert.now, alert.message, alert.remedy) for alert in told] == [
        (AlertState.UNACKNOWLEDGED, "scale: the port is gone", "plug it in again")
    ]


def test_a_device_that_is_back_soon_is_not_told(kitchen: Kitchen) -> None:
    kitchen.say(DeviceChanged("scale", "lost"))
    kitchen.wait(20)
    kitchen.say(DeviceChanged("scale", "up"))
    kitchen.wait(600)
    assert kitchen.alerts("device-lost") == []


def test_acknowledging_what_is_not_there_changes_nothing(kitchen: Kitchen) -> None:
    before = len(kitchen.entries())
    with pytest.raises(UsageError, match="did you mean 'wrap-due/brisket-1'"):
        kitchen.say(AlertActed("wrap-due/brisket-2", "acknowledge"))
    with pytest.raises(UsageError, match="nothing to acknowledge"):
        kitchen.say(AlertActed("wrap-due/brisket-1", "acknowledge"))
    assert len(kitchen.entries()) == before


def test_shelving_ends_by_itself_with_the_alert_back(kitchen: Kitchen) -> None:
    kitchen.stage(Stage.SMOKING)
    kitchen.hold(166, 40)
    until_ms = kitchen.t_ms + 600_000
    kitchen.say(AlertActed("wrap-due/brisket-1", "shelve", until_ms, "bark is soft"), by="AB")
    for _ in range(650):
        kitchen.hold(166, 1)
    assert [state for _, state in kitchen.alerts("wrap-due")] == [
        "unacknowledged",
        "shelved",
        "unacknowledged",
    ]


def test_shelving_needs_an_end_and_a_reason(kitchen: Kitchen) -> None:
    with pytest.raises(UsageError, match="end that lies ahead"):
        kitchen.say(AlertActed("wrap-due/brisket-1", "shelve", None, "x"))
    with pytest.raises(UsageError, match="reason"):
        kitchen.say(AlertActed("wrap-due/brisket-1", "shelve", kitchen.t_ms + 1000))


def test_a_latched_alarm_is_settled_only_with_a_disposition(kitchen: Kitchen) -> None:
    kitchen.stage(Stage.RESTING)
    kitchen.hold(130, 70)
    kitchen.hold(160, 60)
    key = "hot-hold-low/brisket-1"
    kitchen.say(AlertActed(key, "acknowledge"))
    with pytest.raises(UsageError, match="reason"):
        kitchen.say(AlertActed(key, "reset"))
    kitchen.say(AlertActed(key, "reset", reason="reheated to 165 F within the hour"))
    assert kitchen.engine.state.watches[key].state is AlertState.NORMAL
