"""The alert machine against a published-overview synthesis of ISA-18.2 / IEC 62682.

``tests/data/alarm_transitions.csv`` lists from-state, event, guard and to-state; its names are
mapped to ours here. A hypothesis machine then walks random paths.
"""

import csv
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pitlogger.model.alerts import AlertState
from pitlogger.rules.machine import AlertEvent, transition

DATA = Path(__file__).parents[1] / "data" / "alarm_transitions.csv"
STATES = {
    "NORM": AlertState.NORMAL,
    "UNACK": AlertState.UNACKNOWLEDGED,
    "ACKED": AlertState.ACKNOWLEDGED,
    "RTNUN": AlertState.RETURNED_UNACKNOWLEDGED,
    "LATCH_UNACK": AlertState.LATCHED_UNACKNOWLEDGED,
    "LATCH_ACK": AlertState.LATCHED_ACKNOWLEDGED,
    "SHLVD": AlertState.SHELVED,
}
EVENTS = {
    ("condition_true_after_on_delay", ""): AlertEvent.RAISED,
    ("acknowledge", ""): AlertEvent.ACKNOWLEDGED,
    ("condition_false_after_off_delay", "not latching"): AlertEvent.CLEARED,
    ("condition_false_after_off_delay", "latching"): AlertEvent.CLEARED_LATCHING,
    ("realarm_timer", "condition still true"): AlertEvent.REALARMED,
    ("reset", "condition false"): AlertEvent.RESET,
    ("shelve(duration,reason,who)", "allowed for this alarm; duration <= max"): AlertEvent.SHELVED,
    ("unshelve or timer expiry", "condition true"): AlertEvent.UNSHELVED_TRUE,
    ("unshelve or timer expiry", "condition false"): AlertEvent.UNSHELVED_FALSE,
    ("one_shot_and_condition_false", "one-shot shelving"): AlertEvent.UNSHELVED_FALSE,
}
# Bad data raises no event: the state is frozen. Suppression by design and taking out of service
# have no use here: what does not apply in a stage is retired, and what is not wanted is shelved.
ROWS = [
    (from_state, EVENTS[row["event"], row["guard"]], row["to_state"])
    for row in csv.DictReader(DATA.read_text(encoding="utf-8").splitlines())
    if (row["event"], row["guard"]) in EVENTS
    for from_state in row["from_state"].split("|")
]


@pytest.mark.parametrize(("before", "event", "after"), ROWS)
def test_each_transition_of_the_table(before: str, event: AlertEvent, after: str) -> None:
    expected = None if before == after else STATES[after]
    assert transition(STATES[before], event) is expected


PATHS = st.lists(st.sampled_from(list(AlertEvent)), max_size=40)


@given(PATHS)
def test_no_path_loses_an_unacknowledged_alert(path: list[AlertEvent]) -> None:
    """Only a person's word or a design rule takes an unacknowledged alert to normal."""
    state = AlertState.NORMAL
    for event in path:
        after = transition(state, event)
        if state in (AlertState.UNACKNOWLEDGED, AlertState.LATCHED_UNACKNOWLEDGED):
            assert after is not AlertState.NORMAL
        if after is not None:
            state = after


@given(PATHS)
def test_a_latched_alert_needs_a_disposition(path: list[AlertEvent]) -> None:
    state = AlertState.LATCHED_ACKNOWLEDGED
    for event in path:
        after = transition(state, event)
        if state is AlertState.LATCHED_ACKNOWLEDGED and after is AlertState.NORMAL:
            assert event is AlertEvent.RESET
        if after is not None:
            state = after
