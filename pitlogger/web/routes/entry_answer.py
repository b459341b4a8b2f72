"""The answer to a decision: its entry, and whether the disk has it yet."""

from __future__ import annotations

from typing import Any, cast

from fastapi.responses import JSONResponse

from pitlogger.model.journal import Entry
from pitlogger.views.journal import EntryView, entry_view
from pitlogger.views.node import Node

NOT_DURABLE = 202  # RFC 9110, 15.3.3: accepted, not completed


def entry_answer(daemon: Node, entry: Entry, **more: Any) -> EntryView:
    """Return an entry as the answer to who caused it.

    While the disk has not taken it the status is 202 and ``durable`` is false: who asked keeps
    the request and asks again with its key until the status is 200.
    """
    view = entry_view(daemon, entry, **more)
    if daemon.is_on_disk(entry):
        return view
    late = JSONResponse({**view.document(), "durable": False}, NOT_DURABLE)
    return cast(EntryView, late)  # the framework answers with a response as it is
