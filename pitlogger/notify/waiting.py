"""What waits to be told, for the command line and the page."""

from __future__ import annotations

from typing import Any

from pitlogger.clock import rfc3339
from pitlogger.notify.message import Message
from pitlogger.store.queries import Reader


def waiting_documents(reader: Reader) -> list[dict[str, Any]]:
    """Return the messages that wait to be sent, oldest first, with tries and last fault."""
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
        }
        for row in sorted(reader.outbox(), key=lambda row: (row.created_ms, row.id))
        if row.channel
    ]
