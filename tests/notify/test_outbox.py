"""Who is told what and when: the outbox is pure, so hours pass in a loop."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pitlogger.model.alerts import AlertState, Priority
from pitlogger.notify.alert_status import UnansweredAlert
from pitlogger.notify.outbox import GROUP_MS, Happened, Outbox, Push
from pitlogger.notify.quiet import QuietHours

START_MS = 1_790_000_000_000  # 2026-09-21 14:13:20 UTC
MINUTE_MS = 60_000
UNACK, ACK, NORMAL = AlertState.UNACKNOWLEDGED, AlertState.ACKNOWLEDGED, AlertState.NORMAL


def alert(
    state: AlertState = UNACK,
    t_ms: int = START_MS,
    key: str = "pit-low/pit",
    priority: Priority = Priority.MEDIUM,
    wakes: bool = True,
    was: AlertState = NORMAL,
) -> Happened:
    kind = key.partition("/")[0]
    return Happened(key, kind, state, priority, wakes, t_ms, "what", "do", was)


def told(outbox: Outbox, minutes: float, start_ms: int = START_MS) -> list[tuple[float, Push]]:
    """Return every push within some minutes, second by second, with the minute it came."""
    return [
        ((t_ms - start_ms) / MINUTE_MS, push)
        for t_ms in range(start_ms, start_ms + round(minutes * MINUTE_MS) + 1, 1000)
        for push in outbox.due(t_ms, t_ms)
    ]


def minutes_of(pushes: list[tuple[float, Push]], contact: str = "first") -> list[int]:
    return [int(minute) for minute, push in pushes if push.contact == contact]


def test_an_unacknowledged_alert_is_told_at_0_3_8_18_minutes_and_then_every_15() -> None:
    outbox = Outbox()
    outbox.happened(alert())
    assert minutes_of(told(outbox, 64)) == [0, 3, 8, 18, 33, 48, 63]


def test_only_the_first_push_counts_as_raised_and_the_others_as_repeated() -> None:
    outbox = Outbox()
    outbox.happened(alert())
    assert [push.kind for _, push in told(outbox, 9)] == ["raised", "repeated", "repeated"]


def test_acknowledging_stops_the_repeats() -> None:
    outbox = Outbox()
    outbox.happened(alert())
    told(outbox, 1)
    outbox.happened(alert(ACK, START_MS + MINUTE_MS, was=UNACK))
    assert told(outbox, 60) == []


def test_the_second_contact_hears_of_high_priority_after_ten_minutes() -> None:
    outbox = Outbox()
    outbox.happened(alert(key="flare-up/pit", priority=Priority.HIGH))
    assert minutes_of(told(outbox, 50), "second") == [10, 18, 33, 48]


def test_the_second_contact_never_hears_of_medium_priority() -> None:
    outbox = Outbox()
    outbox.happened(alert())
    assert minutes_of(told(outbox, 50), "second") == []


def test_alerts_within_ten_seconds_are_told_together() -> None:
    outbox = Outbox()
    outbox.happened(alert())
    outbox.happened(alert(t_ms=START_MS + 9_000, key="device-lost/probe"))
    pushes = told(outbox, 1)
    assert [[each.alert for each in push.standing] for _, push in pushes] == [
        ["pit-low/pit", "device-lost/probe"]
    ]
    assert round(pushes[0][0] * 60) == GROUP_MS / 1000


def test_an_alert_after_the_group_was_told_waits_in_a_group_of_its_own() -> None:
    outbox = Outbox()
    outbox.happened(alert())
    told(outbox, 0.2)
    outbox.happened(alert(t_ms=START_MS + 15_000, key="device-lost/probe"))
    pushes = told(outbox, 1, START_MS + 15_000)
    assert [round(minute * 60) for minute, _ in pushes] == [10]


def test_an_alert_gone_within_the_wait_is_never_told() -> None:
    outbox = Outbox()
    outbox.happened(alert())
    outbox.happened(alert(AlertState.RETURNED_UNACKNOWLEDGED, START_MS + 5_000, was=UNACK))
    assert told(outbox, 5) == []


def test_a_flood_is_gathered_for_a_minute() -> None:
    outbox = Outbox()
    for number in range(11):
        outbox.happened(alert(t_ms=START_MS, key=f"probe-fault/{number}"))
    told(outbox, 0.2)
    outbox.happened(alert(t_ms=START_MS + 20_000, key="probe-fault/late"))
    pushes = told(outbox, 2, START_MS + 20_000)
    assert round(pushes[0][0] * 60) == 60


def test_back_in_band_is_told_once_and_ends_the_repeats() -> None:
    outbox = Outbox()
    outbox.happened(alert())
    told(outbox, 1)
    outbox.happened(alert(AlertState.RETURNED_UNACKNOWLEDGED, START_MS + MINUTE_MS, was=UNACK))
    assert [push.kind for _, push in told(outbox, 60)] == ["returned"]


def test_back_in_band_is_told_after_an_acknowledgement_too() -> None:
    outbox = Outbox()
    outbox.happened(alert())
    told(outbox, 1)
    outbox.happened(alert(ACK, START_MS + MINUTE_MS, was=UNACK))
    outbox.happened(alert(NORMAL, START_MS + 2 * MINUTE_MS, was=ACK))
    assert [push.kind for _, push in told(outbox, 5)] == ["returned"]


def test_a_latched_alert_goes_on_asking_for_a_hand() -> None:
    outbox = Outbox()
    outbox.happened(alert(key="hot-hold-low/brisket"))
    told(outbox, 1)
    latched = AlertState.LATCHED_UNACKNOWLEDGED
    outbox.happened(alert(latched, START_MS + MINUTE_MS, key="hot-hold-low/brisket", was=UNACK))
    later = told(outbox, 8, START_MS + MINUTE_MS)
    assert [push.kind for _, push in later] == ["repeated", "repeated"]


def test_a_prompt_that_was_done_needs_no_note() -> None:
    outbox = Outbox()
    outbox.happened(alert(key="wrap-due/brisket"))
    told(outbox, 1)
    outbox.happened(alert(NORMAL, START_MS + MINUTE_MS, key="wrap-due/brisket", was=ACK))
    assert told(outbox, 5) == []


def test_what_a_person_silenced_is_told_no_more() -> None:
    outbox = Outbox()
    outbox.happened(alert())
    told(outbox, 1)
    outbox.happened(alert(AlertState.SHELVED, START_MS + MINUTE_MS, was=ACK))
    assert told(outbox, 60) == []


def test_a_notice_is_told_once() -> None:
    outbox = Outbox(notices=frozenset({"stall-began"}))
    outbox.happened(alert(key="stall-began/brisket", priority=Priority.LOW))
    assert minutes_of(told(outbox, 60)) == [0]


QUIET = QuietHours(14 * 60, 15 * 60, UTC)


def test_in_quiet_hours_only_what_wakes_is_told() -> None:
    outbox = Outbox(quiet=QUIET)
    outbox.happened(alert(wakes=False, key="disk-low/node"))
    outbox.happened(alert(key="pit-low/pit"))
    first = told(outbox, 1)
    assert [each.alert for _, push in first for each in push.standing] == ["pit-low/pit"]


def test_what_does_not_wake_is_told_when_the_quiet_hours_end() -> None:
    outbox = Outbox(quiet=QUIET)
    outbox.happened(alert(wakes=False, key="disk-low/node"))
    assert minutes_of(told(outbox, 60))[0] == 46  # 15:00


def test_quiet_hours_do_not_hold_while_the_time_of_day_is_unknown() -> None:
    outbox = Outbox(quiet=QUIET)
    outbox.happened(alert(wakes=False, key="disk-low/node"))
    assert outbox.due(START_MS + GROUP_MS, None)


def test_quiet_hours_may_cross_midnight() -> None:
    night = QuietHours(22 * 60, 6 * 60, UTC)
    at = [night.holds((hour * 60 + 30) * MINUTE_MS) for hour in (21, 22, 3, 5, 6)]
    assert at == [False, True, True, True, False]


def test_the_schedule_survives_a_restart() -> None:
    before = Outbox()
    before.happened(alert())
    told(before, 4)
    after = Outbox()
    after.restore(UnansweredAlert.load(each.dump()) for each in before.standing.values())
    assert minutes_of(told(after, 20)) == [8, 18]


def test_repeats_missed_while_off_are_told_once_and_not_all_together() -> None:
    before = Outbox()
    before.happened(alert())
    told(before, 1)
    after = Outbox()
    after.restore(before.standing.values())
    assert minutes_of(told(after, 30, START_MS + 60 * MINUTE_MS)) == [0, 3, 18]


def test_an_alert_found_after_a_restart_is_told() -> None:
    outbox = Outbox()
    outbox.reconcile([alert()])
    assert minutes_of(told(outbox, 1)) == [0]


def test_an_alert_acknowledged_while_nobody_listened_is_told_no_more() -> None:
    outbox = Outbox()
    outbox.happened(alert())
    told(outbox, 1)
    outbox.reconcile([alert(ACK)])
    assert told(outbox, 30) == []


@given(
    st.lists(
        st.tuples(
            st.integers(0, 3600),
            st.sampled_from(["pit-low/pit", "flare-up/pit", "wrap-due/b"]),
            st.sampled_from([UNACK, ACK, NORMAL, AlertState.SHELVED]),
        ),
        max_size=25,
    )
)
def test_nothing_is_told_of_an_alert_that_does_not_stand(
    steps: list[tuple[int, str, AlertState]],
) -> None:
    outbox = Outbox()
    states: dict[str, AlertState] = {}
    for second, key, state in sorted(steps, key=lambda step: step[0]):
        t_ms = START_MS + second * 1000
        outbox.happened(alert(state, t_ms, key, was=states.get(key, NORMAL)))
        states[key] = state
        for push in outbox.due(t_ms + 400, None):
            asks = [each.alert for each in push.standing if push.kind != "returned"]
            assert all(states[alert] is UNACK for alert in asks)


def high(**more: object) -> Happened:
    return replace(alert(priority=Priority.HIGH, key="flare-up/pit"), **more)  # type: ignore[arg-type]


def test_a_high_alarm_waits_for_no_group_and_for_no_flood() -> None:
    outbox = Outbox()
    for number in range(20):
        outbox.happened(alert(key=f"probe-fault/{number}"))
    told(outbox, 0.2)
    outbox.happened(alert(t_ms=START_MS + 15_000, key="probe-fault/late"))
    outbox.happened(high(t_ms=START_MS + 16_000))
    (push,) = outbox.due(START_MS + 16_500, None)
    assert {each.alert for each in push.standing} == {"flare-up/pit", "probe-fault/late"}


def test_the_next_contact_is_told_at_once_where_the_first_is_not_reached() -> None:
    outbox = Outbox()
    outbox.happened(high())
    assert minutes_of(told(outbox, 1.5), "second") == []
    assert outbox.high_unanswered(START_MS + MINUTE_MS) == ["flare-up/pit"]
    outbox.unreached("flare-up/pit")
    assert outbox.high_unanswered(START_MS + MINUTE_MS) == []
    later = told(outbox, 20, START_MS + 90_000)
    assert minutes_of(later, "second")[0] == 0
    assert 9 <= minutes_of(later, "third")[0] <= 10


@pytest.mark.parametrize("minutes", [2, 10, 30])
def test_who_is_next_is_told_after_the_time_chosen(minutes: int) -> None:
    outbox = Outbox(escalate_after_min=minutes)
    outbox.happened(high())
    pushes = told(outbox, 3 * minutes)
    assert minutes_of(pushes, "second")[0] == minutes
    assert minutes_of(pushes, "third")[0] == 2 * minutes
