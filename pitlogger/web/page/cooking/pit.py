"""The home screen: how things stand, the figures, the chart as a table, what is next."""

from __future__ import annotations

from typing import Any

from pitlogger.views.alerts import active
from pitlogger.views.language import tr, trn
from pitlogger.views.node import Node
from pitlogger.views.shown import Shown
from pitlogger.views.status import is_running
from pitlogger.web.page import standing
from pitlogger.web.page.cooking.alarm_groups import follows
from pitlogger.web.page.cooking.alarms import alert
from pitlogger.web.page.cooking.figures import figures
from pitlogger.web.page.cooking.home import coming, home
from pitlogger.web.page.records.meal import untold

HOUR_MS = 3_600_000
MOST_ROWS = 48


def pit(daemon: Node, shown: Shown) -> dict[str, Any]:
    """Return the home screen."""
    seen = home(daemon, shown)
    found = figures(daemon, shown)
    alarms = {watch.key for watch in active(daemon, "alarm")}
    return {
        **seen,
        "running": is_running(daemon),
        "summary": standing.sentence(daemon, shown),
        "figures": found,
        "probes_said": _probes(found),
        "prompts": [
            alert(daemon, watch, shown)
            for watch in active(daemon, "prompt")
            if (watch.key not in seen["due"] or watch.kind not in ROW_DOES)
            and not follows(watch, alarms)
        ],
        "ahead": [standing.forecast_words(made, shown) for made in coming(daemon, shown)[:4]],
        "pulled": _new_name(daemon, "pulled"),
    }


# What the key of a piece's own row does needs no card of its own; the rest has answers.
ROW_DOES = frozenset({"pull-due"})


def _probes(found: list[dict[str, Any]]) -> str:
    silent = [one for one in found if one["quality"] != "good"]
    live = len(found) - len(silent)
    text = trn("{count} probe live", "{count} probes live", live)
    return (
        tr(
            "{text}, {count} not: {names}",
            text=text,
            count=len(silent),
            names=", ".join(o["name"] for o in silent),
        )
        if silent
        else text
    )


def _new_name(daemon: Node, stem: str) -> str:
    """Return a name that no piece of the cook has yet."""
    held, number = daemon.engine.book.pieces, 1
    while f"{stem}-{number}" in held:
        number += 1
    return f"{stem}-{number}"


async def pit_with_table(daemon: Node, shown: Shown) -> dict[str, Any]:
    """Return the home screen with the chart as a table by the hour."""
    is_over = not is_running(daemon)
    return {
        **pit(daemon, shown),
        "table": await hours(daemon, shown),
        "cooks": [(cook, span.cook.name) for cook, span in daemon.engine.book.open_cooks().items()],
        "untold": await untold(daemon) if is_over else None,
    }


async def hours(daemon: Node, shown: Shown) -> dict[str, Any] | None:
    """Return what the pits and cores read in each hour of the cook, ``None`` without a cook."""
    book = daemon.engine.book
    if book.started_ms is None or not is_running(daemon):
        return None
    shown_of = {one["channel"]: one["name"] for one in figures(daemon, shown) if one["main"]}
    channels = list(shown_of)
    end_ms = shown.now_ms + shown.utc_offset_ms
    count = min(MOST_ROWS, (shown.now_ms - book.started_ms) // HOUR_MS + 1)
    from_ms = end_ms - count * HOUR_MS
    lines = await daemon.ask(lambda reader: reader.chart(channels, from_ms, end_ms, count))
    means = [dict(zip(line.at_ms, line.mean, strict=True)) for line in lines]
    rows = [
        {
            "at": shown.clock(at_ms - shown.utc_offset_ms),
            "cells": [
                shown.degrees(mean[at_ms]) if at_ms in mean else tr("no reading") for mean in means
            ],
        }
        for at_ms in range(from_ms, end_ms, HOUR_MS)
    ]
    names = [f"{name}, {shown.units.temperature}" for name in shown_of.values()]
    return {"names": names, "rows": rows}
