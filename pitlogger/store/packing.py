"""Readings as bytes: what the ``data`` columns of ``packed`` and ``tail`` hold.

    byte     version, 1
    varint    number of readings n, at least 1
    column    engine milliseconds
    column    value, milli-units; where there is none the last one before it is repeated
    column    raw - value; where raw or value is missing the last difference is repeated
    runs      state of the readings as (byte, varint length) until the lengths add up to n

Columns and varints as in ``columns.py``. A state byte has the index into ``QUALITIES`` in
bits 0 to 3, the scale's own word in bits 4 and 5 (0 none, 1 unsteady, 2 stable), "no value"
in bit 6 and "no raw" in bit 7; "no value" with a raw value keeps it as the difference.

A tail row holds many channels: before the version stand, as varints, the number of
channels and for each its id and number of readings; their readings follow one another.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from itertools import groupby
from operator import itemgetter, sub
from typing import Any

from pitlogger.errors import StoreError
from pitlogger.model.readings import Quality, Tagged
from pitlogger.store.columns import put_column, put_varint, take_column, take_varint

VERSION = 1
MOST = 10_000_000  # readings in one row; a greater number can only come from damage
QUALITIES: tuple[Quality, ...] = (
    Quality.GOOD,
    Quality.OPEN,
    Quality.SHORTED,
    Quality.FAULT,
    Quality.OVERLOAD,
    Quality.UNDERLOAD,
    Quality.NO_VALUE,
    Quality.OUT_OF_RANGE,
    Quality.TOO_FAST,
    Quality.STUCK,
    Quality.STALE,
    Quality.POSSIBLY_STORED,
    Quality.MALFORMED,
)  # the order is part of the format: only ever add at the end
_QUALITY_CODE = {quality.value: index for index, quality in enumerate(QUALITIES)}
_STABLE_CODE: dict[bool | None, int] = {None: 0, False: 0x10, True: 0x20}
_STABLE: tuple[bool | None, ...] = (None, False, True, None)
_NO_VALUE, _NO_RAW = 0x40, 0x80


@dataclass(slots=True)
class Columns:
    """Readings of one channel, or of several one after the other; lists of equal length.

    ``state`` is one byte a reading, as in the format above; 0 is good with a value.
    """

    t_ms: list[int]
    value: list[int]
    difference: list[int]  # raw - value
    state: bytes

    def __len__(self) -> int:
        return len(self.t_ms)

    def plus(self, other: Columns) -> Columns:
        """Return these readings followed by others."""
        return Columns(
            self.t_ms + other.t_ms,
            self.value + other.value,
            self.difference + other.difference,
            self.state + other.state,
        )

    def cut(self, start: int, stop: int) -> Columns:
        """Return the readings from position ``start`` up to ``stop``."""
        return Columns(
            self.t_ms[start:stop],
            self.value[start:stop],
            self.difference[start:stop],
            self.state[start:stop],
        )

    def without(self, other: Columns) -> Columns:
        """Return the readings that ``other`` does not hold."""
        known = set(zip(other.t_ms, other.value, other.difference, other.state, strict=True))
        rows = zip(self.t_ms, self.value, self.difference, self.state, strict=True)
        new = [row for row in rows if row not in known]
        t_ms, value, difference, state = zip(*new, strict=True) if new else ((), (), (), ())
        return Columns(list(t_ms), list(value), list(difference), bytes(state))

    def in_order(self) -> Columns:
        """Return the readings in order of time, equal times as they came."""
        order = sorted(range(len(self)), key=self.t_ms.__getitem__)
        pick = itemgetter(*order) if len(order) > 1 else lambda column: (column[order[0]],)
        return Columns(
            list(pick(self.t_ms)),
            list(pick(self.value)),
            list(pick(self.difference)),
            bytes(pick(self.state)),
        )


def group(readings: Iterable[Tagged]) -> dict[str, Columns]:
    """Return readings by channel, channels and each one's readings in the order they came."""
    found: defaultdict[str, list[Tagged]] = defaultdict(list)
    for reading in readings:
        found[reading[0]].append(reading)
    return {channel: _columns(rows) for channel, rows in found.items()}


def _columns(rows: list[Tagged]) -> Columns:
    t_ms = [row[1] for row in rows]
    raw: list[Any] = [row[2] for row in rows]
    value: list[Any] = [row[3] for row in rows]
    quality = [row[4] for row in rows]
    stable = [row[7] for row in rows]
    plain = (
        quality.count(Quality.GOOD) == len(quality)
        and None not in value
        and None not in raw
        and stable.count(None) == len(stable)
    )
    if not plain:
        return _doubtful(t_ms, raw, value, quality, stable)
    if raw == value:
        return Columns(t_ms, value, [0] * len(value), bytes(len(t_ms)))
    return Columns(t_ms, value, list(map(sub, raw, value)), bytes(len(t_ms)))


def _doubtful(
    t_ms: list[int],
    raws: Iterable[int | None],
    values: Iterable[int | None],
    qualities: Iterable[Quality],
    words: Iterable[bool | None],
) -> Columns:
    columns = Columns(t_ms, [], [], b"")
    state = bytearray()
    value = difference = 0
    for raw, given, quality, word in zip(raws, values, qualities, words, strict=True):
        mark = _QUALITY_CODE[quality] | _STABLE_CODE[word]
        if given is None:
            mark |= _NO_VALUE
        else:
            value = given
        if raw is None:
            mark |= _NO_RAW
        else:
            difference = raw - value
        columns.value.append(value)
        columns.difference.append(difference)
        state.append(mark)
    columns.state = bytes(state)
    return columns


def pack(columns: Columns) -> bytes:
    """Return readings as bytes."""
    out = bytearray((VERSION,))
    _put(out, columns, fast=False)
    return bytes(out)


def pack_tail(channels: dict[int, Columns]) -> bytes:
    """Return the readings of several channels, by channel id, as bytes."""
    out = bytearray()
    put_varint(out, len(channels))
    together = Columns([], [], [], b"")
    for channel, columns in channels.items():
        put_varint(out, channel)
        put_varint(out, len(columns))
        together.t_ms += columns.t_ms
        together.value += columns.value
        together.difference += columns.difference
        together.state += columns.state
    out.append(VERSION)
    _put(out, together, fast=True)
    return bytes(out)


def unpack(data: bytes) -> Columns:
    """Return the readings of a packed row.

    Raises:
        StoreError: Damaged, or of a version this program does not know.
    """
    return _take(data, 0)


def packed_count(data: bytes) -> int | None:
    """Return how many readings a packed row says it holds, ``None`` where it is none."""
    try:
        return take_varint(data, 1)[0] if data[0] == VERSION else None
    except IndexError:
        return None


def unpack_tail(data: bytes) -> dict[int, Columns]:
    """Return the readings of a tail row by channel id.

    Raises:
        StoreError: Damaged, or of a version this program does not know.
    """
    try:
        channels, at = take_varint(data, 0)
        counts = []
        for _ in range(channels):
            channel, at = take_varint(data, at)
            count, at = take_varint(data, at)
            counts.append((channel, count))
    except IndexError:
        raise StoreError("a row of fresh readings is cut short") from None
    together = _take(data, at)
    if sum(count for _, count in counts) != len(together):
        raise StoreError("a row of fresh readings holds another number than it says")
    found: dict[int, Columns] = {}
    start = 0
    for channel, count in counts:
        found[channel] = together.cut(start, start + count)
        start += count
    return found


def _put(out: bytearray, columns: Columns, *, fast: bool) -> None:
    put_varint(out, len(columns))
    put_column(out, columns.t_ms, fast=fast)
    put_column(out, columns.value, fast=fast)
    put_column(out, columns.difference, fast=fast)
    state = columns.state
    if state.count(state[0]) == len(state):  # nearly always, and a hundred times as fast
        out.append(state[0])
        put_varint(out, len(state))
        return
    for mark, run in groupby(state):
        out.append(mark)
        put_varint(out, sum(1 for _ in run))


def _take(data: bytes, at: int) -> Columns:
    if len(data) <= at or data[at] != VERSION:
        raise StoreError("packed readings of an unknown version, or damaged")
    try:
        count, at = take_varint(data, at + 1)
        if not 0 < count <= MOST:
            raise StoreError(f"packed readings claim to be {count}: damaged")
        t_ms, at = take_column(data, at, count)
        value, at = take_column(data, at, count)
        difference, at = take_column(data, at, count)
        state = bytearray()
        while len(state) < count:
            mark = data[at]
            length, at = take_varint(data, at + 1)
            if mark & 0x0F >= len(QUALITIES) or not 0 < length <= count - len(state):
                raise StoreError("packed readings have a state that does not exist: damaged")
            state += bytes((mark,)) * length
    except IndexError:
        raise StoreError("packed readings are cut short") from None
    return Columns(t_ms, value, difference, bytes(state))


def meaning(
    state: int, value: int, difference: int
) -> tuple[int | None, int | None, Quality, bool | None]:
    """Return raw, value, quality and the scale's own word of one reading."""
    return (
        None if state & _NO_RAW else value + difference,
        None if state & _NO_VALUE else value,
        QUALITIES[state & 0x0F],
        _STABLE[state >> 4 & 3],
    )
