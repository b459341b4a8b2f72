"""A real daemon as a process under devices on pseudo-terminals, to be killed and starved.

The thermometer board counts: its reading number n says n hundredths of a degree, so that what
the database holds can be compared with what was sent, one by one.
"""

from __future__ import annotations

import json
import os
import pty
import signal
import socket
import subprocess
import sys
import termios
import threading
import time
import tty
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

import httpx

from tests.torture.shim import Shim

PITLOGGER = str(Path(sys.executable).with_name("pitlogger"))
READY_S = 120.0  # on a machine that does much else
PACE_S = 0.1
CROWDING_PROBE_S = 0.1  # of work
COOK = """
[cook]
name = "torture"
[[piece]]
id = "brisket-1"
cut = "brisket-packer"
wrap_at = "30 C"
[[channel]]
id = "brisket-1/core"
site = "core"
piece = "brisket-1"
[[channel]]
id = "pit"
site = "pit"
set_point = "110 C"
low = "100 C"
"""
CONFIG = """
[node]
name = "torture"
data = "{folder}/data"
[web]
enabled = false
[[device]]
id = "board"
driver = "csv-line"
port = "{folder}/board"
interval_s = 1.0
map = "count:Cel,core:Cel,pit:Cel"
[[device.channel]]
id = "count"
name = "count"
site = "surface"
[[device.channel]]
id = "brisket-1/core"
name = "core"
site = "core"
[[device.channel]]
id = "pit"
name = "pit"
site = "pit"
"""


class Board:
    """A micro-controller on a pseudo-terminal that sends a line every tenth of a second."""

    def __init__(self, link: Path) -> None:
        self.link = link
        self.sent: list[float] = []  # monotonic time at which reading n was sent
        self.core_c = 20.0
        self.core_is_open = False  # its plug is pulled
        self.pit_c = 110.0
        self.heard = False  # whether anybody listens
        self._stop = threading.Event()
        self._turn = threading.Lock()
        self._master = -1
        self.plug_in()
        self._thread = threading.Thread(target=self._send, daemon=True)
        self._thread.start()

    def plug_in(self) -> None:
        """Appear under the name that stays the same."""
        with self._turn:
            self._master, slave = pty.openpty()
            tty.setraw(slave)
            os.set_blocking(self._master, False)
            new = self.link.with_suffix(".new")
            new.symlink_to(os.ttyname(slave))
            new.replace(self.link)
            os.close(slave)

    def pull(self) -> None:
        """Vanish, as a pulled plug does."""
        with self._turn:
            os.close(self._master)
            self._master = -1
            self.link.unlink(missing_ok=True)

    def babble(self, raw: bytes) -> None:
        """Send bytes that mean nothing."""
        with self._turn, suppress(OSError):
            os.write(self._master, raw + b"\r\n")

    def forget(self) -> None:
        """Drop what nobody read, as a port does that is closed."""
        with self._turn, suppress(OSError, termios.error):
            termios.tcflush(self._master, termios.TCOFLUSH)

    def close(self) -> None:
        self._stop.set()
        self._thread.join()
        if self._master >= 0:
            self.pull()

    def _send(self) -> None:
        while not self._stop.wait(PACE_S):
            with self._turn:
                if not self.heard or self._master < 0:
                    continue
                number = len(self.sent)
                core = "open" if self.core_is_open else f"{self.core_c:.1f}"
                line = f"{number / 100:.2f},{core},{self.pit_c:.1f}\r\n"
                with suppress(OSError):
                    if os.write(self._master, line.encode()) == len(line):
                        self.sent.append(time.monotonic())


class Node:
    """A daemon, its board, and what it was asked and answered."""

    def __init__(self, folder: Path, shim: Shim | None = None, more: str = "") -> None:
        self.folder = folder
        self.shim = shim
        self.data = folder / "data"
        self.socket = self.data / "pitlogger.sock"
        self.database = self.data / "pitlogger.db"
        self.config = folder / "pitlogger.toml"
        self.config.write_text(CONFIG.format(folder=folder) + more, encoding="utf-8")
        self.board = Board(folder / "board")
        self.process: subprocess.Popen[bytes] | None = None
        self._client: httpx.Client | None = None
        self._log = (folder / "daemon.log").open("ab")

    # -- life -----------------------------------------------------------------------------

    def start(self, *, ready: bool = True, command: Sequence[str] = ()) -> None:
        """Start the daemon, or another program; unless told otherwise, wait until it answers."""
        self.board.forget()
        extra = {} if self.shim is None else self.shim.environment()
        self.process = subprocess.Popen(
            command or [PITLOGGER, "run", "--config", str(self.config)],
            stderr=self._log,
            env={**os.environ, **extra},
        )
        self.board.heard = True
        if ready:
            self.wait_ready()

    def wait_ready(self) -> None:
        assert self.process is not None
        end_s = time.monotonic() + READY_S
        while time.monotonic() < end_s:
            if self.process.poll() is not None:
                raise RuntimeError(f"the daemon ended: {self.log_text()[-2000:]}")
            with suppress(OSError), socket.socket(socket.AF_UNIX) as probe:
                probe.connect(str(self.socket))
                return
            time.sleep(0.01)
        raise RuntimeError(f"the daemon did not answer: {self.log_text()[-2000:]}")

    def kill(self) -> float:
        """Kill the process; return the moment, monotonic seconds."""
        assert self.process is not None
        moment_s = time.monotonic()
        self.process.kill()
        self.board.heard = False
        self.process.wait()
        self._forget_client()
        return moment_s

    def stop(self) -> tuple[int, float]:
        """Tell the process to end; return its exit code and how long it took.

        In seconds of a machine that has nothing else to do: see ``crowding``.
        """
        assert self.process is not None
        began_s = time.monotonic()
        self.process.send_signal(signal.SIGTERM)
        self.board.heard = False
        code = self.process.wait(60)
        took_s = time.monotonic() - began_s
        self._forget_client()
        return code, took_s / crowding()

    def close(self) -> None:
        if self.process is not None and self.process.poll() is None:
            self.process.kill()
            self.process.wait()
        self._forget_client()
        self.board.close()
        self._log.close()
        if self.shim is not None:
            self.shim.close()

    # -- questions ------------------------------------------------------------------------

    def get(self, path: str) -> Any:
        """Return what the daemon answers."""
        return self._ask("GET", path).json()

    def post(self, path: str, timeout_s: float = 30.0, **body: Any) -> Any:
        """Enter something; raises ``httpx.HTTPError`` where there is no answer."""
        answer = self._ask("POST", path, json=body, timeout=timeout_s)
        assert answer.is_success, answer.text
        return answer.json()

    def _ask(self, method: str, path: str, **request: Any) -> httpx.Response:
        if self._client is None:
            transport = httpx.HTTPTransport(uds=str(self.socket))
            self._client = httpx.Client(transport=transport, base_url="http://pit/api/v1")
        return self._client.request(method, path, **request)

    def _forget_client(self) -> None:
        if self._client is not None:
            self._client.close()
            self._client = None

    def listen(self, told: list[dict[str, Any]]) -> None:
        """Append what the event stream tells to ``told``, until the daemon ends."""

        def listen() -> None:
            transport = httpx.HTTPTransport(uds=str(self.socket))
            with suppress(httpx.HTTPError), httpx.Client(transport=transport) as client:
                url = "http://pit/api/v1/stream"
                with client.stream("GET", url, timeout=None) as stream:
                    told.extend(
                        json.loads(line[6:])
                        for line in stream.iter_lines()
                        if line.startswith("data: ")
                    )

        threading.Thread(target=listen, daemon=True).start()

    def start_cook(self) -> None:
        self.post("/cooks", toml=COOK, by="AB")

    def alert_states(self) -> dict[str, str]:
        """Return the state of every alert that is not normal, by its id."""
        return {row["alert"]: row["state"] for row in self.get("/alerts")}

    def log_text(self) -> str:
        self._log.flush()
        return (self.folder / "daemon.log").read_text(encoding="utf-8", errors="replace")


def crowding() -> float:
    """Return how many times longer work takes now than on a machine with nothing else to do."""
    began_s, used_s = time.monotonic(), time.thread_time()
    while time.thread_time() - used_s < CROWDING_PROBE_S:
        pass
    return max(1.0, (time.monotonic() - began_s) / CROWDING_PROBE_S)


def until(what: str, is_so: Any, within_s: float = 15.0) -> float:
    """Wait until ``is_so()`` is true; return how long it took, seconds.

    Raises:
        AssertionError: It did not become true in time.
    """
    began_s = time.monotonic()
    while not is_so():
        assert time.monotonic() - began_s < within_s, f"not within {within_s:g} s: {what}"
        time.sleep(0.05)
    return time.monotonic() - began_s


@contextmanager
def node(folder: Path, shim: Shim | None = None, more: str = "") -> Iterator[Node]:
    """Yield a node that is not started yet; everything of it ends with the context.

    ``more`` is added to its configuration.
    """
    folder.mkdir(parents=True, exist_ok=True)
    made = Node(folder, shim, more)
    try:
        yield made
    finally:
        made.close()
