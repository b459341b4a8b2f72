"""What waits to be told and what was, for the command line and the page."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Literal

from pitlogger.clock import rfc3339
from pitlogger.notify.message import Message
from pitlogger.store.queries import Reader
from pitlogger.store.rows import Notice
from pitlogger.views.view import Moment, View


class NoticeView(View):
    """A message of the outbox on its way by one way of being told."""

    id: str
    way: str
    alert: str
    title: str
    since: Moment
    tries: int
    next_try: Moment
    error: str
    state: Literal["waits", "sent", "given up"]


def waiting(reader: Reader) -> list[NoticeView]:
    """Return the messages that wait to be sent, oldest first, with tries and last fault."""
    return _views(reader.outbox())


def handed_in(reader: Reader, since_ms: int) -> list[NoticeView]:
    """Return all messages made since a UTC time, oldest first: waiting, sent or given up."""
    return _views(reader.handed_in(since_ms))


def _views(rows: Iterable[Notice]) -> list[NoticeView]:
    return [
        NoticeView(
            id=row.id,
            way=row.channel,
            alert=row.alert,
            title=Message.load(row.body).title,
            since=rfc3339(row.created_ms),
            tries=row.tries,
            next_try=rfc3339(row.next_try_ms),
            error=row.last_error,
            state=("given up" if row.last_error else "sent") if row.done else "waits",
        )
        for row in sorted(rows, key=lambda row: (row.created_ms, row.id))
        if row.channel
    ]
