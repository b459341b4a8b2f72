"""Whole processes: how soon a command answers and the daemon is ready, and what it costs.

    python -m tests.benchmarks.process

``start``: ``pitlogger yield --weights ...`` against ``python -c pass``, median of pairs.
``start-daemon``: from launch to the first answer on the socket. ``live-cpu``, ``live-rss``: 16
channels at 1 Hz and a scale at 10 Hz over pseudo-terminals, a client on the event stream, a
minute long, over all processes of the daemon.
"""

from __future__ import annotations

import os
import pty
import signal
import statistics
import subprocess
import sys
import tempfile
import threading
import time
import tty
from pathlib import Path

import httpx

from tests.benchmarks.row import Row

WEIGHTS = "purchased=14.2lb,trimmed=11.3lb,carved=7.05lb"
COMMAND = [str(Path(sys.executable).with_name("pitlogger"))]
PAIRS = 9
# As installed: modules are compiled once, not at each start.
INSTALLED = {k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE"}
LIVE_S = float(os.environ.get("LIVE_S", "60"))
HERTZ = os.sysconf("SC_CLK_TCK")
PAGE = os.sysconf("SC_PAGE_SIZE")


def start() -> Row:
    """Return how long a command takes as a whole process."""
    ours, plain = [], []
    for _ in range(PAIRS):
        ours.append(_timed([*COMMAND, "yield", "--weights", WEIGHTS, "--json"]))
        plain.append(_timed([sys.executable, "-c", "pass"]))
    ratio = statistics.median(a / b for a, b in zip(ours, plain, strict=True))
    return Row("start", statistics.median(ours), "s", "python -c pass", ratio)


def _timed(command: list[str]) -> float:
    began = time.perf_counter()
    subprocess.run(command, check=True, stdout=subprocess.DEVNULL)
    return time.perf_counter() - began


class Terminal:
    """A pseudo-terminal that somebody writes lines to."""

    def __init__(self) -> None:
        self.master, slave = pty.openpty()
        tty.setraw(slave)
        self.path = os.ttyname(slave)
        self._slave = slave

    def send(self, line: str) -> None:
        os.write(self.master, line.encode())


def _config(folder: Path, thermometers: str, scale: str) -> Path:
    columns = ",".join(f"t{number}:Cel" for number in range(16))
    channels = "".join(
        f'[[device.channel]]\nid = "probe-{number}"\nname = "t{number}"\nsite = "core"\n'
        for number in range(16)
    )
    path = folder / "live.toml"
    path.write_text(
        f'[node]\nname = "bench"\ndata = "{folder}/data"\n'
        '[web]\nhost = "127.0.0.1"\nport = 0\n'
        f'[[device]]\nid = "thermometers"\ndriver = "csv-line"\nport = "{thermometers}"\n'
        f'map = "{columns}"\n{channels}'
        f'[[device]]\nid = "scale"\ndriver = "serial-scale"\nport = "{scale}"\n'
        '[[device.channel]]\nid = "bench-scale"\nname = "mass"\nsite = "bench"\n',
        encoding="utf-8",
    )
    return path


def live() -> list[Row]:
    """Return when the daemon answers, and what a minute of live load costs."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        thermometers, scale = Terminal(), Terminal()
        config = _config(folder, thermometers.path, scale.path)
        _make_database(folder, config)
        began = time.perf_counter()
        daemon = started(config)
        try:
            client = answering(folder / "data" / "pitlogger.sock")
            ready_s = time.perf_counter() - began
            stop = threading.Event()
            for work in (_send_lines(thermometers, scale, stop), _listen(client, stop)):
                work.start()
            time.sleep(5.0)
            before = _cpu_s(daemon.pid)
            time.sleep(LIVE_S)
            used = _cpu_s(daemon.pid) - before
            rss_mb = _rss_mb(daemon.pid)
            stop.set()
        finally:
            daemon.send_signal(signal.SIGTERM)
            daemon.wait(10)
    return [
        Row("start-daemon", ready_s, "s"),
        Row("live-cpu", used / LIVE_S * 100, "% of a core"),
        Row("live-rss", rss_mb, "MB"),
    ]


def started(config: Path) -> subprocess.Popen[bytes]:
    return subprocess.Popen(
        [*COMMAND, "run", "--config", str(config)], stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL, env=INSTALLED,
    )  # fmt: skip


def _make_database(folder: Path, config: Path) -> None:
    """Start once and stop: creating the database loads the migration library, once ever.

    That library loads pandas where it is installed, as it is beside the tests' oracles.
    """
    daemon = started(config)
    answering(folder / "data" / "pitlogger.sock").close()
    daemon.send_signal(signal.SIGTERM)
    daemon.wait(10)


def answering(socket: Path) -> httpx.Client:
    """Return a client once the daemon answers."""
    client = httpx.Client(transport=httpx.HTTPTransport(uds=str(socket)), base_url="http://pit")
    for _ in range(2000):
        try:
            client.get("/api/v1/status")
        except httpx.HTTPError:
            time.sleep(0.005)
        else:
            return client
    raise RuntimeError("the daemon did not answer within 10 s")


def _send_lines(thermometers: Terminal, scale: Terminal, stop: threading.Event) -> threading.Thread:
    def send() -> None:
        tenth = 0
        while not stop.wait(0.1):
            scale.send(f"ST,GS,+{3.565 + tenth % 2 * 0.005:7.3f}kg\r\n")
            if tenth % 10 == 0:
                level = 60 + tenth / 1000
                thermometers.send(",".join(f"{level + n / 10:.1f}" for n in range(16)) + "\n")
            tenth += 1

    return threading.Thread(target=send, daemon=True)


def _listen(client: httpx.Client, stop: threading.Event) -> threading.Thread:
    def listen() -> None:
        try:
            with client.stream("GET", "/api/v1/stream", timeout=None) as stream:
                for _ in stream.iter_lines():
                    if stop.is_set():
                        return
        except httpx.HTTPError:
            return  # the daemon has ended

    return threading.Thread(target=listen, daemon=True)


def _cpu_s(pid: int) -> float:
    fields = Path(f"/proc/{pid}/stat").read_text(encoding="ascii").rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / HERTZ


def _rss_mb(pid: int) -> float:
    return int(Path(f"/proc/{pid}/statm").read_text(encoding="ascii").split()[1]) * PAGE / 1e6


def rows() -> list[Row]:
    """Return all rows of processes."""
    return [start(), *live()]


if __name__ == "__main__":
    for row in rows():
        print(row)
