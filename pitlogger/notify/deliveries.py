"""What waits to be told and what was, for the command line and the page."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from pitlogger.clock import rfc3339
from pitlogger.notify.message import Message
from pitlogger.store.queries import Reader
from pitlogger.store.rows import Notice


def waiting_documents(reader: Reader) -> list[dict[str, Any]]:
    """Return the messages that wait to be sent, oldest first, with tries and last fault."""
    return _documents(reader.outbox())


def told_documents(reader: Reader, since_ms: int) -> list[dict[str, Any]]:
    """Return all messages made since a UTC time, oldest first: waiting, sent or given up."""
    return _documents(reader.handed_in(since_ms))


def _documents(rows: Iterable[Notice]) -> list[dict[str, Any]]:
    return [
        {
            "id": row.id,
            "way": row.channel,
            "alert": row.alert,
            "title": Message.load(row.body).title,
            "since": rfc3339(row.created_ms),
            "tries": row.tries,
            "next_try": rfc3339(row.next_try_ms),
            "error": row.last_error,
            "state": _state(row),
        }
        for row in sorted(rows, key=lambda row: (row.created_ms, row.id))
        if row.channel
    ]


def _state(row: Notice) -> str:
    if not row.done:
        return "waits"
    return "given up" if row.last_error else "sent"
