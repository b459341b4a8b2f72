"""When something happened, as a command takes it and as it repeats it."""

from __future__ import annotations

from contextlib import suppress
from datetime import datetime
from typing import TYPE_CHECKING

import click

from pitlogger.cli.questions import answers
from pitlogger.errors import UsageError
from pitlogger.formats.moments import TimeRange, full_local, moments
from pitlogger.model.entry_ids import parse_short_id

if TYPE_CHECKING:
    from pitlogger.cli.client import Client

at_option = click.option(
    "--at", metavar="TIME",
    help="When: '10 min ago', '14:30', 'yesterday 20:00' or 2026-09-19T14:30:00-05:00.",
)  # fmt: skip


def moment_text(
    text: str | None, client: Client | None = None, cook: str | None = None, *,
    piece: str | None = None, entry: str | None = None,
) -> str | None:  # fmt: skip
    """Return a written moment as RFC 3339 for the daemon, ``None`` if none was given.

    Args:
        client: Where to look up when the cook was, for a bare clock time.
        cook: The cook it belongs to; by default that of the piece or entry, else the running one.

    Raises:
        QuantityError: It is no time.
        QuestionError: It can be two.
    """
    if text is None:
        return None
    now = datetime.now().astimezone()
    span = TimeRange(None, now)
    if client is not None:
        span = _span(client, cook or _cook_of(client, piece, entry), now)
    found = moments(text, span)
    if len(found) > 1:
        options = [full_local(one) for one in found]
        chosen = answers().choose(f"'{text}' can be either: which one?", options)
        return found[options.index(chosen)].isoformat()
    return found[0].isoformat()


def _cook_of(client: Client, piece: str | None, entry: str | None) -> str | None:
    """Return the id of the cook that a piece or an entry is of, as far as it is known."""
    if entry is not None and parse_short_id(entry) is not None:
        with suppress(UsageError):  # said in other words where the entry itself is asked for
            return str(client.get(f"/entries/{entry}")["of_cook"])
    rows = client.get("/status")["pieces"] if piece is not None else []
    return next((str(row["cook"]) for row in rows if row["piece"] == piece), None)


def _span(client: Client, cook: str | None, now: datetime) -> TimeRange:
    for row in client.get("/cooks", withdrawn=cook is not None or None):
        if row["finished"] is None if cook is None else cook in (row["cook"], row["name"]):
            ended = row["finished"]
            until = now if ended is None else min(now, datetime.fromisoformat(ended))
            return TimeRange(datetime.fromisoformat(row["started"]), until)
    return TimeRange(None, now)


def said_at(happened: str, text: str | None) -> str:
    """Return `` at`` and the full local time, where a time was given."""
    return "" if text is None else f" at {full_local(datetime.fromisoformat(happened))}"
