"""The daemon as a command talks to it: by whom, as text or JSON, with the options that say so."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from pathlib import Path
from typing import Any

from pitlogger.cli.client import Client, socket_option
from pitlogger.cli.output import by_option, emit, json_option

Command = Callable[..., Any]


class DaemonClient(Client):
    """A client that signs what it posts and prints what came of it.

    Args:
        by: Initials that go with each request; ``None`` for a command that asks for none.
        as_json: Print documents, no text.
    """

    def __init__(
        self, socket: Path | None, *, by: str | None = None, as_json: bool = False
    ) -> None:
        super().__init__(socket)
        self.by = by
        self.as_json = as_json

    def post(self, path: str, **body: Any) -> Any:
        """Return the answer to a POST, signed by whoever gives the command."""
        return super().post(path, **{"by": self.by} | body)

    def emit(self, document: Any, text: str | Callable[[], str]) -> None:
        """Print a document, or its text; one that costs a request is made only to be printed."""
        made = text if isinstance(text, str) else "" if self.as_json else text()
        emit(document, self.as_json, made)


def to_daemon(run: Command) -> Command:
    """Add ``--socket`` and ``--json``; the command gets ``DaemonClient`` before its own options."""

    @socket_option
    @json_option
    @wraps(run)
    def command(socket: Path | None, as_json: bool, **given: Any) -> Any:
        return run(DaemonClient(socket, as_json=as_json), **given)

    return command


def to_journal(run: Command) -> Command:
    """Add ``--by`` too: what the command posts is signed with these initials."""

    @by_option
    @socket_option
    @json_option
    @wraps(run)
    def command(by: str, socket: Path | None, as_json: bool, **given: Any) -> Any:
        return run(DaemonClient(socket, by=by, as_json=as_json), **given)

    return command
