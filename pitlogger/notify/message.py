"""What a person is told: what, how much, since when, what to do."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from datetime import datetime, tzinfo
from typing import Any, Literal

from pitlogger.clock import rfc3339
from pitlogger.formats.json_text import parse_json
from pitlogger.model.alerts import Priority, alert_class
from pitlogger.model.quantities import show_duration
from pitlogger.notify.alert_status import UnansweredAlert
from pitlogger.views import words
from pitlogger.views.language import mark, tr
from pitlogger.views.sentences import told as said_here

MessageKind = Literal["raised", "repeated", "returned", "alive", "test"]
_ALARM, _AGAIN_ALARM = mark("ALARM: {what}"), mark("ALARM (again): {what}")
_TO_DO, _AGAIN = mark("To do: {what}"), mark("To do (again): {what}")
# What follows from what: an effect is not reported beside its cause.
FOLLOWS: dict[str, tuple[str, ...]] = {
    "device-lost": ("channel-stale", "probe-fault"),
    "pit-falling": ("pit-low",),
    "flare-up": ("pit-high",),
    "hot-hold-low": ("hot-hold-near",),
}


@dataclass(frozen=True, slots=True)
class Message:
    """One message, for one way or several.

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
        given = parse_json(text)
        given["priority"] = Priority[given["priority"].upper()]
        return Message(**{**given, "alerts": tuple(given["alerts"])})


def test_message(node: str, utc_ms: int) -> Message:
    """Return a message that only asks to be seen."""
    return Message(
        f"test@{utc_ms}", "test", tr("Test from {node}", node=node),
        tr("This is a test of how you are told. Nothing is wrong."), Priority.LOW, utc_ms,
    )  # fmt: skip


def alive_message(node: str, utc_ms: int, every_s: float) -> Message:
    """Return a heartbeat: whoever misses it for a while knows that the node is dead."""
    silence = show_duration(round(3000 * every_s))
    text = tr("All is well. Nothing heard for {silence} means: go and look.", silence=silence)
    return Message(
        f"alive@{utc_ms}",
        "alive",
        tr("{node} is alive", node=node),
        text,
        Priority.LOW,
        utc_ms,
    )


def without_effects(standing: Sequence[UnansweredAlert]) -> list[UnansweredAlert]:
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
    kind: MessageKind, standing: Sequence[UnansweredAlert], now_ms: int, offset_ms: int,
    zone: tzinfo | None = None,
) -> Message:  # fmt: skip
    """Return the message about some alerts.

    Args:
        kind: Told for the first time, again, or returned to normal.
        standing: At least one alert; effects of others are only counted.
        now_ms: Engine time.
        offset_ms: UTC less engine time.
        zone: In which times are written; the host's by default.
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
            tr(
                "{message}\nFrom {begin} to {end}.",
                message=each.message,
                begin=clock(each.raised_ms),
                end=clock(each.returned_ms or now_ms),
            )
            for each in told
        ]
        return replace(message, text="\n".join(lines), priority=Priority.LOW)
    lines = [
        tr(
            "{message}\nSince {begin} ({duration}).\nDo: {remedy}",
            message=each.message,
            begin=clock(each.raised_ms),
            duration=show_duration(now_ms - each.raised_ms),
            remedy=said_here(each.remedy),
        )
        for each in told
    ]
    if effects:
        lines.append(tr("{effects} more that follow from this.", effects=effects))
    return replace(message, text="\n\n".join(lines))


def _title(kind: MessageKind, told: Sequence[UnansweredAlert]) -> str:
    lead = told[0]
    what = words.alert_named(lead.alert)
    if len(told) > 1:
        what = tr("{what} and {count} more", what=what, count=len(told) - 1)
    if kind == "returned":
        return tr("Back in band: {what}", what=what)
    if alert_class(lead.kind) == "alarm":
        return tr(_AGAIN_ALARM if kind == "repeated" else _ALARM, what=what)
    return tr(_AGAIN if kind == "repeated" else _TO_DO, what=what)


def message_document(message: Message) -> dict[str, Any]:
    """Return a message as programs get it: schema number, id, kind, words, time."""
    return {
        "v": 1,
        "id": message.id,
        "kind": message.kind,
        "title": message.title,
        "text": message.text,
        "priority": message.priority.label,
        "at": rfc3339(message.at_ms),
        "alerts": list(message.alerts),
    }
