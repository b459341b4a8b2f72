"""What the store costs: bytes kept and written, charts over a night and over many years.

    python tests/benchmarks/store.py            all rows, as JSON
    python tests/benchmarks/store.py disk       one of: disk, chart, packing

The live load is that of the budget: 16 temperature channels at 1 Hz, resolution 0.1 C with
noise of 0.1 C, received in frames that jitter by 2 ms, and one scale at 10 Hz in steps of
5 g; commits every 4.8 s of engine time. Bytes written are the process's own
``write_bytes`` of /proc/self/io, checkpoints included: what reaches the block layer in whole
pages, which is what wears a card.
"""

from __future__ import annotations

import json
import math
import random
import shutil
import sys
import tempfile
import time
from collections.abc import Iterator
from functools import partial
from pathlib import Path
from typing import TypedDict

from pitlogger.model.readings import Quality, Site, Tagged
from pitlogger.store import RunRow, Store
from pitlogger.store.packing import group, pack, pack_tail
from pitlogger.store.rollup import minutes
from pitlogger.store.sink import Sink

START_MS = 1_790_000_000_000 // 600_000 * 600_000
PROBES = [f"piece-{number}/core" for number in range(16)]
BATCH_MS = 4800
HOUR_MS = 3_600_000


class Row(TypedDict):
    id: str
    value: float
    unit: str
    yardstick: str
    ratio: float | None


def live_load(hours: float, seed: int = 7) -> Iterator[list[Tagged]]:
    """Yield the live load in batches of 4.8 s."""
    noise = random.Random(seed)
    batch: list[Tagged] = []
    due_ms = START_MS + BATCH_MS
    for tick in range(int(hours * 36_000)):
        t_ms = START_MS + tick * 100 + round(abs(noise.gauss(0, 2)))
        mass = round((5200 + 40 * math.sin(tick / 90_000) + noise.gauss(0, 1.5)) / 5) * 5000
        batch.append(Tagged("bench-scale", t_ms, mass, mass, Quality.GOOD, Site.BENCH, None))
        if tick % 10 == 0:
            for number, probe in enumerate(PROBES):
                at_ms = t_ms + 5 * number + round(abs(noise.gauss(0, 2)))
                level = 40 + number + 45 * (1 - math.exp(-tick / 200_000))
                value = round((level + noise.gauss(0, 0.1)) * 10) * 100
                batch.append(Tagged(probe, at_ms, value, value, Quality.GOOD, Site.CORE, "p"))
        if t_ms >= due_ms:
            yield batch
            batch, due_ms = [], due_ms + BATCH_MS
    if batch:
        yield batch


def written_bytes() -> int:
    """Return what this process has sent to the block layer so far."""
    lines = Path("/proc/self/io").read_text(encoding="ascii").splitlines()
    return int(dict(line.split(": ") for line in lines)["write_bytes"])


def run_row(name: str, start_ms: int = START_MS) -> RunRow:
    return RunRow(name, "bench", "boot", start_ms, 0, "0", True)


def disk(hours: float = 2) -> list[Row]:
    """Return bytes per reading and megabytes an hour at the live load."""
    folder = Path(tempfile.mkdtemp(dir="."))
    try:
        path = folder / "bench.db"
        readings = 0
        batches = list(live_load(hours))
        with Store.open(path, run_row("live")) as store:
            before = written_bytes()
            for batch in batches:
                store.add_readings(batch)
                store.flush().result()
                readings += len(batch)
            written = written_bytes() - before
        size = path.stat().st_size
    finally:
        shutil.rmtree(folder)
    note = f"{readings} readings in {hours:g} h of live load"
    return [
        {
            "id": "disk-size",
            "value": size / readings,
            "unit": "B/reading",
            "yardstick": f"file after closing, {note}",
            "ratio": None,
        },
        {
            "id": "disk-write",
            "value": written / hours / 1e6,
            "unit": "MB/h",
            "yardstick": f"write_bytes of the process, {note}",
            "ratio": None,
        },
    ]


def fill(path: Path, cooks: int, hours: float = 14) -> None:
    """Write a night of 16 channels at 1 Hz, then copies of it as other cooks."""
    noise = random.Random(1)
    rows = []
    for probe in PROBES:
        values = [
            round((60 + second / 2000 + noise.gauss(0, 0.1)) * 10) * 100
            for second in range(int(hours * 3600))
        ]
        rows += [
            Tagged(probe, START_MS + second * 1000, value, value, Quality.GOOD, Site.CORE, "p")
            for second, value in enumerate(values)
        ]
    with Store.open(path, run_row("tonight")) as store:
        store.add_readings(rows)
        store.flush().result()
        assert store._writer._sink is not None
        store._writer._sink.connection.execute("PRAGMA synchronous=OFF")
        for number in range(1, cooks):
            store._writer.submit(partial(_copy, number)).result()


def _copy(number: int, sink: Sink) -> None:
    """Insert a copy of the first run's rows as a cook ``number`` weeks later."""
    connection = sink.connection
    on_ms = number * 7 * 86_400_000
    connection.execute(
        "INSERT INTO run SELECT NULL, run || ?, node, boot_id, start_ms + ?, 0, version, 1,"
        " start_ms + ? + 50400000 FROM run WHERE run = 'tonight'",
        (number, on_ms, on_ms),
    )
    run = connection.execute("SELECT last_insert_rowid()").fetchone()[0]
    first = connection.execute("SELECT max(id) FROM channel").fetchone()[0]
    connection.execute(
        "INSERT INTO channel SELECT NULL, ?, name, quantity FROM channel WHERE run ="
        " (SELECT id FROM run WHERE run = 'tonight') ORDER BY id",
        (run,),
    )
    connection.execute(
        "INSERT INTO packed SELECT NULL, block_ms + ?, channel + ?, readings, data FROM packed"
        " WHERE block_ms < ? AND channel <= ? ORDER BY id",
        (on_ms, first, START_MS + 14 * HOUR_MS, len(PROBES)),
    )
    names = [row[1] for row in connection.execute("PRAGMA table_info(rollup)")][2:]
    connection.execute(
        f"INSERT INTO rollup SELECT t_ms + ?, channel + ?, {', '.join(names)} FROM rollup"
        " WHERE t_ms < ? AND channel <= ?",
        (on_ms, first, START_MS + 14 * HOUR_MS, len(PROBES)),
    )


def charted_ms(path: Path, rounds: int = 7) -> float:
    """Return the least time of a chart of the night, milliseconds."""
    from pitlogger.store import Reader

    best = math.inf
    with Reader.open(path) as reader:
        for _ in range(rounds):
            began = time.perf_counter()
            lines = reader.chart(PROBES, START_MS, START_MS + 14 * HOUR_MS, 600)
            best = min(best, time.perf_counter() - began)
        assert len(lines) == 16
        assert all(len(line.at_ms) == 600 for line in lines)
    return best * 1000


def chart(cooks: int = 1000) -> list[Row]:
    """Return the time of a chart, and how it grows with the cooks in the file."""
    folder = Path(tempfile.mkdtemp(dir="."))
    try:
        fill(folder / "one.db", 1)
        fill(folder / "many.db", cooks)
        alone, among = charted_ms(folder / "one.db"), charted_ms(folder / "many.db")
        data = (folder / "many.db").stat().st_size
    finally:
        shutil.rmtree(folder)
    return [
        {
            "id": "chart",
            "value": alone,
            "unit": "ms",
            "yardstick": "14 h of 16 channels at 1 Hz in 600 buckets",
            "ratio": None,
        },
        {
            "id": "chart-growth",
            "value": among,
            "unit": "ms",
            "yardstick": f"the same with {cooks} cooks in the file ({data / 1e9:.1f} GB)",
            "ratio": among / alone,
        },
    ]


def packing() -> list[Row]:
    """Return what packing costs a reading in pure Python, microseconds (no budget of its own)."""
    batches = list(live_load(1))
    whole = [reading for batch in batches for reading in batch][: 26 * 600]
    costs = []
    for work, sets in (
        (lambda rows: pack_tail(dict(enumerate(group(rows).values()))), batches),
        (lambda rows: [(pack(held), minutes(held)) for held in group(rows).values()], [whole]),
    ):
        began = time.perf_counter()
        for rows in sets:
            work(rows)
        costs.append((time.perf_counter() - began) / sum(map(len, sets)) * 1e6)
    return [
        {"id": name, "value": cost, "unit": "us/reading", "yardstick": note, "ratio": None}
        for name, cost, note in (
            ("pack-tail", costs[0], "live batches of 4.8 s"),
            ("pack-block", costs[1], "ten minutes at once, rolled up too"),
        )
    ]


PARTS = {"disk": disk, "chart": chart, "packing": packing}


def rows() -> list[Row]:
    """Return all rows."""
    return [row for part in PARTS.values() for row in part()]


if __name__ == "__main__":
    chosen = [PARTS[name] for name in sys.argv[1:]] or list(PARTS.values())
    print(json.dumps([row for part in chosen for row in part()], indent=1))
