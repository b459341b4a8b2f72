"""Where a number may stand in a frame or a line, and how it is read and written.

A line is cut at its separators: semicolons or tabs where there are any (a comma is then a
decimal comma), else commas, else blanks. A field holds at most one number, perhaps with a
name before it and a unit behind (``T1=107.4C``).
"""

from __future__ import annotations

import math
import re
import struct
from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal
from typing import NamedTuple, Protocol, get_args

from pitlogger.devices.contract import Chunk
from pitlogger.devices.number_types import BYTES, Order, Type, raw_number


class Place(Protocol):
    """One way to read a number out of a frame or line."""

    @property
    def cost(self) -> float:
        """What speaks against it; 0 is the most customary."""

    def read(self, frame: bytes) -> float | None:
        """Return the raw number; ``None`` where there is none."""

    def write(self, frame: bytes, raw: float) -> bytes | None:
        """Return the frame with another raw number; ``None`` where it cannot hold that."""


# What speaks against a type; ours: two bytes are customary, numbers have signs.
_COST: dict[Type, float] = {
    "i16": 0.0, "u16": 0.4, "u8": 0.5, "i8": 0.7, "i32": 1.0, "u32": 1.4, "f32": 0.6,
    "i24": 2.5, "u24": 2.9, "bcd16": 1.0, "bcd24": 1.4, "bcd32": 1.4,
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Field:
    """Bytes of a frame."""

    at: int
    type: Type
    order: Order

    @property
    def end(self) -> int:
        """Offset behind the last byte."""
        return self.at + BYTES[self.type]

    @property
    def cost(self) -> float:
        """What speaks against the type."""
        return _COST[self.type] + (0.1 if self.order == "big" else 0.0)

    def read(self, frame: bytes) -> float | None:
        """Return the raw number; ``None`` where the bytes are none."""
        if len(frame) < self.end:
            return None
        raw = raw_number(frame[self.at : self.end], self.type, self.order)
        return raw if raw is not None and math.isfinite(raw) else None

    def write(self, frame: bytes, raw: float) -> bytes | None:
        """Return the frame with another raw number."""
        written = _bytes_of(raw, self.type, self.order)
        if written is None:
            return None
        return frame[: self.at] + written + frame[self.end :]

    def moved(self, by: int) -> Field:
        """Return the same field so many bytes further on."""
        return Field(self.at + by, self.type, self.order)

    def __str__(self) -> str:
        order = f" {self.order}" if BYTES[self.type] > 1 else ""
        return f"{self.type}{order} at byte {self.at}"


def _bytes_of(raw: float, kind: Type, order: Order) -> bytes | None:
    if kind == "f32":
        return struct.pack("<f" if order == "little" else ">f", raw)
    whole, size = round(raw), BYTES[kind]
    if kind.startswith("bcd"):
        if not 0 <= whole < 10 ** (2 * size):
            return None
        digits = bytes.fromhex(f"{whole:0{2 * size}d}")
        return digits if order == "big" else digits[::-1]
    try:
        return whole.to_bytes(size, order, signed=kind.startswith("i"))
    except OverflowError:
        return None


# A number that is no part of a word: of T1=107.4 it is 107.4, of T-5 it is -5.
_NUMBER = r"(?:[+-]\s*|(?<![\w.+-]))\d{1,12}(?:[.]\d{1,9})?"
_SEPARATORS = (";", "\t", ",")
_TEXT_LIMIT = 256


class LineShape(NamedTuple):
    """How a line is cut: its separator, empty for blanks, and how many fields there are."""

    separator: str
    fields: int

    def cut(self, line: str) -> list[str]:
        """Return the fields of a line."""
        return line.split(self.separator) if self.separator else line.split()

    @property
    def number(self) -> str:
        """Pattern of a number; with ``;`` or a tab between fields it may have a comma."""
        return _NUMBER.replace("[.]", "[.,]") if self.separator in (";", "\t") else _NUMBER

    def value(self, field: str) -> float | None:
        """Return the number in a field, if there is one."""
        match = re.search(self.number, field)
        if match is None:
            return None
        return float(Decimal(re.sub(r"\s", "", match[0]).replace(",", ".")))


def text_of(chunk: Chunk) -> str | None:
    """Return a line as text, ``None`` where it is none."""
    text = chunk.data.decode("ascii", errors="replace").strip()
    return text if text and len(text) <= _TEXT_LIMIT and "\ufffd" not in text else None


def shape_of(line: str) -> LineShape:
    """Return how a line is cut."""
    separator = next((one for one in _SEPARATORS if one in line), "")
    return LineShape(separator, len(line.split(separator) if separator else line.split()))


@dataclass(frozen=True, slots=True)
class LineField:
    """One field of a line, counted from 0."""

    shape: LineShape
    field: int

    @property
    def cost(self) -> float:
        """Lines say their numbers themselves."""
        return 0.0

    def read(self, frame: bytes) -> float | None:
        """Return the number in the field."""
        text = text_of(Chunk("", frame))
        if text is None or shape_of(text) != self.shape:
            return None
        return self.shape.value(self.shape.cut(text)[self.field])

    def write(self, frame: bytes, raw: float) -> bytes | None:
        """Return nothing: a column is read one way only."""
        return None

    def __str__(self) -> str:
        return f"field {self.field + 1} of the line"


def fields(length: int, after: int) -> Iterator[Field]:
    """Yield every way to read a number in so many bytes, behind the first ``after``."""
    for kind in get_args(Type):
        for at in range(after, length - BYTES[kind] + 1):
            for order in ("little", "big") if BYTES[kind] > 1 else ("little",):
                yield Field(at, kind, order)


def columns(lines: list[bytes]) -> Iterator[LineField]:
    """Yield the fields of the shape that most lines have."""
    shapes = [shape_of(text) for line in lines if (text := text_of(Chunk("", line))) is not None]
    if not shapes:
        return
    usual = max(set(shapes), key=shapes.count)
    for field in range(usual.fields):
        yield LineField(usual, field)
