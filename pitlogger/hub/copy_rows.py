"""Rows as PostgreSQL's COPY reads them in its binary form.

Source: PostgreSQL 15 manual, COPY, binary format; src/backend/utils/adt/arrayfuncs.c (array_send,
from memory) for arrays: dimensions, whether one is null, type of the items, length, first index.
"""

from __future__ import annotations

import struct
from collections.abc import Callable, Iterable, Sequence

_HEAD = b"PGCOPY\n\xff\r\n\0" + bytes(8)
_END = b"\xff\xff"
_NULL = b"\xff\xff\xff\xff"
_INT8_OID = 20
_whole4 = struct.Struct(">ii").pack
_whole8 = struct.Struct(">iq").pack
_length = struct.Struct(">i").pack
_ten = struct.Struct(">iiiiii" + "iq" * 10)
_array = struct.Struct(">iiiiii").pack


def copied(types: Sequence[str], rows: Iterable[Sequence[object]]) -> bytes:
    """Return rows whose columns are of these types: int4, int8, text, bytea, int8[].

    Raises:
        OverflowError: A number beyond its column.
        UnicodeEncodeError: Text that is none.
    """
    encoders = [_ENCODERS[kind] for kind in types]
    count = struct.pack(">h", len(types))
    parts = [_HEAD]
    try:
        for row in rows:
            parts.append(count)
            parts += [
                _NULL if value is None else encode(value)
                for encode, value in zip(encoders, row, strict=True)
            ]
    except struct.error as fault:
        raise OverflowError(f"a number beyond its column: {fault}") from None
    parts.append(_END)
    return b"".join(parts)


def _text(value: str) -> bytes:
    data = value.encode()
    return _length(len(data)) + data


def _bytes(value: bytes) -> bytes:
    return _length(len(value)) + value


def _wholes(values: Sequence[int | None]) -> bytes:
    if len(values) == 10 and None not in values:
        pairs = [8] * 20
        pairs[1::2] = values  # type: ignore[assignment]
        return _ten.pack(_ten.size - 4, 1, 0, _INT8_OID, 10, 1, *pairs)
    items = b"".join(_NULL if value is None else _whole8(8, value) for value in values)
    return _array(20 + len(items), 1, 1, _INT8_OID, len(values), 1) + items


_ENCODERS: dict[str, Callable[..., bytes]] = {
    "int4": lambda value: _whole4(4, value),
    "int8": lambda value: _whole8(8, value),
    "text": _text,
    "bytea": _bytes,
    "int8[]": _wholes,
}
