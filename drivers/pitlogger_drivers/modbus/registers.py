"""What stands in which register: the map a person gives, and the values it yields.

A map is a list ``REGISTER:TYPE:SCALE:UNIT[:SENTINEL/SENTINEL...]``, as in
``0:i16:0.1:Cel,2:f32-be:1:Cel:9999/-9999``. REGISTER counts from the first register of the
reply. TYPE is ``i16``, ``u16``, ``i32-be``, ``i32-le``, ``u32-be``, ``u32-le``, ``f32-be`` or
``f32-le``: ``be`` has the high word first, ``le`` the low word. A sentinel is a raw number that
means "no value", beside those that always do.

Source: word order and "no value" figures of transmitters: from memory.
"""

from __future__ import annotations

import math
import re
import struct
from collections.abc import Callable
from dataclasses import dataclass
from decimal import Decimal

from pitlogger.devices.contract import Measurement
from pitlogger.devices.framing import Outcome
from pitlogger.errors import ConfigError, MalformedError, ShortFrameError, unknown
from pitlogger.model.readings import Quality
from pitlogger_drivers.bounds import measured
from pitlogger_drivers.columns import QUANTITY_OF, known_unit

_SCALE = re.compile(r"[+-]?\d{1,9}(?:\.\d{1,9})?")
_SENTINEL = re.compile(r"[+-]?(?:\d{1,10}|0[xX][0-9A-Fa-f]{1,8})")
_SMALLEST = 1e-6  # a float below it was read in the wrong word order


@dataclass(frozen=True, slots=True)
class RegisterType:
    """A register type: how its bytes become a number, and what always means "no value"."""

    size: int
    unpack: Callable[[bytes], int | float]
    sentinels: frozenset[int] = frozenset()


def _plain(code: str) -> Callable[[bytes], int | float]:
    """Return the reader of a big-endian number."""
    layout = struct.Struct(">" + code)

    def unpack(data: bytes) -> int | float:
        (value,) = layout.unpack(data)
        assert isinstance(value, int | float)
        return value

    return unpack


def _swapped(code: str) -> Callable[[bytes], int | float]:
    """Return the reader of a number whose low word comes first."""
    unpack = _plain(code)
    return lambda data: unpack(data[2:] + data[:2])


_OPEN_16 = frozenset((0x7FFF, -0x8000))
_OPEN_32 = frozenset((0x7FFFFFFF, -0x80000000))
TYPES = {
    "i16": RegisterType(2, _plain("h"), _OPEN_16),
    "u16": RegisterType(2, _plain("H"), frozenset((0xFFFF,))),
    "i32-be": RegisterType(4, _plain("i"), _OPEN_32),
    "i32-le": RegisterType(4, _swapped("i"), _OPEN_32),
    "u32-be": RegisterType(4, _plain("I"), frozenset((0xFFFFFFFF,))),
    "u32-le": RegisterType(4, _swapped("I"), frozenset((0xFFFFFFFF,))),
    "f32-be": RegisterType(4, _plain("f")),
    "f32-le": RegisterType(4, _swapped("f")),
}


@dataclass(frozen=True, slots=True)
class MapEntry:
    """One value of a map; ``scale`` times the raw number is in ``unit``."""

    register: int
    type: str
    scale: Decimal
    unit: str
    sentinels: frozenset[int] = frozenset()

    @property
    def channel(self) -> str:
        """Name of the channel: the register it begins in."""
        return f"register-{self.register}"


def parse_map(text: str) -> tuple[MapEntry, ...]:
    """Return the entries of a map; none for an empty text.

    Raises:
        ConfigError: An entry that cannot be used.
    """
    return tuple(_entry(part.strip()) for part in text.split(",")) if text else ()


def _entry(text: str) -> MapEntry:
    parts = text.split(":")
    if len(parts) not in (4, 5) or not re.fullmatch(r"\d{1,3}", parts[0]):
        raise ConfigError(
            f"register entry '{text}': expected REGISTER:TYPE:SCALE:UNIT, as in 0:i16:0.1:Cel"
        )
    register, kind, scale, unit, *sentinels = parts
    if kind not in TYPES:
        raise ConfigError(unknown("register type", kind, TYPES))
    if not _SCALE.fullmatch(scale) or not Decimal(scale):
        raise ConfigError(f"scale '{scale}' of '{text}': expected a number such as 0.1")
    words = sentinels[0].split("/") if sentinels else []
    wrong = next((word for word in words if not _SENTINEL.fullmatch(word)), None)
    if wrong is not None:
        raise ConfigError(f"sentinel '{wrong}' of '{text}': expected raw numbers, as in 9999/-9999")
    values = frozenset(int(word, 0 if "x" in word.lower() else 10) for word in words)
    return MapEntry(int(register), kind, Decimal(scale), known_unit(unit), values)


def read(registers: bytes, entries: tuple[MapEntry, ...]) -> tuple[Outcome, ...]:
    """Return what the registers hold; ``registers`` are their bytes in order of the wire."""
    return tuple(_value(registers, entry) for entry in entries)


def _value(registers: bytes, entry: MapEntry) -> Outcome:
    layout = TYPES[entry.type]
    start = 2 * entry.register
    data = registers[start : start + layout.size]
    if len(data) < layout.size:
        return ShortFrameError(
            f"{entry.type} in register {entry.register} needs {layout.size} bytes: the reply "
            f"holds {len(registers) // 2} registers"
        )
    raw = layout.unpack(data)
    if raw in layout.sentinels or raw in entry.sentinels or not math.isfinite(raw):
        return no_value(entry)
    if isinstance(raw, int):
        number = Decimal(raw)
    elif 0 < abs(raw) < _SMALLEST:
        return MalformedError(
            f"{entry.channel} reads {raw:.3g}: the words look swapped; "
            f"try {_OTHER_ORDER[entry.type]} instead of {entry.type}"
        )
    else:
        # Seven significant digits are what 32 bits hold: 107.4, not 107.4000015.
        number = Decimal(f"{raw:.7g}")
    return measured(entry.channel, QUANTITY_OF[entry.unit], number * entry.scale, entry.unit)


_OTHER_ORDER = {"f32-be": "f32-le", "f32-le": "f32-be"}


def no_value(entry: MapEntry, quality: Quality = Quality.OPEN) -> Measurement:
    """Return an entry's measurement without a value."""
    return Measurement(entry.channel, QUANTITY_OF[entry.unit], None, entry.unit, quality)
