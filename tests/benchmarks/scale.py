"""How cost grows: from one cook to a thousand on file, from 16 channels at 1 Hz to 64 at 10 Hz.

    python -m tests.benchmarks.scale

A thousand cooks of an hour each, of 16 channels at 1 Hz with a journal, are a thousand hours
of readings. Each row is measured on both files in the same run; the ratio is how it grew.
``scale-rate`` is the time of the engine and the store a second of load, and its ratio that of
the costs of a reading.
"""

from __future__ import annotations

import json
import signal
import tempfile
import time
from collections.abc import Callable
from functools import partial
from pathlib import Path

from pitlogger.bootstrap.engines import new_engine
from pitlogger.engine.feed import feed
from pitlogger.engine.inputs import Command
from pitlogger.formats.cook_file import parse_cook
from pitlogger.formats.journal_json import load_entry
from pitlogger.model.cooks import Stage
from pitlogger.model.folding import fold
from pitlogger.model.journal import Body, CookFinished, CookStarted, Entry, Noted, StageSet, Weighed
from pitlogger.model.readings import Reading, Tagged
from pitlogger.reports.cook_record import load_record
from pitlogger.rules.messages import Units
from pitlogger.safety.policy import shipped_policy
from pitlogger.store import JournalRow, Reader, Store
from pitlogger.store.backup import back_up
from pitlogger.store.connection import connect_reader
from pitlogger.store.sink import Sink
from pitlogger.web.past_entries import journals_text
from tests.benchmarks import process
from tests.benchmarks.row import Row
from tests.benchmarks.store import START_MS, fill, run_row

COOKS = 1000
NOTES = 200  # of the entries of a cook; alerts and forecasts weigh about as much
LOAD_S = 60
COOK = '[cook]\nname = "night"\n[[piece]]\nid = "brisket-1"\ncut = "brisket-packer"\n'


def journal(store: Store) -> None:
    """Write the journal of one cook of an hour."""
    bodies: list[Body] = [
        CookStarted(parse_cook(COOK)),
        Weighed("brisket-1", "purchased", 6_400_000, 0, START_MS),
        StageSet("brisket-1", Stage.SMOKING, START_MS),
        *(Noted(f"what came to mind at minute {number / 4:g}") for number in range(NOTES)),
        Weighed("brisket-1", "carved", 3_700_000, 0, START_MS),
        CookFinished("night"),
    ]
    entries = [
        Entry("tonight", seq, START_MS + seq * 15_000, body)
        for seq, body in enumerate(bodies, start=1)
    ]
    store.append([JournalRow.of(entry, "night-0") for entry in entries]).result()


def copy_journal(number: int, sink: Sink) -> None:
    """Insert a copy of the first cook's journal, as that of run ``number`` after it."""
    on_ms = number * 7 * 86_400_000
    run, name = sink.connection.execute(
        "SELECT id, run FROM run WHERE run = 'tonight' || ?", (number,)
    ).fetchone()
    sink.connection.execute(
        "INSERT INTO cook SELECT 'night-' || ?, name, ?, started_ms + ?, ?, finished_ms + ?, 1"
        " FROM cook WHERE id = 'night-0'",
        (number, run, on_ms, run, on_ms),
    )
    sink.connection.execute(
        "INSERT INTO journal SELECT ?1, seq, t_ms + ?2, kind, initials, NULL, 'night-' || ?3,"
        " json_set(entry, '$.run', ?4, '$.t_ms', t_ms + ?2) FROM journal WHERE cook = 'night-0'",
        (run, on_ms, number, name),
    )


def file_of(folder: Path, cooks: int) -> Path:
    """Make a database of so many cooks."""
    path = folder / "pitlogger.db"
    path.parent.mkdir()
    fill(path, cooks, hours=1)
    with Store.open(path, run_row("journals", START_MS + cooks * 7 * 86_400_000)) as store:
        journal(store)
        last = store._writer._sink
        assert last is not None
        last.connection.execute("PRAGMA synchronous=OFF")
        for number in range(1, cooks):
            store._writer.submit(partial(copy_journal, number)).result()
    return path


def start_s(path: Path) -> float:
    """Return how soon a daemon is ready on a file."""
    config = path.with_name("scale.toml")
    config.write_text(
        f'[node]\nname = "scale"\ndata = "{path.parent}"\n[web]\nenabled = false\n',
        encoding="utf-8",
    )
    best = float("inf")
    for _ in range(3):
        began = time.perf_counter()
        daemon = process.started(config)
        process.answering(path.with_name("pitlogger.sock")).close()
        best = min(best, time.perf_counter() - began)
        daemon.send_signal(signal.SIGTERM)
        daemon.wait(20)
    return best


def record_s(path: Path) -> float:
    """Return how long one cook's whole record takes: ledger, verdicts, lines."""
    units = Units("F", "lb-oz")
    with Reader.open(path) as reader:
        return _best(
            lambda: load_record(reader, "night-0", shipped_policy("retail-food-code"), units)
        )


def history_s(path: Path) -> float:
    """Return how long it takes to read all cooks for what they teach."""

    def read() -> None:
        with Reader.open(path) as reader:
            for row in json.loads(journals_text(reader)):
                fold([load_entry(entry) for entry in row["entries"]])

    return _best(read, rounds=1)


def list_s(path: Path) -> float:
    """Return how long the list of cooks takes."""
    with Reader.open(path) as reader:
        return _best(reader.cooks)


def backup_s(path: Path) -> float:
    """Return how long a verified backup takes."""
    connection = connect_reader(path)
    began = time.perf_counter()
    back_up(connection, path.with_name("stick")).unlink()
    took = time.perf_counter() - began
    connection.close()
    return took


def _best(work: Callable[[], object], rounds: int = 3) -> float:
    best = float("inf")
    for _ in range(rounds):
        began = time.perf_counter()
        work()
        best = min(best, time.perf_counter() - began)
    return best


def load_s(folder: Path, channels: int, hertz: int) -> float:
    """Return the seconds that engine and store take for a minute of load."""
    names = [f"probe-{number}" for number in range(channels)]
    text = COOK + "".join(f'[[channel]]\nid = "{name}"\nsite = "surface"\n' for name in names)
    engine = new_engine("load")
    list(feed(engine, Command(START_MS - 1, CookStarted(parse_cook(text)))))
    readings = [
        Reading(name, START_MS + tick * 1000 // hertz, 60_000 + 100 * ((tick + at) % 7))
        for tick in range(LOAD_S * hertz)
        for at, name in enumerate(names)
    ]
    with Store.open(folder / f"load-{channels}-{hertz}.db", run_row("load")) as store:
        began = time.perf_counter()
        waiting: list[Tagged] = []
        due_ms = START_MS + 4800
        for reading in readings:
            for out in feed(engine, reading):
                waiting += [output for output in out if type(output) is Tagged]
            if reading.t_ms >= due_ms:
                store.add_readings(waiting)
                waiting, due_ms = [], due_ms + 4800
        store.append(readings=waiting).result()
        return time.perf_counter() - began


def rate(folder: Path) -> Row:
    """Return what 64 channels at 10 Hz take, and how the cost of a reading grew."""
    few, many = load_s(folder, 16, 1), load_s(folder, 64, 10)
    a_reading = (many / (64 * 10)) / (few / 16)
    yardstick = f"64 channels at 10 Hz against 16 at 1 Hz, which take {few / LOAD_S * 1000:.1f} ms"
    return Row("scale-rate", many / LOAD_S * 1000, "ms a second", yardstick, a_reading)


def rows() -> list[Row]:
    """Return all rows."""
    with tempfile.TemporaryDirectory(dir=".") as name:
        folder = Path(name)
        one, many = file_of(folder / "one", 1), file_of(folder / "many", COOKS)
        size = many.stat().st_size
        grown = f"{COOKS} cooks on file ({size / 1e6:.0f} MB) against one"
        measured = {
            "scale-start": start_s,
            "scale-cooks": list_s,
            "scale-record": record_s,
            "scale-history": history_s,
            "scale-backup": backup_s,
        }
        found = []
        for row_id, measure in measured.items():
            few_s, many_s = measure(one), measure(many)
            found.append(Row(row_id, many_s, "s", grown, many_s / few_s))
        return [*found, Row("scale-size", size / COOKS / 1000, "kB a cook", grown), rate(folder)]


if __name__ == "__main__":
    print(json.dumps([row._asdict() for row in rows()], indent=1))
