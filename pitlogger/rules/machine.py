"""The alert state machine, as one table.

Sources: states and their meaning, ANSI/ISA-18.2 and IEC 62682 as summarised in public
overviews; shelving always has an end, OPC UA part 9 (public text). The table of events is
our synthesis of these. Bad or stale data raises no event here: the state stays frozen and an
instrument alarm of its own is raised.
"""

from __future__ import annotations

from enum import StrEnum

from pitlogger.model.alerts import AlertState


class AlertEvent(StrEnum):
    """What can happen to an alert; conditions are already filtered by deadband and delay."""

    RAISED = "condition true after on-delay"
    CLEARED = "condition false after off-delay"
    CLEARED_LATCHING = "condition false after off-delay, latching alert"
    ACKNOWLEDGED = "acknowledge"
    UNACKNOWLEDGED = "acknowledgement taken back, condition true or latched"
    REALARMED = "re-alarm timer, condition still true"
    RESET = "reset with a disposition, condition false"
    SHELVED = "shelve"
    UNSHELVED_TRUE = "unshelved or expired, condition true"
    UNSHELVED_FALSE = "unshelved or expired, condition false"


_S, _E = AlertState, AlertEvent

TABLE: dict[tuple[AlertState, AlertEvent], AlertState] = {
    (_S.NORMAL, _E.RAISED): _S.UNACKNOWLEDGED,
    (_S.UNACKNOWLEDGED, _E.ACKNOWLEDGED): _S.ACKNOWLEDGED,
    (_S.UNACKNOWLEDGED, _E.CLEARED): _S.RETURNED_UNACKNOWLEDGED,
    (_S.UNACKNOWLEDGED, _E.CLEARED_LATCHING): _S.LATCHED_UNACKNOWLEDGED,
    (_S.ACKNOWLEDGED, _E.CLEARED): _S.NORMAL,
    (_S.ACKNOWLEDGED, _E.CLEARED_LATCHING): _S.LATCHED_ACKNOWLEDGED,
    (_S.ACKNOWLEDGED, _E.REALARMED): _S.UNACKNOWLEDGED,
    (_S.ACKNOWLEDGED, _E.UNACKNOWLEDGED): _S.UNACKNOWLEDGED,
    (_S.LATCHED_ACKNOWLEDGED, _E.UNACKNOWLEDGED): _S.LATCHED_UNACKNOWLEDGED,
    (_S.RETURNED_UNACKNOWLEDGED, _E.ACKNOWLEDGED): _S.NORMAL,
    (_S.RETURNED_UNACKNOWLEDGED, _E.RAISED): _S.UNACKNOWLEDGED,
    (_S.LATCHED_UNACKNOWLEDGED, _E.ACKNOWLEDGED): _S.LATCHED_ACKNOWLEDGED,
    (_S.LATCHED_UNACKNOWLEDGED, _E.RAISED): _S.UNACKNOWLEDGED,
    (_S.LATCHED_ACKNOWLEDGED, _E.RESET): _S.NORMAL,
    (_S.LATCHED_ACKNOWLEDGED, _E.RAISED): _S.UNACKNOWLEDGED,
    (_S.NORMAL, _E.SHELVED): _S.SHELVED,
    (_S.UNACKNOWLEDGED, _E.SHELVED): _S.SHELVED,
    (_S.ACKNOWLEDGED, _E.SHELVED): _S.SHELVED,
    (_S.RETURNED_UNACKNOWLEDGED, _E.SHELVED): _S.SHELVED,
    (_S.SHELVED, _E.UNSHELVED_TRUE): _S.UNACKNOWLEDGED,
    (_S.SHELVED, _E.UNSHELVED_FALSE): _S.NORMAL,
}


def transition(state: AlertState, event: AlertEvent) -> AlertState | None:
    """Return the state an event leads to, ``None`` where it changes nothing."""
    after = TABLE.get((state, event))
    return None if after is state else after
