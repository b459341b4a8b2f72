"""Rows as PostgreSQL's COPY reads them in its binary form.

Source: PostgreSQL 15 manual, COPY, binary format; src/backend/utils/adt/arrayfuncs.c (array_send,
from memory) for arrays: dimensions, whether one is null, type of the items, length, first index.
"""

from __future__ import annotations

import struct
from collections.abc import Callable, Iterable, Sequence
from itertools import chain, repeat
from typing import Any

_HEAD = b"PGCOPY\n\xff\r\n\0" + bytes(8)
_END = b"\xff\xff"
_NULL = b"\xff\xff\xff\xff"
_whole4 = struct.Struct(">ii").pack
_whole8 = struct.Struct(">iq").pack
_length = struct.Struct(">i").pack
_array = struct.Struct(">iiiiii").pack


def copied(types: Sequence[str], rows: Iterable[Sequence[object]]) -> bytes:
    """Return rows whose columns are of these types: int2[], int4, int4[], int8, text, bytea.

    What is beyond its place in a list of numbers is null there.

    Raises:
        OverflowError: A number beyond its column.
        UnicodeEncodeError: Text that is none.
    """
    count = repeat(struct.pack(">h", len(types)))
    given = list(rows)
    try:
        columns = [
            _ENCODERS[kind](column)
            for kind, column in zip(types, zip(*given, strict=True), strict=bool(given))
        ]
    except struct.error as fault:
        raise OverflowError(f"a number beyond its column: {fault}") from None
    fields = chain.from_iterable(zip(count, *columns, strict=False)) if given else ()
    return b"".join(chain((_HEAD,), fields, (_END,)))


def _each(encode: Callable[[Any], bytes]) -> Callable[[Sequence[Any]], Iterable[bytes]]:
    """Return what encodes a column, whose values mostly come again and again."""

    def column(values: Sequence[Any]) -> Iterable[bytes]:
        known = {value: _NULL if value is None else encode(value) for value in set(values)}
        return map(known.__getitem__, values)

    return column


def _bytes(value: bytes) -> bytes:
    return _length(len(value)) + value


def _lists(letter: str, oid: int) -> Callable[[Sequence[Any]], Iterable[bytes]]:
    """Return what encodes a column of lists of numbers, those of ten by far the fastest."""
    one, ten = struct.Struct(f">i{letter}"), struct.Struct(">iiiiii" + f"i{letter}" * 10)
    size = one.size - 4

    def encode_item(value: int | None) -> bytes:
        try:
            return _NULL if value is None else one.pack(size, value)
        except struct.error:
            return _NULL

    def encode(values: Sequence[int | None]) -> bytes:
        try:
            a, b, c, d, e, f, g, h, i, j = values
            return ten.pack(
                ten.size - 4, 1, 0, oid, 10, 1, size, a, size, b, size, c, size, d, size, e, size,
                f, size, g, size, h, size, i, size, j,
            )  # fmt: skip
        except (ValueError, struct.error):
            items = [encode_item(value) for value in values]
            data = b"".join(items)
            return _array(20 + len(data), 1, int(_NULL in items), oid, len(items), 1) + data

    return lambda column: map(encode, column)


_ENCODERS: dict[str, Callable[[Sequence[Any]], Iterable[bytes]]] = {
    "int4": _each(lambda value: _whole4(4, value)),
    "int8": _each(lambda value: _whole8(8, value)),
    "text": _each(lambda value: _bytes(value.encode())),
    "bytea": _each(_bytes),
    "int2[]": _lists("h", 21),
    "int4[]": _lists("i", 23),
}
