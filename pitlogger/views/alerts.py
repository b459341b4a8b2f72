"""Alerts as they stand."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from pitlogger.clock import rfc3339
from pitlogger.model.alerts import (
    ACTIVE,
    ANNUNCIATED,
    AlertClass,
    AlertState,
    Priority,
    alert_class,
)
from pitlogger.rules.conditions import Watch
from pitlogger.views import words
from pitlogger.views.alert_words import standing_words
from pitlogger.views.language import tr
from pitlogger.views.node import Node
from pitlogger.views.sentences import told
from pitlogger.views.shown import Shown
from pitlogger.views.view import Moment, View, moment


class Delivery(View):
    """What became of the last message about an alert by one way.

    Attributes:
        at: When it was sent, given up, or is tried next.
        times: Messages about it that were sent by this way.
    """

    way: str
    became: Literal["sent", "waiting", "failed", "withdrawn"]
    at: Moment
    times: int
    tries: int
    error: str


class AlertView(View):
    """One alert that is not normal.

    Attributes:
        alert: Its key, ``kind/subject``, by which it is acknowledged.
        title: What its kind is called.
        value_c: At the crossing of ``limit_c``; ``None`` for what is no limit of a temperature.
        until: When it comes back from its shelf.
    """

    alert: str
    kind: str
    title: str
    alert_class: AlertClass = Field(alias="class")
    state: AlertState
    priority: Literal["low", "medium", "high"]
    wakes: bool
    piece: str | None
    channel: str | None
    since: Moment
    raised: Moment
    until: Moment | None
    message: str
    value_c: float | None
    limit_c: float | None
    cause: str
    consequence: str
    remedy: str
    act_within: str


class ToldAlert(AlertView):
    """An alert, and who was notified of it."""

    told: tuple[Delivery, ...]


def alert_view(node: Node, watch: Watch) -> AlertView:
    """Return an alert as it stands."""
    rule, offset_ms = node.policy.rules[watch.kind], node.utc_offset_ms
    return AlertView(
        alert=watch.key,
        kind=watch.kind,
        title=words.alert(watch.kind),
        alert_class=alert_class(watch.kind),
        state=watch.state,
        priority=watch.priority.label,
        wakes=watch.wakes,
        piece=watch.piece,
        channel=watch.channel,
        since=rfc3339(watch.since_ms + offset_ms),
        raised=rfc3339(watch.raised_ms + offset_ms),
        until=moment(watch.until_ms, offset_ms),
        message=standing_words(node, watch, Shown(node.units, node.clock.engine_ms(), offset_ms)),
        value_c=_celsius(watch.value, watch),
        limit_c=_celsius(watch.limit, watch),
        cause=tr(rule.cause),
        consequence=tr(rule.consequence),
        remedy=told(watch.remedy or rule.remedy),
        act_within=tr(rule.act_within),
    )


def _celsius(milli: int | None, watch: Watch) -> float | None:
    known = milli is not None and watch.limit is not None and watch.kind != "battery-low"
    return milli / 1000 if known and milli is not None else None


def standing(node: Node) -> list[Watch]:
    """Return the alerts that are not normal, the most pressing first."""
    found = [w for w in node.engine.state.watches.values() if w.state is not AlertState.NORMAL]
    return sorted(found, key=lambda w: (w.state not in ACTIVE, -w.priority, w.since_ms))


def lights(node: Node) -> dict[Priority, Literal["off", "on", "blink"]]:
    """Return how the lamp of each priority is to be: it blinks until all was acknowledged.

    Source: ANSI/ISA-18.2 and IEC 62682: unacknowledged flashes, acknowledged is steady.
    """
    lit: dict[Priority, Literal["off", "on", "blink"]] = dict.fromkeys(Priority, "off")
    for watch in active(node, "prompt") + active(node, "alarm"):
        if lit[watch.priority] != "blink":
            lit[watch.priority] = "blink" if watch.state in ANNUNCIATED else "on"
    return lit


def active(node: Node, of: AlertClass) -> list[Watch]:
    """Return the active alerts of a class, the most pressing first."""
    found = [w for w in standing(node) if w.state in ACTIVE and alert_class(w.kind) == of]
    return sorted(found, key=lambda w: (w.state not in ANNUNCIATED, -w.priority, w.raised_ms))


def alerts(node: Node) -> list[AlertView]:
    """Return the alerts that are not normal, the most pressing first."""
    return [alert_view(node, watch) for watch in standing(node)]
