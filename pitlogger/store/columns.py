"""Integer columns as bytes: differences, scaled, byte-shuffled, deflated.

A column of n integers is written as

    byte     width w of a step: 0, 1, 2, 4 or 8
              +16 where the steps are deflated, +32 where they lie along a line;
              9 where the column is decimal text with commas, deflated
    varint    first value, zigzag
    varint    base, zigzag: the least of what the steps are taken from
    varint    scale, at least 1
    varint    rise, zigzag; only along a line
    varint    length of what follows; absent where w = 0
    bytes    steps: all lowest bytes first, then all second bytes..., w planes

Differences: n - 1 steps, step = (value - value before - base) / scale. With w = 0 every
difference is the base. Along a line, for values that scatter about one: n steps,
step = (value - first) / scale - floor(i * rise / (n - 1)) - base, i from 0.

varint = base-128, least significant group first (LEB128); zigzag = 2v or -2v - 1; deflate =
RFC 1951 without any wrapper. An empty column is no bytes at all. Width 9 has the length and
the text only.
"""

from __future__ import annotations

import sys
import zlib
from array import array
from collections.abc import Sequence
from itertools import accumulate, islice, repeat
from math import gcd
from operator import floordiv, sub
from typing import NamedTuple

from pitlogger.errors import StoreError

_DEFLATED, _LINE = 16, 32
_TEXT = 9
_TYPECODE = {2: "H", 4: "I", 8: "Q"}
_SMALL = 48  # bytes; below this deflate rarely wins


def put_varint(out: bytearray, value: int) -> None:
    """Append an unsigned integer to ``out``."""
    while value > 0x7F:
        out.append(value & 0x7F | 0x80)
        value >>= 7
    out.append(value)


def put_signed(out: bytearray, value: int) -> None:
    """Append a signed integer to ``out``, zigzag."""
    put_varint(out, value << 1 if value >= 0 else (-value << 1) - 1)


def take_varint(data: bytes, at: int) -> tuple[int, int]:
    """Return the unsigned integer at ``at`` and the position after it."""
    value = shift = 0
    while True:
        byte = data[at]
        at += 1
        value |= (byte & 0x7F) << shift
        if byte < 0x80:
            return value, at
        shift += 7


def take_signed(data: bytes, at: int) -> tuple[int, int]:
    """Return the signed integer at ``at`` and the position after it."""
    coded, at = take_varint(data, at)
    return (coded >> 1) ^ -(coded & 1), at


def put_column(out: bytearray, values: Sequence[int], *, fast: bool) -> None:
    """Append a column of any integers to ``out``; ``fast`` takes less time and more room."""
    if not values:
        return
    steps = list(map(sub, islice(values, 1, None), values))
    base = min(steps, default=0)
    span = max(steps, default=0) - base
    if span == 0:
        out.append(0)
        put_signed(out, values[0])
        put_signed(out, base)
        put_varint(out, 1)
        return
    if span >= 1 << 62 or abs(values[0]) >= 1 << 62:
        _put_text(out, values)
        return
    if base:
        steps = [step - base for step in steps]
    scale = gcd(*steps)
    if scale > 1:
        steps = [step // scale for step in steps]
        span //= scale
    head = bytearray()
    mark = 0
    if span > 1 and not fast and (along := _along_line(values)).span < span:
        steps, span, mark = along.steps, along.span, _LINE
        put_signed(head, values[0])
        put_signed(head, along.base)
        put_varint(head, along.scale)
        put_signed(head, along.rise)
    else:
        put_signed(head, values[0])
        put_signed(head, base)
        put_varint(head, scale)
    width = 1 if span < 1 << 8 else 2 if span < 1 << 16 else 4 if span < 1 << 32 else 8
    planes = bytes(steps) if width == 1 else _shuffled(steps, width)
    packed = _deflated(planes, fast) if len(planes) > _SMALL else planes
    if len(packed) < len(planes):
        mark |= _DEFLATED
        planes = packed
    out.append(width | mark)
    out += head
    _put_bytes(out, planes)


class _Line(NamedTuple):
    """A column as steps along the line from its first value to its last."""

    steps: list[int]
    span: int
    base: int
    scale: int
    rise: int


def _along_line(values: Sequence[int]) -> _Line:
    first, last = values[0], len(values) - 1
    away = [value - first for value in values] if first else list(values)
    scale = gcd(*away) or 1
    if scale > 1:
        away = [step // scale for step in away]
    rise = away[-1]
    if rise:
        along = map(floordiv, range(0, rise * (last + 1), rise), repeat(last))
        away = list(map(sub, away, along))
    base = min(away)
    return _Line([step - base for step in away], max(away) - base, base, scale, rise)


def take_column(data: bytes, at: int, count: int) -> tuple[list[int], int]:
    """Return the column of ``count`` integers at ``at`` and the position after it.

    Raises:
        StoreError: The bytes are no column of that length.
    """
    if not count:
        return [], at
    try:
        return _take_column(data, at, count)
    except (LookupError, ValueError, ArithmeticError, zlib.error) as error:
        raise StoreError(f"a packed column cannot be read: {error}") from None


def _take_column(data: bytes, at: int, count: int) -> tuple[list[int], int]:
    mark = data[at]
    width = mark & 0x0F
    at += 1
    if width not in (0, 1, 2, 4, 8, _TEXT):
        raise ValueError(f"steps of {width} bytes")
    if width == _TEXT:
        packed, at = _take_bytes(data, at)
        return [int(word) for word in zlib.decompress(packed, -15).split(b",")], at
    first, at = take_signed(data, at)
    base, at = take_signed(data, at)
    scale, at = take_varint(data, at)
    if width == 0:
        stop = first + base * count
        return ([first] * count if base == 0 else list(range(first, stop, base))), at
    if mark & _LINE:
        rise, at = take_signed(data, at)
    packed, at = _take_bytes(data, at)
    planes = zlib.decompress(packed, -15) if mark & _DEFLATED else packed
    steps = planes if width == 1 else _unshuffled(planes, width)
    if len(steps) != (count if mark & _LINE else count - 1):
        raise ValueError(f"{len(planes)} bytes for {count} values of width {width}")
    if mark & _LINE:
        last = count - 1
        along = (base + step + rise * place // last for place, step in enumerate(steps))
        return [first + scale * step for step in along], at
    if width == 1:
        table = [base + scale * step for step in range(256)]
        return list(accumulate(map(table.__getitem__, steps), initial=first)), at
    return list(accumulate((base + scale * step for step in steps), initial=first)), at


def _shuffled(steps: list[int], width: int) -> bytes:
    flat = array(_TYPECODE[width], steps)
    if sys.byteorder == "big":
        flat.byteswap()
    raw = flat.tobytes()
    return b"".join(raw[plane::width] for plane in range(width))


def _unshuffled(planes: bytes, width: int) -> array[int]:
    count = len(planes) // width
    raw = bytearray(len(planes))
    for plane in range(width):
        raw[plane::width] = planes[plane * count : (plane + 1) * count]
    flat = array(_TYPECODE[width])
    flat.frombytes(raw)
    if sys.byteorder == "big":
        flat.byteswap()
    return flat


def _deflated(raw: bytes, fast: bool) -> bytes:
    # Steps of a sensor are noise around zero: the filtered strategy favours coding over matching.
    # Small windows and hashes because making them ready costs more than the few bytes take.
    window, memory = (-10, 4) if len(raw) < 1024 else (-13, 7)
    packer = zlib.compressobj(1 if fast else 6, zlib.DEFLATED, window, memory, zlib.Z_FILTERED)
    return packer.compress(raw) + packer.flush()


def _put_text(out: bytearray, values: Sequence[int]) -> None:
    out.append(_TEXT)
    _put_bytes(out, _deflated(",".join(map(str, values)).encode("ascii"), fast=True))


def _put_bytes(out: bytearray, raw: bytes) -> None:
    put_varint(out, len(raw))
    out += raw


def _take_bytes(data: bytes, at: int) -> tuple[bytes, int]:
    length, at = take_varint(data, at)
    if at + length > len(data):
        raise ValueError("cut short")
    return data[at : at + length], at + length
