"""Servers that take notifications, real ones on random ports, and a message to send."""

from __future__ import annotations

import json
import socket
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any

import pytest

from pitlogger.model.alerts import Priority
from pitlogger.notify.message import Message

MESSAGE = Message(
    "pit-low/pit@1790000000000#1", "raised", "ALARM: pit-low pit",
    "Pit für Brisket at 205 F\nDo: Add fuel.", Priority.HIGH, 1_790_000_000_000, ("pit-low/pit",),
)  # fmt: skip


def free_port() -> int:
    """Return a port nobody listens on now."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
        return port


@pytest.fixture
def pins() -> Iterator[Any]:
    """The pins of a board, simulated, where gpiozero looks for them."""
    from gpiozero import Device
    from gpiozero.pins.mock import MockFactory

    before = Device.pin_factory
    Device.pin_factory = MockFactory()
    yield Device.pin_factory
    Device.pin_factory.close()
    Device.pin_factory = before


@dataclass
class Taken:
    """A request as the server saw it."""

    path: str
    headers: dict[str, str]
    document: Any


@dataclass
class WebServer:
    """Answers every POST with ``status`` and keeps what came."""

    status: int = 200
    taken: list[Taken] = field(default_factory=list)
    port: int = 0

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.port}"


@pytest.fixture
def web_server() -> Iterator[WebServer]:
    with serving() as kept:
        yield kept


@pytest.fixture
def other_server() -> Iterator[WebServer]:
    with serving() as kept:
        yield kept


@contextmanager
def serving() -> Iterator[WebServer]:
    """Run a web server for as long as the context is open."""
    kept = WebServer()

    class Handler(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            body = self.rfile.read(int(self.headers["Content-Length"]))
            kept.taken.append(Taken(self.path, dict(self.headers), json.loads(body)))
            self.send_response(kept.status)
            self.send_header("Content-Length", "0")
            self.end_headers()

        def log_message(self, *args: object) -> None:
            """Say nothing."""

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    kept.port = server.server_address[1]
    thread = threading.Thread(target=server.serve_forever, args=(0.01,))
    thread.start()
    yield kept
    server.shutdown()
    server.server_close()
    thread.join()
