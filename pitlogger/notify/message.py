"""What a person is told: what, how much, since when, what to do."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from datetime import datetime, tzinfo
from typing import Literal

from pitlogger.model.alerts import Priority, alert_class
from pitlogger.model.quantities import show_duration
from pitlogger.notify.alert_status import Standing

MessageKind = Literal["raised", "repeated", "returned", "alive", "test"]
# What follows from what: an effect is not told beside its cause.
FOLLOWS: dict[str, tuple[str, ...]] = {
    "device-lost": ("channel-stale", "probe-fault"),
    "pit-falling": ("pit-low",),
    "flare-up": ("pit-high",),
    "hot-hold-low": ("hot-hold-near",),
}


@dataclass(frozen=True, slots=True)
class Message:
    """One thing to tell, to one way or several.

    Attributes:
        id: The same however often it is sent: who gets it twice can tell.
        alerts: Keys of the alerts it speaks of.
        at_ms: When it was made, UTC milliseconds.
    """

    id: str
    kind: MessageKind
    title: str
    text: str
    priority: Priority
    at_ms: int
    alerts: tuple[str, ...] = ()

    def dump(self) -> str:
        """Return the message as JSON text; ``priority`` by its name."""
        document = {**asdict(self), "priority": self.priority.label}
        return json.dumps(document, ensure_ascii=False)

    @staticmethod
    def load(text: str) -> Message:
        """Return the message of a JSON text; the inverse of ``dump``."""
        given = json.loads(text)
        given["priority"] = Priority[given["priority"].upper()]
        return Message(**{**given, "alerts": tuple(given["alerts"])})


def test_message(node: str, utc_ms: int) -> Message:
    """Return a message that only asks to be seen."""
    return Message(
        f"test@{utc_ms}", "test", f"Test from {node}",
        "This is a test of how you are told. Nothing is wrong.", Priority.LOW, utc_ms,
    )  # fmt: skip


def alive_message(node: str, utc_ms: int, every_s: float) -> Message:
    """Return a heartbeat: whoever misses it for a while knows that the node is dead."""
    silence = show_duration(round(3000 * every_s))
    text = f"All is well. Nothing heard for {silence} means: go and look."
    return Message(f"alive@{utc_ms}", "alive", f"{node} is alive", text, Priority.LOW, utc_ms)


def without_effects(standing: Sequence[Standing]) -> list[Standing]:
    """Return the alerts that are no mere effect of another one, the gravest first.

    An effect is left out where its cause stands on the same subject; a lost device hides what
    is silent because of it.
    """
    hidden = {
        (kind, None if cause.kind == "device-lost" else cause.subject)
        for cause in standing
        for kind in FOLLOWS.get(cause.kind, ())
    }
    kept = [
        each
        for each in standing
        if (each.kind, None) not in hidden and (each.kind, each.subject) not in hidden
    ]
    return sorted(kept, key=lambda each: (-each.priority, each.raised_ms))


def compose(
    kind: MessageKind, standing: Sequence[Standing], now_ms: int, offset_ms: int,
    zone: tzinfo | None = None,
) -> Message:  # fmt: skip
    """Return the message that tells of some alerts.

    Args:
        kind: Told for the first time, again, or returned to normal.
        standing: At least one alert; effects of others are only counted.
        now_ms: Engine time.
        offset_ms: UTC less engine time.
        zone: In which times are told; the host's by default.
    """
    told = without_effects(standing)
    lead = told[0]
    effects = len(standing) - len(told)

    def clock(t_ms: int) -> str:
        return f"{datetime.fromtimestamp((t_ms + offset_ms) / 1000, zone):%H:%M}"

    number = "back" if kind == "returned" else str(lead.pushes)
    message = Message(
        f"{lead.alert}@{lead.raised_ms}#{number}", kind, _title(kind, told), "",
        max(each.priority for each in told), now_ms + offset_ms,
        tuple(each.alert for each in standing),
    )  # fmt: skip
    if kind == "returned":
        lines = [
            f"{each.message}\nFrom {clock(each.raised_ms)} to {clock(each.returned_ms or now_ms)}."
            for each in told
        ]
        return replace(message, text="\n".join(lines), priority=Priority.LOW)
    lines = [
        f"{each.message}\n"
        f"Since {clock(each.raised_ms)} ({show_duration(now_ms - each.raised_ms)}).\n"
        f"Do: {each.remedy}"
        for each in told
    ]
    if effects:
        lines.append(f"{effects} more that follow from this.")
    return replace(message, text="\n\n".join(lines))


def _title(kind: MessageKind, told: Sequence[Standing]) -> str:
    lead = told[0]
    more = f" and {len(told) - 1} more" if len(told) > 1 else ""
    if kind == "returned":
        return f"Back in band: {lead.kind} {lead.subject}{more}"
    word = "ALARM" if alert_class(lead.kind) == "alarm" else "To do"
    again = " (again)" if kind == "repeated" else ""
    return f"{word}{again}: {lead.kind} {lead.subject}{more}"
