"""Alerts: prompts (something to do) and alarms (something wrong that needs a hand).

One state machine serves both. The standard calls *alarm* what needs a timely response; an alert
here is either: ``Watch`` in the engine, ``AlertView`` as it is shown.
Source of the state names: ANSI/ISA-18.2 and IEC 62682, as summarised in public overviews.
"""

from __future__ import annotations

from enum import IntEnum, StrEnum
from typing import Literal

AlertClass = Literal["prompt", "alarm"]
PROMPTS = (
    "wrap-due", "tender-check-due", "pull-due", "rest-done", "check-due", "weigh-due",
    "sanitize-due", "hot-hold-near", "discard-near", "date-mark-due", "stall-began", "stall-ended",
    "lid-open", "finish-late", "finish-early", "short-of-meat", "check-overdue", "stage-likely",
    "weight-likely", "weight-kept",
)  # fmt: skip
ALARMS = (
    "pit-low", "pit-high", "pit-falling", "flare-up", "hot-hold-low", "cold-hold-high",
    "cooling-stage-1-late", "cooling-stage-2-late", "cooling-will-miss", "come-up-slow",
    "time-limit", "reheat-late", "lethality-not-met", "probe-fault", "channel-stale",
    "device-lost", "battery-low", "clock-unset", "disk-low", "store-failing", "notify-failing",
    "uplink-behind", "node-slow", "discard-due",
)  # fmt: skip
KINDS: tuple[str, ...] = PROMPTS + ALARMS
TAKEN_BACK = "raised on an entry that was taken back"  # why such an alert returns


def alert_class(kind: str) -> AlertClass:
    """Return whether a kind is a prompt or an alarm."""
    return "prompt" if kind in PROMPTS else "alarm"


class AlertState(StrEnum):
    NORMAL = "normal"
    UNACKNOWLEDGED = "unacknowledged"
    ACKNOWLEDGED = "acknowledged"
    RETURNED_UNACKNOWLEDGED = "returned-unacknowledged"
    LATCHED_UNACKNOWLEDGED = "latched-unacknowledged"
    LATCHED_ACKNOWLEDGED = "latched-acknowledged"
    SHELVED = "shelved"
    # Words of earlier records and of programs that read them; nothing comes to these any more.
    SUPPRESSED = "suppressed"
    OUT_OF_SERVICE = "out-of-service"


ANNUNCIATED = frozenset({AlertState.UNACKNOWLEDGED, AlertState.LATCHED_UNACKNOWLEDGED})
ACTIVE = frozenset(
    {
        AlertState.UNACKNOWLEDGED,
        AlertState.ACKNOWLEDGED,
        AlertState.LATCHED_UNACKNOWLEDGED,
        AlertState.LATCHED_ACKNOWLEDGED,
    }
)


class Priority(IntEnum):
    LOW = 1
    MEDIUM = 2
    HIGH = 3

    @property
    def label(self) -> str:
        return self.name.lower()
