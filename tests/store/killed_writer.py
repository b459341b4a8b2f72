"""A program to be killed: writes entries and readings, and prints what it was told is on disk.

    python killed_writer.py DATABASE RUN START_MS

Prints ``ready``, then a line ``SEQ READINGS`` after each acknowledged entry: its number and how
many readings had been handed over before it. Engine time runs a thousand times as fast as
life, so that readings are packed many times a second.
"""

from __future__ import annotations

import itertools
import sys
from pathlib import Path

from pitlogger.model.journal import Entry, Noted
from pitlogger.model.readings import Quality, Site, Tagged
from pitlogger.store import JournalRow, RunRow, Store

STEP_MS = 20_000
CHANNELS = ("core", "pit")


def reading(number: int, start_ms: int) -> Tagged:
    """Return the reading with this number; its value is its number."""
    t_ms = start_ms + number * STEP_MS
    channel = CHANNELS[number % 2]
    return Tagged(channel, t_ms, number, number, Quality.GOOD, Site.CORE, None)


def main(path: Path, run: str, start_ms: int) -> None:
    store = Store.open(path, RunRow(run, "node", "boot", start_ms, 0, "0"), batch_s=0.01)
    print("ready", flush=True)
    numbers = itertools.count()
    for seq in itertools.count(1):
        handed = 0
        for handed in itertools.islice(numbers, seq % 9 + 1):
            store.add_readings([reading(handed, start_ms)])
        entry = Entry(
            run, seq, start_ms + handed * STEP_MS, Noted(f"entry {seq}"), key=f"{run}-{seq}"
        )
        store.append([JournalRow.of(entry)]).result()
        print(seq, handed + 1, flush=True)


if __name__ == "__main__":
    main(Path(sys.argv[1]), sys.argv[2], int(sys.argv[3]))
