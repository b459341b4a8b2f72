"""What a node acknowledged and was sent, held against what its database holds."""

from __future__ import annotations

import http.client
import json
import shutil
import socket
import sqlite3
import tempfile
import threading
import time
from collections import Counter
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from random import Random

from pitlogger.store import Reader
from tests.torture.node import Node

COUNT = "count"
RAW_PER_READING = 10  # reading n is n hundredths of a degree, kept as milli-degrees


@dataclass(slots=True)
class Ledger:
    """What must be on record.

    Attributes:
        told: When each request was acknowledged, monotonic seconds, by its key.
        asked: Keys of all requests, acknowledged or not.
    """

    told: dict[str, float] = field(default_factory=dict)
    asked: list[str] = field(default_factory=list)


class Writer:
    """A person who writes notes and weighings, and asks again until told that it is kept."""

    def __init__(self, node: Node, seed: int, pause_s: float) -> None:
        self.ledger = Ledger()
        self.refused: list[str] = []
        self._node = node
        self._dice = Random(seed)
        self._pause_s = pause_s
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._write, daemon=True)
        self._thread.start()

    def close(self) -> None:
        """Stop writing; the request under way is asked until it is answered."""
        self._stop.set()
        self._thread.join(60)
        assert not self._thread.is_alive(), "a request was never answered"

    def _write(self) -> None:
        number = 0
        while not self._stop.wait(self._dice.expovariate(1 / self._pause_s)):
            number += 1
            self._insist(f"{id(self)}-{number}", number)

    def _insist(self, key: str, number: int) -> None:
        self.ledger.asked.append(key)
        path, body = "/notes", {"text": f"note {number}"}
        if number % 4 == 0:
            path, body = "/weighings", {"piece": "brisket-1", "checkpoint": "trimmed",
                                        "mass": f"{5000 + number} g"}  # fmt: skip
        while True:
            try:
                status, text = post(self._node.socket, path, {**body, "key": key, "by": "AB"})
            except (OSError, http.client.HTTPException):
                time.sleep(0.02)
                continue
            if status >= 500 and "ask again" in text:
                time.sleep(0.1)
                continue
            if status == 202:  # kept in memory: asked again, as a phone does, until it is on disk
                time.sleep(0.3)
                continue
            if status == 200:
                self.ledger.told[key] = time.monotonic()
            else:
                self.refused.append(text)
            return


def post(way: Path, path: str, body: dict[str, str]) -> tuple[int, str]:
    """Send a request over a socket of its own, which is closed whatever happens.

    Raises:
        OSError, HTTPException: There was no answer.
    """
    asked = http.client.HTTPConnection("pit", timeout=60)
    asked.sock = socket.socket(socket.AF_UNIX)
    with closing(asked):
        asked.sock.settimeout(60)
        asked.sock.connect(str(way))
        head = {"Content-Type": "application/json"}
        asked.request("POST", f"/api/v1{path}", json.dumps(body), head)
        answer = asked.getresponse()
        return answer.status, answer.read().decode()


@contextmanager
def writing(node: Node, seed: int, pause_s: float) -> Iterator[Writer]:
    """Have somebody write while the context is open."""
    writer = Writer(node, seed, pause_s)
    try:
        yield writer
    finally:
        writer.close()


@dataclass(slots=True)
class Held:
    """What a database holds."""

    faults: list[str]
    keys: Counter[str]
    numbers: list[int]
    seqs: dict[str, list[int]]
    lost: int


def held_in(database: Path, newest: int | None = None) -> Held:
    """Read a copy of a database and its write-ahead file; the original is not touched.

    Args:
        newest: Readings of so many runs only, the newest; of all by default.
    """
    with tempfile.TemporaryDirectory() as name:
        copy = Path(name) / "pitlogger.db"
        for suffix in ("", "-wal"):
            source = database.with_name(database.name + suffix)
            if source.exists():
                shutil.copyfile(source, copy.with_name(copy.name + suffix))
        with closing(sqlite3.connect(copy)) as connection:
            found = connection.execute("PRAGMA integrity_check(5)").fetchall()
            faults = [] if found == [("ok",)] else [str(row[0]) for row in found]
        with Reader.open(copy) as reader:
            entries = reader.entries()
            numbers = [
                row.raw // RAW_PER_READING
                for run in reader.runs()[-newest if newest else 0 :]
                for row in reader.readings([COUNT], 0, 1 << 60, run=run.run)
                if row.raw is not None
            ]
            lost = sum(row.readings for row in reader.lost())
    seqs: dict[str, list[int]] = {}
    for entry in entries:
        seqs.setdefault(entry.run, []).append(entry.seq)
    keys = Counter(entry.key for entry in entries if entry.key)
    return Held(faults, keys, numbers, seqs, lost)


def faults_of(
    held: Held, ledger: Ledger, until_s: float | None = None, *, torn: bool = False
) -> list[str]:
    """Return what is wrong with a record, in words; an empty list if nothing is.

    Args:
        until_s: Only what was acknowledged by then need be there.
        torn: The file was damaged: runs may lack entries of which no other copy is.
    """
    faults = list(held.faults)
    told = {key for key, at_s in ledger.told.items() if until_s is None or at_s <= until_s}
    faults += [f"acknowledged and gone: {key}" for key in sorted(told - held.keys.keys())]
    faults += [f"kept {n} times: {key}" for key, n in held.keys.items() if n > 1]
    faults += [
        f"run {run} has entries {seqs[:3]}..{seqs[-1]}, {len(seqs)} of them"
        for run, seqs in held.seqs.items()
        if seqs != (sorted(set(seqs)) if torn else list(range(1, len(seqs) + 1)))
    ]
    doubled = [number for number, n in Counter(held.numbers).items() if n > 1]
    if doubled:
        faults.append(f"readings kept twice: {doubled[:5]}")
    if held.numbers != sorted(held.numbers):
        faults.append("readings out of order")
    return faults


def gone_s(held: Held, sent: list[float], from_s: float, to_s: float) -> float:
    """Return how much of what was sent in a life is gone at its end, seconds.

    Counted from the end: a device that is not open yet at the beginning has lost nothing.
    """
    kept = {number for number in held.numbers if number < len(sent)}
    lived = [number for number, at_s in enumerate(sent) if from_s <= at_s <= to_s]
    last = max((number for number in lived if number in kept), default=None)
    return to_s - (from_s if last is None else sent[last])


def holes(held: Held, sent: list[float], from_s: float, to_s: float) -> list[int]:
    """Return the readings missing between the first and the last kept one of a life."""
    kept = set(held.numbers)
    lived = [number for number, at_s in enumerate(sent) if from_s <= at_s <= to_s]
    there = [number for number in lived if number in kept]
    return [] if not there else [n for n in range(there[0], there[-1]) if n not in kept]
