"""Cooks as they enter the record: their ids, their channels, and paper logs as runs."""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Iterable
from dataclasses import replace
from datetime import UTC, datetime

from pitlogger.formats.journal_json import dump_body
from pitlogger.formats.paper_journal import PaperCook
from pitlogger.model.cooks import Channel, Cook
from pitlogger.model.journal import CookStarted, Entry
from pitlogger.service.timekeeping import PAPER
from pitlogger.store.rows import JournalRow, RunRow


def with_id(body: CookStarted, utc_ms: int) -> CookStarted:
    """Return the start of a cook with its id, where it has none yet."""
    cook = body.cook
    return body if cook.id else replace(body, cook=replace(cook, id=cook_id(cook.name, utc_ms)))


def cook_id(name: str, utc_ms: int) -> str:
    """Return the id of a cook: its day and its name."""
    day = datetime.fromtimestamp(utc_ms / 1000, UTC).strftime("%Y-%m-%d-%H%M%S")
    slug = re.sub(r"[^a-z0-9]+", "-", name.casefold()).strip("-") or "cook"
    return f"{day}-{slug[:40]}"


def past_run(cook: PaperCook, node: str) -> tuple[RunRow, list[JournalRow]]:
    """Return a cook from a paper log as a run of its own; the same log gives the same run."""
    said = [[t_ms, dump_body(body)] for t_ms, body in cook.bodies]
    for _, body in said:  # came later: what was imported before must not come a second time
        assert isinstance(body, dict)
        body.pop("timed", None)
    text = json.dumps(said, sort_keys=True)
    run = f"{PAPER}-{hashlib.sha256(f'{cook.name}{text}'.encode()).hexdigest()[:12]}"
    name = f"{cook_id(cook.name, cook.start_ms)}-{run[-4:]}"
    entries = [
        Entry(run, seq, t_ms, body, cook.by)
        for seq, (t_ms, body) in enumerate(cook.bodies, start=1)
    ]
    end_ms = max(entry.t_ms for entry in entries)
    row = RunRow(run, node, "", cook.start_ms, 0, PAPER, True, end_ms, batch=cook.batch)
    return row, [JournalRow.of(entry, name) for entry in entries]


def with_configured(cook: Cook, channels: Iterable[Channel]) -> Cook:
    """Return a cook with the channels of the configuration added to its own.

    A channel the cook names takes from the configuration what the cook does not say. The
    cook in the journal is then complete: its export replays without the configuration.
    """
    configured = {channel.id: channel for channel in channels}
    pieces = {piece.id for piece in cook.pieces}
    named = [_completed(channel, configured.pop(channel.id, channel)) for channel in cook.channels]
    added = [
        channel if channel.piece in pieces else replace(channel, piece=None)
        for channel in configured.values()
    ]
    return replace(cook, channels=(*named, *added))


def _completed(channel: Channel, known: Channel) -> Channel:
    """Return a channel with what it does not say itself taken from the configuration."""
    return replace(
        channel,
        quantity=channel.quantity or known.quantity,
        offset=channel.offset or known.offset,
        interval_ms=channel.interval_ms or known.interval_ms,
        stale_after_ms=channel.stale_after_ms or known.stale_after_ms,
        scale_interval_mg=channel.scale_interval_mg or known.scale_interval_mg,
        device=known.device,
    )
