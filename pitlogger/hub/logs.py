"""One cook anywhere in the firm: its log in words, and its minutes for a chart."""

from __future__ import annotations

import json
from collections import defaultdict
from dataclasses import dataclass

from pitlogger.hub.database import Database
from pitlogger.hub.fold import read_entries
from pitlogger.rules.messages import Units
from pitlogger.views.entries import told

BLOCK_MS, MINUTE_MS = 600_000, 60_000
FAR_MS = 1 << 61


@dataclass(frozen=True, slots=True)
class FirmCook:
    """A cook of the firm. Times are engine milliseconds of its node, started also in UTC."""

    node: str
    cook: str
    name: str
    where: str
    started_ms: int
    finished_ms: int | None
    utc_ms: int


@dataclass(frozen=True, slots=True)
class LogLine:
    """An entry of a log, in words."""

    utc_ms: int
    by: str
    words: str


@dataclass(frozen=True, slots=True)
class ChannelMinutes:
    """A channel's minutes: minutes since the cook began, lowest and highest, milli-degrees."""

    channel: str
    points: tuple[tuple[int, int, int], ...]


def cooks(database: Database, tenant: int, most: int = 200) -> list[FirmCook]:
    """Return the cooks of a firm, the newest first."""
    rows = database.ask(
        "SELECT uid, cook.cook, cook.name, site.name, node.name, started_ms, finished_ms,"
        " coalesce((SELECT min(utc_ms) FROM journal WHERE journal.node = cook.node"
        " AND journal.cook = cook.cook), started_ms) AS began"
        " FROM cook JOIN node ON node.id = cook.node JOIN site ON site.id = cook.site"
        " WHERE cook.tenant = ? ORDER BY began DESC LIMIT ?", (tenant, most),
    )  # fmt: skip
    return [
        FirmCook(uid, cook, name, f"{site}, {node}", started, finished, began)
        for uid, cook, name, site, node, started, finished, began in rows
    ]


def cook_log(database: Database, tenant: int, uid: str, cook: str) -> list[LogLine]:
    """Return what was entered and raised in a cook, oldest first, forecasts left out."""
    rows = database.ask(
        "SELECT utc_ms, initials, entry FROM journal JOIN node ON node.id = journal.node"
        " JOIN run ON run.node = journal.node AND run.run = journal.run"
        " WHERE node.tenant = ? AND uid = ? AND cook = ? AND kind NOT LIKE 'forecast-%'"
        " ORDER BY run.start_ms, seq", (tenant, uid, cook),
    )  # fmt: skip
    lines = []
    for utc_ms, initials, text in rows:
        entries = read_entries([text])
        words = told(entries[0].body, Units()) if entries else str(json.loads(text)["kind"])
        lines.append(LogLine(utc_ms, initials, words))
    return lines


def cook_minutes(database: Database, tenant: int, uid: str, cook: FirmCook) -> list[ChannelMinutes]:
    """Return the temperatures of a cook by the minute, a line a channel."""
    end_ms = FAR_MS if cook.finished_ms is None else cook.finished_ms
    rows = database.ask(
        "SELECT channel, block_ms, low, high FROM span JOIN node ON node.id = span.node"
        " WHERE node.tenant = ? AND uid = ? AND quantity = 'temperature' AND block_ms > ?"
        " AND block_ms <= ? ORDER BY channel, block_ms",
        (tenant, uid, cook.started_ms - BLOCK_MS, end_ms),
    )
    found: dict[str, list[tuple[int, int, int]]] = defaultdict(list)
    for channel, block_ms, low, high in rows:
        lows, highs = (json.loads(item) if isinstance(item, str) else item for item in (low, high))
        for at, pair in enumerate(zip(lows, highs, strict=True)):
            t_ms = block_ms + at * MINUTE_MS
            if pair[0] is not None and cook.started_ms <= t_ms <= end_ms:
                found[channel].append(((t_ms - cook.started_ms) // MINUTE_MS, *pair))
    return [ChannelMinutes(channel, tuple(points)) for channel, points in found.items()]
