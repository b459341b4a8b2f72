"""Alarms by device and cause: one silent cable is one card, not fourteen."""

from __future__ import annotations

from typing import Any

from pitlogger.model.alerts import ACTIVE, AlertState, alert_class
from pitlogger.notify.message import FOLLOWS
from pitlogger.rules.conditions import Watch
from pitlogger.views.language import tr
from pitlogger.views.node import Node
from pitlogger.views.shown import Shown

# Each of these is seen by a tap of its own.
FOOD_SAFETY = frozenset(
    {"hot-hold-low", "cold-hold-high", "cooling-stage-1-late", "cooling-stage-2-late",
     "cooling-will-miss", "come-up-slow", "time-limit", "reheat-late", "lethality-not-met",
     "discard-due"}
)  # fmt: skip
_SILENT = frozenset({"channel-stale", "device-lost", "probe-fault"})


def grouped(
    daemon: Node, watches: list[Watch], shown_alerts: list[dict[str, Any]], shown: Shown
) -> dict[str, Any]:
    """Return alarms in groups, prompts, and what is back to normal.

    Args:
        watches: In the order shown, the most pressing first.
        shown_alerts: The same as they are shown.
    """
    groups: dict[str, list[tuple[Watch, dict[str, Any]]]] = {}
    todo, returned = [], []
    standing = {watch.key for watch in watches if watch.state in ACTIVE}
    for watch, one in zip(watches, shown_alerts, strict=True):
        if watch.state not in ACTIVE and watch.state is not AlertState.SHELVED:
            returned.append((watch, one))
        elif alert_class(watch.kind) != "alarm":
            todo.append(one)
        else:
            groups.setdefault(_cause(daemon, watch, standing), []).append((watch, one))
    made = [_group(name, held, shown) for name, held in groups.items()]
    first = next((group for group in made if group["unseen"]), None)
    if first is not None:
        first["solid"] = True
        if len(first["alerts"]) == 1:
            first["alerts"][0]["solid"] = True
    seen_together = [w.key for w, one in returned if one["unseen"] and w.kind not in FOOD_SAFETY]
    return {
        "groups": made,
        "todo": todo,
        "returned": [one for _, one in returned],
        "returned_fields": _fields(seen_together),
    }


def follows(watch: Watch, standing: set[str]) -> str:
    """Return the key of the alert that stands and brings this one along, empty without one."""
    subject = watch.key.partition("/")[2]
    causes = (f"{cause}/{subject}" for cause, brings in FOLLOWS.items() if watch.kind in brings)
    return next((cause for cause in causes if cause in standing), "")


def _cause(daemon: Node, watch: Watch, standing: set[str]) -> str:
    """Return what stands for the cause of an alarm: a silent device, another alarm, or itself."""
    if watch.kind not in _SILENT:
        return follows(watch, standing) or watch.key
    if watch.kind == "device-lost":
        return f"silent/{watch.key.partition('/')[2]}"
    device = device_of(daemon, watch.channel or watch.key.partition("/")[2])
    return f"silent/{device}" if device else "silent"


def device_of(daemon: Node, channel: str) -> str:
    """Return the device a channel comes from, empty where it is not known."""
    assignment = daemon.engine.book.assignment(channel)
    placed = daemon.engine.declared(channel) or (assignment.channel if assignment else None)
    return "" if placed is None else (placed.device or "")


def _group(name: str, held: list[tuple[Watch, dict[str, Any]]], shown: Shown) -> dict[str, Any]:
    alerts = [one for _, one in held]
    cause = next((one for watch, one in held if watch.key == name), alerts[0])
    is_silent = name.startswith("silent")
    since_ms = min(watch.raised_ms for watch, _ in held)
    device = name.partition("/")[2] if is_silent else ""
    unseen = [watch.key for watch, one in held if one["unseen"]]
    others = [_subject(watch) for watch, _ in held if watch.kind != "device-lost"]
    return {
        "id": name.replace("/", "-"),
        "alerts": alerts,
        "title": _title(device, len(others), shown.since(since_ms))
        if is_silent
        else alerts[0]["message"],
        "who": ", ".join(others)
        if is_silent
        else "; ".join(str(one["message"]) for one in alerts[1:]),
        "remedy": tr("Look at its plug, cable and battery first; read by hand meanwhile.")
        if is_silent
        else cause["remedy"],
        "letter": min(one["letter"] for one in alerts),
        "is_alarm": True,
        "unseen": unseen,
        "fields": _fields(unseen),
        "since": shown.since(since_ms),
        "at": shown.clock(since_ms),
        "iso": shown.iso(since_ms),
        "solid": False,
    }


def _title(device: str, count: int, since: str) -> str:
    if device:
        return tr(
            "{device} silent {since}: {count} probes", device=device, since=since, count=count
        )
    return tr("{count} probes silent {since}", count=count, since=since)


def _subject(watch: Watch) -> str:
    return watch.piece or watch.channel or watch.key.partition("/")[2]


def _fields(keys: list[str]) -> dict[str, str]:
    return {f"alert.{number:03}": key for number, key in enumerate(keys)}
