"""A capture as it goes on record: a run of its own, with what the engine makes of it.

The engine takes it as a replay does, so the record has the alerts and yields that replay
shows. A run is named after the capture: the same file twice is one run.
"""

from __future__ import annotations

import hashlib
from array import array
from dataclasses import dataclass, field, replace
from pathlib import Path

from pitlogger.bootstrap.cooks import cook_id
from pitlogger.bootstrap.engines import answer_now, new_engine
from pitlogger.engine.inputs import Command, Output
from pitlogger.engine.replay import replay
from pitlogger.engine.step import Engine
from pitlogger.errors import CaptureError, UsageError
from pitlogger.formats.capture import Decision, Record, read_capture
from pitlogger.formats.cook_file import load_cook
from pitlogger.model.belonging import cooks_of
from pitlogger.model.book import Book
from pitlogger.model.journal import CookFinished, CookStarted, Entry
from pitlogger.model.quantities import Quantity
from pitlogger.model.readings import Quality, Tagged

QUALITIES = tuple(Quality)
_STEADINESS = (None, False, True)
_NO_VALUE = -(1 << 63)


@dataclass(slots=True)
class ChannelReadings:
    """The readings of one channel, 26 bytes each: a long cook of many probes fits a board."""

    t_ms: array[int] = field(default_factory=lambda: array("q"))
    _raw: array[int] = field(default_factory=lambda: array("q"))
    _value: array[int] = field(default_factory=lambda: array("q"))
    _quality: bytearray = field(default_factory=bytearray)
    _stable: bytearray = field(default_factory=bytearray)

    def take(self, reading: Tagged) -> None:
        """Append a reading."""
        self.t_ms.append(reading.t_ms)
        self._raw.append(_NO_VALUE if reading.raw is None else reading.raw)
        self._value.append(_NO_VALUE if reading.value is None else reading.value)
        self._quality.append(QUALITIES.index(reading.quality))
        self._stable.append(_STEADINESS.index(reading.stable))

    def __len__(self) -> int:
        return len(self.t_ms)

    def part(self, start: int, end: int) -> dict[str, list[object]]:
        """Return some of the readings as lists of plain values."""
        return {
            "t_ms": list(self.t_ms[start:end]),
            "raw": [None if raw == _NO_VALUE else raw for raw in self._raw[start:end]],
            "value": [None if value == _NO_VALUE else value for value in self._value[start:end]],
            "quality": [QUALITIES[at].value for at in self._quality[start:end]],
            "stable": [_STEADINESS[at] for at in self._stable[start:end]],
        }


@dataclass(slots=True)
class Imported:
    """What a capture puts on record.

    Attributes:
        run: Its name.
        entries: Each with the ids of the cooks it belongs to.
        columns: Readings by channel.
        quantities: What each channel measures.
        books: One a cook, by the id of the cook.
        origin: Run and number the first cook's start had where it was recorded first.
    """

    run: str
    entries: list[tuple[Entry, tuple[str, ...]]] = field(default_factory=list)
    columns: dict[str, ChannelReadings] = field(default_factory=dict)
    quantities: dict[str, Quantity] = field(default_factory=dict)
    books: dict[str, Book] = field(default_factory=dict)
    origin: tuple[str, int] | None = None
    start_ms: int = 0
    end_ms: int = 0
    _ids: dict[str, str] = field(default_factory=dict)  # here, by those of the capture

    @property
    def readings(self) -> int:
        return sum(map(len, self.columns.values()))

    def take(self, output: Output, engine: Engine) -> None:
        """Take what the engine made, and how its cooks stood after it."""
        if type(output) is Tagged:
            self.columns.setdefault(output.channel, ChannelReadings()).take(output)
        elif isinstance(output, Entry):
            body, book = output.body, engine.book
            if isinstance(body, CookStarted):
                name = f"{cook_id(body.cook.name, output.t_ms)}-{self.run[-4:]}"
                self._ids[body.cook.id] = name
            own = cooks_of(body, book, engine.state.entries)
            cooks = tuple(self._ids[cook] for cook in own if cook in self._ids)
            # A key belongs to the node that was asked; here it would stand for another request.
            self.entries.append((replace(output, key=""), cooks))
            if isinstance(body, CookFinished):
                self.books |= {self._ids[cook]: book.only(cook) for cook in own}


def imported(capture: Path, cook_file: Path | None = None) -> Imported:
    """Return what a capture puts on record; a cook that it leaves open ends with it.

    Raises:
        CaptureError: It cannot be read, with ``file:line``, or holds nothing.
        CookFileError: The cook file cannot be read, with ``file:line``.
        UsageError: No cook is in it, and none was given.
    """
    cook = None if cook_file is None else load_cook(cook_file)
    records = read_capture(capture)
    if not records:
        raise CaptureError(f"{capture}: there is nothing in it: expected SenML, one pack a line")
    starts = [record for record in records if _starts(record)]
    if cook is None and not starts:
        raise UsageError(
            f"{capture} starts no cook, so its readings would belong to none:"
            " name its cook file with --cook"
        )
    made = Imported(_run(capture, cook_file), start_ms=records[0].t_ms, end_ms=records[-1].t_ms)
    made.origin = starts[0].origin if starts and isinstance(starts[0], Decision) else None
    engine = new_engine(made.run)
    for output in replay(
        engine, records, () if cook is None else (cook,), answer_now, name=str(capture)
    ):
        made.take(output, engine)
    for left, span in engine.book.open_cooks().items():
        finished = CookFinished(span.cook.name, left)
        for output in engine.step(Command(records[-1].t_ms, finished)):
            made.take(output, engine)
    made.quantities = {
        name: lane.quantity for name, lane in engine.lanes.items() if name in made.columns
    }
    made.end_ms = max(made.end_ms, *(entry.t_ms for entry, _ in made.entries))
    return made


def _run(*files: Path | None) -> str:
    digest = hashlib.sha256()
    for file in files:
        digest.update(b"\0" if file is None else file.read_bytes())
    return f"capture-{digest.hexdigest()[:12]}"


def _starts(record: Record) -> bool:
    return isinstance(record, Decision) and isinstance(record.body, CookStarted)
