"""Rows straight from the pages of a database file, where its trees no longer lead to them.

Every page that can be read as a leaf, or as an inner page of an index, gives its rows,
whichever table it belonged to; those of pages long freed too.

Source: sqlite.org/fileformat2.html, 1.6 (B-tree pages), 1.5 (cell payload overflow), 2.1
(record format). Big-endian; a varint has 7 bits an byte, the ninth byte all 8.
"""

from __future__ import annotations

from collections.abc import Iterator
from mmap import mmap
from typing import NamedTuple

from pitlogger.store.connection import PAGE_BYTES

Value = int | str | bytes | None
_TABLE_LEAF, _INDEX_LEAF, _INDEX_INNER = 0x0D, 0x0A, 0x02
_FILE_HEADER = 100
_MOST = 1 << 30  # bytes of a row; a greater number can only come from damage
_INTEGER_BYTES = (0, 1, 2, 3, 4, 6, 8)


class Row(NamedTuple):
    """A row as stored. ``rowid`` is ``None`` in an index, and so in a table without row ids."""

    rowid: int | None
    values: tuple[Value, ...]


def rows_in(content: mmap | bytes) -> Iterator[Row]:
    """Yield every row of a file that can be read, in the order of its pages."""
    for start in range(0, len(content) - PAGE_BYTES + 1, PAGE_BYTES):
        page = content[start : start + PAGE_BYTES]
        head = _FILE_HEADER if start == 0 else 0
        kind = page[head]
        if kind not in (_TABLE_LEAF, _INDEX_LEAF, _INDEX_INNER):
            continue
        cells = int.from_bytes(page[head + 3 : head + 5], "big")
        pointers = head + (12 if kind == _INDEX_INNER else 8)
        if pointers + 2 * cells > PAGE_BYTES:
            continue
        for number in range(cells):
            at = pointers + 2 * number
            cell = int.from_bytes(page[at : at + 2], "big")
            try:
                yield _row(content, page, cell, kind)
            except (IndexError, ValueError):
                continue  # not a row: the page is damaged, or was none


def _row(content: mmap | bytes, page: bytes, at: int, kind: int) -> Row:
    if kind == _INDEX_INNER:
        at += 4
    size, at = _varint(page, at)
    rowid = None
    if kind == _TABLE_LEAF:
        rowid, at = _varint(page, at)
    if not 0 < size < _MOST:
        raise ValueError("no payload")
    local = _local_bytes(size, kind)
    if at + local > PAGE_BYTES:
        raise ValueError("beyond the page")
    payload = page[at : at + local]
    if local < size:
        following = int.from_bytes(page[at + local : at + local + 4], "big")
        payload += _overflow(content, following, size - local)
    return Row(rowid, _record(payload))


def _local_bytes(size: int, kind: int) -> int:
    """Return how much of a payload lies in the page itself."""
    least = (PAGE_BYTES - 12) * 32 // 255 - 23
    most = PAGE_BYTES - 35 if kind == _TABLE_LEAF else (PAGE_BYTES - 12) * 64 // 255 - 23
    if size <= most:
        return size
    local = least + (size - least) % (PAGE_BYTES - 4)
    return local if local <= most else least


def _overflow(content: mmap | bytes, number: int, left: int) -> bytes:
    parts = []
    while left > 0:
        start = (number - 1) * PAGE_BYTES
        if number < 1 or start + PAGE_BYTES > len(content):
            raise ValueError("overflow leads nowhere")
        part = content[start + 4 : start + 4 + min(left, PAGE_BYTES - 4)]
        parts.append(part)
        left -= len(part)
        number = int.from_bytes(content[start : start + 4], "big")
    return b"".join(parts)


def _record(payload: bytes) -> tuple[Value, ...]:
    head_bytes, at = _varint(payload, 0)
    body = head_bytes
    values: list[Value] = []
    while at < head_bytes:
        kind, at = _varint(payload, at)
        raw = _bytes_of(kind)
        if body + raw > len(payload):
            raise ValueError("cut short")
        values.append(_value(kind, payload[body : body + raw]))
        body += raw
    if body != len(payload):
        raise ValueError("bytes left over")
    return tuple(values)


def _bytes_of(kind: int) -> int:
    if kind < len(_INTEGER_BYTES):
        return _INTEGER_BYTES[kind]
    if kind >= 12:
        return (kind - 12) // 2
    if kind in (8, 9):
        return 0
    raise ValueError("a real number or a reserved kind: we store none")


def _value(kind: int, raw: bytes) -> Value:
    if kind == 0:
        return None
    if kind in (8, 9):
        return kind - 8
    if kind < 8:
        return int.from_bytes(raw, "big", signed=True)
    return raw.decode("utf-8") if kind % 2 else raw


def _varint(data: bytes, at: int) -> tuple[int, int]:
    value = 0
    for number in range(9):
        byte = data[at + number]
        if number == 8:
            value = value << 8 | byte
            break
        value = value << 7 | byte & 0x7F
        if byte < 0x80:
            break
    return (value - (1 << 64) if value >> 63 else value), at + number + 1
