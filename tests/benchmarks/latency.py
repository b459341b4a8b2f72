"""How soon bytes count: from a device's write to the engine, and to an alert on MQTT.

    python -m tests.benchmarks.latency

``byte-to-engine``: a scale at 50 Hz and a board of 16 probes at 1 Hz over pseudo-terminals; from
the write of a line to the engine having taken its reading, in a whole daemon, p99. ``bare-line``:
the same lines over a pseudo-terminal to a loop that does nothing, before and after: what the
machine itself takes.
``latency``: a daemon as a process with a broker; from the write of the bytes of a pulled probe
to its alarm (zero on-delay) at a subscriber, p99, less the p99 of a bare ``synchronous=FULL``
commit on the same disk in the same run. The alarm is journalled and on disk before it is told.
"""

from __future__ import annotations

import asyncio
import json
import os
import signal
import sqlite3
import statistics
import subprocess
import tempfile
import time
from collections import deque
from collections.abc import Callable
from pathlib import Path
from typing import Any

import aiomqtt

from pitlogger.bootstrap.cooks import with_configured
from pitlogger.config import parse_config
from pitlogger.engine.inputs import Input
from pitlogger.formats.cook_file import parse_cook
from pitlogger.model.journal import CookStarted, Entry
from pitlogger.model.readings import Reading
from pitlogger.node.daemon import Daemon
from tests.benchmarks.process import COMMAND, Terminal, answering
from tests.benchmarks.row import Row
from tests.system.broker import MOSQUITTO, Broker

LINES = int(os.environ.get("LATENCY_LINES", "750"))
ALARMS = int(os.environ.get("LATENCY_ALARMS", "200"))
HERTZ = 50
PROBES = 16
COOK = (
    '[cook]\nname = "latency"\n[[piece]]\nid = "butt"\ncut = "pork-butt"\n'
    '[[channel]]\nid = "pit"\nsite = "pit"\n'
)
RULE = '[probe-fault]\non_delay = "0 s"\noff_delay = "0 s"\n'


def p99(values: list[float]) -> float:
    """Return the 99th percentile."""
    return statistics.quantiles(values, n=100)[98]


def _board(port: str, names: list[str], site: str) -> str:
    channels = "".join(
        f'[[device.channel]]\nid = "{name}"\nname = "{name}"\nsite = "{site}"\n' for name in names
    )
    columns = ",".join(f"{name}:Cel" for name in names)
    return (
        f'[[device]]\nid = "board"\ndriver = "csv-line"\nport = "{port}"\nmap = "{columns}"\n'
        f"{channels}"
    )


def byte_to_engine() -> list[Row]:
    """Return how long a line takes from the device's write until the engine has its reading."""
    bare_s = asyncio.run(_bare_lines())
    with tempfile.TemporaryDirectory() as name:
        took_s = asyncio.run(_lines_through(Path(name)))
    bare_s += asyncio.run(_bare_lines())
    return [
        Row("byte-to-engine", p99(took_s) * 1000, "ms"),
        Row("bare-line", p99(bare_s) * 1000, "ms"),
    ]


async def _bare_lines() -> list[float]:
    """Return how long lines take to a loop that does nothing else."""
    scale = Terminal()
    took_s: list[float] = []
    written_s: deque[float] = deque()
    descriptor = os.open(scale.path, os.O_RDWR | os.O_NOCTTY | os.O_NONBLOCK)

    def read() -> None:
        lines = os.read(descriptor, 4096).count(b"\n")
        took_s.extend(time.perf_counter() - written_s.popleft() for _ in range(lines))

    def write() -> None:
        for _ in range(LINES // 2):
            time.sleep(1 / HERTZ)
            written_s.append(time.perf_counter())
            scale.send("ST,GS,+  1.000kg\r\n")

    loop = asyncio.get_running_loop()
    loop.add_reader(descriptor, read)
    try:
        await asyncio.to_thread(write)
        await asyncio.sleep(0.2)
    finally:
        loop.remove_reader(descriptor)
        os.close(descriptor)
    return took_s


async def _lines_through(folder: Path) -> list[float]:
    board, scale = Terminal(), Terminal()
    probes = [f"t{number}" for number in range(PROBES)]
    text = (
        f'[node]\ndata = "{folder}"\n{_board(board.path, probes, "core")}'
        f'[[device]]\nid = "scale"\ndriver = "serial-scale"\nport = "{scale.path}"\n'
        '[[device.channel]]\nid = "bench"\nname = "mass"\nsite = "bench"\n'
    )
    took_s: list[float] = []
    written_s: dict[int, float] = {}
    daemon = Daemon(parse_config(text))
    feed: Callable[[Input], list[Entry]] = daemon.feed

    def timed(given: Input) -> list[Entry]:
        entries = feed(given)
        if isinstance(given, Reading) and given.channel == "bench" and given.value is not None:
            began_s = written_s.pop(given.value, None)
            if began_s is not None:
                took_s.append(time.perf_counter() - began_s)
        return entries

    daemon.feed = timed  # type: ignore[method-assign]
    async with daemon:
        cook = parse_cook(COOK)
        await daemon.submit(CookStarted(with_configured(cook, daemon.channels)))
        await asyncio.to_thread(_write_lines, board, scale, written_s)
        await asyncio.sleep(0.2)
    assert len(took_s) > LINES * 0.98, f"only {len(took_s)} of {LINES} lines came through"
    return took_s


def _write_lines(board: Terminal, scale: Terminal, written_s: dict[int, float]) -> None:
    """Write at a steady pace from a thread of its own, as a device does; each mass once."""
    scale.send("\r\n")
    for number in range(LINES):
        time.sleep(1 / HERTZ)
        if number % HERTZ == 0:
            board.send(",".join(f"{60 + n / 10:.1f}" for n in range(PROBES)) + "\n")
        grams = 1000 + number * 5
        written_s[grams * 1000] = time.perf_counter()
        scale.send(f"ST,GS,+{grams / 1000:7.3f}kg\r\n")


def to_alert() -> list[Row]:
    """Return how long an alarm takes from the bytes to a subscriber; nothing without a broker."""
    if not Path(MOSQUITTO).exists():
        return []
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        commits_s = _bare_commits(folder, ALARMS)
        alarms_s = asyncio.run(_alarms(folder))
        commits_s += _bare_commits(folder, ALARMS)
    bare_ms, alarm_ms = p99(commits_s) * 1000, p99(alarms_s) * 1000
    return [Row("latency", max(0.0, alarm_ms - bare_ms), "ms"), Row("bare-commit", bare_ms, "ms")]


def _bare_commits(folder: Path, count: int) -> list[float]:
    """Return how long a commit of one row takes, as the journal's are made."""
    took_s = []
    with sqlite3.connect(folder / "bare.db", isolation_level=None) as database:
        database.execute("PRAGMA journal_mode=WAL")
        database.execute("PRAGMA synchronous=FULL")
        database.execute("CREATE TABLE IF NOT EXISTS entries (id INTEGER PRIMARY KEY, body TEXT)")
        for _ in range(count):
            began_s = time.perf_counter()
            database.execute("INSERT INTO entries (body) VALUES (?)", ("x" * 400,))
            took_s.append(time.perf_counter() - began_s)
    database.close()
    return took_s


async def _alarms(folder: Path) -> list[float]:
    (folder / "broker").mkdir()
    broker = Broker(folder / "broker", persistent=False)
    await broker.start()
    board = Terminal()
    config = folder / "latency.toml"
    (folder / "alerts.toml").write_text(RULE, encoding="utf-8")
    config.write_text(
        f'[node]\nname = "bench"\ndata = "{folder}/data"\n[web]\nhost = "127.0.0.1"\nport = 0\n'
        f'[policy]\nalerts = "{folder}/alerts.toml"\n'
        f'[mqtt]\nenabled = true\nhost = "127.0.0.1"\nport = {broker.port}\n'
        f"{_board(board.path, ['pit'], 'pit')}",
        encoding="utf-8",
    )
    daemon = _started(config)
    try:
        client = await asyncio.to_thread(answering, folder / "data" / "pitlogger.sock")
        client.post("/api/v1/cooks", json={"toml": COOK}).raise_for_status()
        async with aiomqtt.Client(
            "127.0.0.1", broker.port, protocol=aiomqtt.ProtocolVersion.V5
        ) as subscriber:
            await subscriber.subscribe("pitlogger/bench/event/alert-changed", qos=1)
            board.send("\n")
            await asyncio.sleep(2.0)
            return [await _alarm(board, subscriber) for _ in range(ALARMS)]
    finally:
        daemon.send_signal(signal.SIGTERM)
        daemon.wait(10)
        broker.stop()


def _started(config: Path) -> subprocess.Popen[bytes]:
    return subprocess.Popen([*COMMAND, "run", "--config", str(config)], stderr=subprocess.DEVNULL)


async def _alarm(board: Terminal, subscriber: aiomqtt.Client) -> float:
    """Pull the probe, wait for the alarm, put it back; return how long the alarm took."""
    began_s = time.perf_counter()
    board.send("open\n")
    await _heard(subscriber, "unacknowledged")
    took_s = time.perf_counter() - began_s
    board.send("107.4\n")
    await _heard(subscriber, "returned-unacknowledged")
    await asyncio.sleep(0.02)
    return took_s


async def _heard(subscriber: aiomqtt.Client, state: str) -> None:
    """Return when the probe's alert is told to be in a state."""
    async with asyncio.timeout(20):
        async for message in subscriber.messages:
            told: dict[str, Any] = json.loads(bytes(message.payload))
            if told["alert_kind"] == "probe-fault" and told["now"] == state:
                return


def rows() -> list[Row]:
    """Return all rows of latency."""
    return [*byte_to_engine(), *to_alert()]


if __name__ == "__main__":
    for row in rows():
        print(row)
