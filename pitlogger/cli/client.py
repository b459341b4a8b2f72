"""The way to the daemon: HTTP over its Unix socket."""

from __future__ import annotations

import os
from functools import cached_property
from pathlib import Path
from typing import Any

import click

from pitlogger.cli.files import PATH
from pitlogger.cli.questions import confirm_text
from pitlogger.errors import DaemonUnreachableError, PitloggerError, RefusedError, UsageError
from pitlogger.questions import Question, QuestionError

JOIN_GROUP = "sudo usermod -aG pitlogger $USER, then log out and in again"
SYSTEM_SOCKET = Path("/run/pitlogger/pitlogger.sock")
TIMEOUT_S = 30.0

socket_option = click.option(
    "--socket",
    type=PATH,
    envvar="PITLOGGER_SOCKET",
    help="Socket of the daemon.",
)


def find_socket(given: Path | None) -> Path:
    """Return the daemon's socket: the one given, the system's, or the one in the data folder."""
    given = given or (Path(named) if (named := os.environ.get("PITLOGGER_SOCKET")) else None)
    if given is not None:
        return given
    try:
        if SYSTEM_SOCKET.exists():
            return SYSTEM_SOCKET
    except PermissionError:
        raise _not_allowed(SYSTEM_SOCKET) from None
    home = os.environ.get("XDG_DATA_HOME") or Path.home() / ".local" / "share"
    return Path(home) / "pitlogger" / "pitlogger.sock"


class Client:
    """Asks the daemon; its refusals become the errors they were there."""

    def __init__(self, socket: Path | None = None, timeout_s: float = TIMEOUT_S) -> None:
        self._given = socket
        self._timeout_s = timeout_s

    @cached_property
    def socket(self) -> Path:
        """Where the daemon listens; looked for when it is first needed."""
        return find_socket(self._given)

    def get(self, path: str, **parameters: Any) -> Any:
        """Return what the daemon answers to a GET."""
        given = {name: value for name, value in parameters.items() if value is not None}
        return self._ask("GET", path, params=given).json()

    def text(self, path: str, **parameters: Any) -> str:
        """Return the daemon's answer as text."""
        given = {name: value for name, value in parameters.items() if value is not None}
        text: str = self._ask("GET", path, params=given).text
        return text

    def post(self, path: str, **body: Any) -> Any:
        """Return what the daemon answers to a POST; fields that are ``None`` are left out."""
        body.setdefault("confirm", confirm_text())
        given = {name: value for name, value in body.items() if value is not None}
        return self._ask("POST", path, json=given).json()

    def _ask(self, method: str, path: str, **request: Any) -> Any:
        try:
            is_there = self.socket.is_socket()
        except PermissionError:
            raise _not_allowed(self.socket) from None
        if not is_there:
            raise DaemonUnreachableError(self._unreachable("there is no socket"))
        if not os.access(self.socket, os.R_OK | os.W_OK):
            raise _not_allowed(self.socket)
        import httpx

        transport = httpx.HTTPTransport(uds=str(self.socket))
        try:
            with httpx.Client(transport=transport, timeout=self._timeout_s) as client:
                answer = client.request(method, f"http://pitlogger/api/v1{path}", **request)
        except httpx.HTTPError as fault:
            raise DaemonUnreachableError(self._unreachable(str(fault))) from None
        if answer.is_success:
            return answer
        message = _message(answer)
        if answer.status_code in (400, 404, 413, 422):
            raise UsageError(message)
        if answer.status_code == 409 and (asked := _question(answer)) is not None:
            raise QuestionError(asked)
        if answer.status_code == 409:
            raise RefusedError(message)
        raise PitloggerError(message)

    def _unreachable(self, why: str) -> str:
        return (
            f"no daemon answers at {self.socket} ({why}): start it with 'pitlogger run', "
            "or name its socket with --socket"
        )


def _not_allowed(socket: Path) -> DaemonUnreachableError:
    return DaemonUnreachableError(
        f"this user may not speak to the daemon at {socket}, which is for the group pitlogger: "
        f"{JOIN_GROUP}"
    )


def _question(answer: Any) -> Question | None:
    try:
        document = answer.json()
        return Question(document["question"], tuple(document["options"]), document["confirm"])
    except (ValueError, KeyError, TypeError):
        return None


def _message(answer: Any) -> str:
    try:
        document = answer.json()
    except ValueError:
        return f"the daemon answered {answer.status_code}"
    return str(document.get("error") or document.get("detail") or document)
