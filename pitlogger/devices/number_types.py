"""Numbers in bytes, by the names that declarations use.

type                 bytes  read as
u8 u16 u24 u32       1 to 4  unsigned
i8 i16 i24 i32       1 to 4  two's complement
f32                  4       IEEE 754 single
bcd16 bcd24 bcd32    2 to 4  two decimal digits an byte
"""

from __future__ import annotations

import struct
from typing import Literal

Order = Literal["little", "big"]
Type = Literal[
    "u8", "i8", "u16", "i16", "u24", "i24", "u32", "i32", "f32", "bcd16", "bcd24", "bcd32"
]
BYTES: dict[Type, int] = {
    "u8": 1, "i8": 1, "u16": 2, "i16": 2, "u24": 3, "i24": 3, "u32": 4, "i32": 4,
    "f32": 4, "bcd16": 2, "bcd24": 3, "bcd32": 4,
}  # fmt: skip


def raw_number(data: bytes, kind: Type, order: Order) -> int | float | None:
    """Return the number in bytes, or ``None`` for bytes that are no decimal digits."""
    if kind == "f32":
        (number,) = struct.unpack("<f" if order == "little" else ">f", data)
        assert isinstance(number, float)
        return number
    if kind.startswith("bcd"):
        digits = (data if order == "big" else data[::-1]).hex()
        return int(digits) if digits.isdecimal() else None
    return int.from_bytes(data, order, signed=kind.startswith("i"))
