"""What a reading costs: through decode, engine and store; and a whole night replayed.

    python -m tests.benchmarks.engine

``ingest``: GATT frames of 16 probes through decode, pipeline, rules of six pieces and store,
readings a second, against ``sqlite3.executemany`` of the same delivered rows with the same
pragmas in batches of 5 s, in the same run. ``replay``: 14 h of 16 channels at 1 Hz, all
rules, no forecasts, from a capture file to the finished document. ``...-recognising``: the same
with stages and weights recognised (``stage_from = "asked"``, as a node does), against without:
less the processor time spent in it, so that other work on the machine counts for nothing.
"""

from __future__ import annotations

import json
import random
import sqlite3
import statistics
import struct
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any

from pitlogger.bootstrap.engines import new_engine, replay_files
from pitlogger.bootstrap.policies import load_policy
from pitlogger.clock import ManualClock
from pitlogger.devices.contract import milli_units
from pitlogger.engine.feed import feed
from pitlogger.engine.inputs import Command
from pitlogger.engine.replay import replay as run_again
from pitlogger.engine.step import Engine
from pitlogger.engine.watch.recognition import Recognition
from pitlogger.engine.watch.weights import WeightRecognition
from pitlogger.formats.capture import read_capture
from pitlogger.formats.cook_file import load_cook, parse_cook
from pitlogger.model.journal import CookStarted
from pitlogger.model.readings import Reading, Tagged
from pitlogger.reports.replay_document import replay_document
from pitlogger.rules.policies import RulePolicy
from pitlogger.store import RunRow, Store
from pitlogger_drivers.environmental.decode import decode_temperature
from tests.benchmarks.row import Row

START_MS = 1_790_000_000_000
INGEST_S = 1800
NIGHT_S = 14 * 3600
PIECES = 6
PROBES = [f"brisket-{piece}/{core}" for piece in range(PIECES) for core in ("core", "point")]
PITS = [f"pit-{number}" for number in range(4)]


def cook_text() -> str:
    """Return a cook of six pieces with two probes each, and four pits."""
    pieces = "".join(
        f'[[piece]]\nid = "brisket-{n}"\ncut = "brisket-packer"\npit = "pit-{n % 4}"\n'
        for n in range(PIECES)
    )
    cores = "".join(
        f'[[channel]]\nid = "{probe}"\nsite = "core"\npiece = "{probe.partition("/")[0]}"\n'
        for probe in PROBES
    )
    pits = "".join(
        f'[[channel]]\nid = "{pit}"\nsite = "pit"\nset_point = "238F"\nlow = "200F"\n'
        'high = "300F"\n'
        for pit in PITS
    )
    return f'[cook]\nname = "bench"\n{pieces}{cores}{pits}'


def frames(seconds: int) -> list[tuple[str, int, bytes]]:
    """Return (channel, engine ms, Temperature frame of 0x2A6E), a noisy night's."""
    noise = random.Random(5)
    made = []
    for second in range(seconds):
        core = 5 + 90 * min(1.0, second / NIGHT_S) ** 0.5
        for index, channel in enumerate(PROBES + PITS):
            level = core if index < len(PROBES) else 114.0
            centi = round(level * 100 + noise.gauss(0, 20))
            made.append((channel, START_MS + second * 1000 + index * 30, struct.pack("<h", centi)))
    return made


def ingest(folder: Path) -> Row:
    """Return readings a second through everything, against plain rows."""
    given = frames(INGEST_S)
    ratios, rates = [], []
    for turn in range(3):
        ours = _through_everything(given, folder / f"ours-{turn}.db")
        plain = _plain_rows(given, folder / f"plain-{turn}.db")
        rates.append(len(given) / ours)
        ratios.append(plain / ours)
    yardstick = "sqlite3.executemany of the delivered rows"
    return Row("ingest", statistics.median(rates), "readings/s", yardstick,
               statistics.median(ratios))  # fmt: skip


def _through_everything(
    given: list[tuple[str, int, bytes]], path: Path, policy: RulePolicy | None = None
) -> float:
    engine = new_engine("bench", policy=policy)
    run = RunRow.begin("bench", "bench", ManualClock(START_MS), "0")
    with Store.open(path, run) as store:
        list(feed(engine, Command(START_MS - 1, CookStarted(parse_cook(cook_text())))))
        began = time.perf_counter()
        waiting: list[Tagged] = []
        commit_ms = START_MS + 5000
        for channel, t_ms, frame in given:
            for measured in decode_temperature(frame):
                value = None
                if measured.value is not None:
                    value = milli_units(measured.value, measured.unit)
                for out in feed(engine, Reading(channel, t_ms, value, measured.quality)):
                    for output in out:
                        if type(output) is Tagged:
                            waiting.append(output)  # noqa: PERF401  as the daemon does it
            if t_ms >= commit_ms:
                store.append(readings=waiting).result()
                waiting, commit_ms = [], commit_ms + 5000
        store.append(readings=waiting).result()
        return time.perf_counter() - began


def _plain_rows(given: list[tuple[str, int, bytes]], path: Path) -> float:
    rows = [(channel, t_ms, struct.unpack("<h", frame)[0] * 10) for channel, t_ms, frame in given]
    connection = sqlite3.connect(path, isolation_level=None)
    connection.execute("PRAGMA journal_mode=WAL")
    connection.execute("PRAGMA synchronous=FULL")
    connection.execute("CREATE TABLE reading (channel TEXT, t_ms INTEGER, value INTEGER)")
    batch = 5 * len(PROBES + PITS)
    began = time.perf_counter()
    for start in range(0, len(rows), batch):
        connection.execute("BEGIN")
        connection.executemany("INSERT INTO reading VALUES (?, ?, ?)", rows[start : start + batch])
        connection.execute("COMMIT")
    took = time.perf_counter() - began
    connection.close()
    return took


def recognising(folder: Path) -> list[Row]:
    """Return what recognition costs in ``ingest`` and ``replay``: with it, against without."""
    given, policy = frames(INGEST_S), replace(load_policy(), stage_from="asked")
    with _spent_in_recognition() as spent:
        began = time.process_time()
        _through_everything(given, folder / "recognising.db", policy)
        whole_s = time.process_time() - began
        share = (whole_s - spent[0]) / whole_s
        rows = [
            Row("ingest-recognising", len(given) / whole_s, "readings/s", "ingest without", share)
        ]
    capture, cook = _night(folder)
    with _spent_in_recognition() as spent:
        began = time.process_time()
        for _ in run_again(
            new_engine("bench", policy=policy), read_capture(capture), [load_cook(cook)]
        ):
            pass
        whole_s = time.process_time() - began
    times = whole_s / (whole_s - spent[0])
    return [*rows, Row("replay-recognising", whole_s, "s", "replay without", times)]


@contextmanager
def _spent_in_recognition() -> Iterator[list[float]]:
    """Add up the processor time spent in recognition, in the one item that is given."""
    spent = [0.0]
    parts = [(Recognition, "minute"), (WeightRecognition, "judge"), (Engine, "recognised")]
    known = [getattr(of, name) for of, name in parts]

    def measured(run: Callable[..., Any]) -> Callable[..., Any]:
        def through(*given: Any) -> Any:
            began = time.thread_time()
            try:
                return run(*given)
            finally:
                spent[0] += time.thread_time() - began

        return through

    for (of, name), run in zip(parts, known, strict=True):
        setattr(of, name, measured(run))
    try:
        yield spent
    finally:
        for (of, name), run in zip(parts, known, strict=True):
            setattr(of, name, run)


def _night(folder: Path) -> tuple[Path, Path]:
    """Write the capture of a night and its cook file."""
    capture, cook = folder / "night.senml", folder / "night.toml"
    cook.write_text(cook_text(), encoding="utf-8")
    with capture.open("w", encoding="utf-8") as file:
        pack = []
        for channel, t_ms, frame in frames(NIGHT_S):
            value = struct.unpack("<h", frame)[0] / 100
            pack.append({"n": channel, "u": "Cel", "v": value, "t": t_ms / 1000})
            if len(pack) == len(PROBES + PITS):
                file.write(json.dumps(pack) + "\n")
                pack = []
    return capture, cook


def replay(folder: Path) -> Row:
    """Return the seconds that a night's capture takes from file to document."""
    capture, cook = _night(folder)
    began = time.perf_counter()
    gathered, engine = replay_files(capture, cook, forecasts=False)
    document = replay_document(gathered, engine.book)
    took = time.perf_counter() - began
    assert document["readings"] == NIGHT_S * len(PROBES + PITS)
    return Row("replay", took, "s")


def rows() -> list[Row]:
    """Return all rows."""
    with tempfile.TemporaryDirectory() as folder:
        return [ingest(Path(folder)), replay(Path(folder)), *recognising(Path(folder))]


if __name__ == "__main__":
    for row in rows():
        print(row)
