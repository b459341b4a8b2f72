"""The objects of a BTHome v2 payload: their lengths, and what we make of them.

An object is an id byte and a little-endian value of a length that the id fixes, but for
text (0x53), raw (0x54) and command (0x3B), which begin with a length byte.

Source: BTHome v2 format page. Ids from 0x5B up and the length of a command agree with the
reference decoder bthome-ble 3.25.0; so does the button code 0x81.
"""

from __future__ import annotations

from typing import NamedTuple

from pitlogger.devices.contract import Measurement
from pitlogger.errors import DecodeError, OutOfRangeError, ShortFrameError, UnknownFrameError
from pitlogger.model.quantities import Quantity
from pitlogger.model.readings import Quality

PACKET_ID = 0x00
BUTTON, DIMMER = 0x3A, 0x3C
EVENTS = frozenset((BUTTON, DIMMER))
_TEXT, _RAW, _COMMAND = 0x53, 0x54, 0x3B


class ObjectKind(NamedTuple):
    """An object that becomes a measurement: raw * ``numerator`` / ``denominator``."""

    size: int
    signed: bool
    numerator: int
    denominator: int
    channel: str
    quantity: Quantity
    unit: str


_T, _M, _H = Quantity.TEMPERATURE, Quantity.MASS, Quantity.HUMIDITY
KINDS: dict[int, ObjectKind] = {
    0x01: ObjectKind(1, False, 1, 1, "battery", Quantity.BATTERY, "%EL"),
    0x02: ObjectKind(2, True, 1, 100, "temperature", _T, "Cel"),
    0x03: ObjectKind(2, False, 1, 100, "humidity", _H, "%RH"),
    0x04: ObjectKind(3, False, 1, 1, "pressure", Quantity.PRESSURE, "Pa"),
    0x06: ObjectKind(2, False, 1, 100, "mass", _M, "kg"),
    0x07: ObjectKind(2, False, 1, 100, "mass", _M, "lb"),
    0x08: ObjectKind(2, True, 1, 100, "dew-point", _T, "Cel"),
    0x0C: ObjectKind(2, False, 1, 1000, "voltage", Quantity.VOLTAGE, "V"),
    0x15: ObjectKind(1, False, 1, 1, "battery-low", Quantity.BATTERY, ""),
    0x2E: ObjectKind(1, False, 1, 1, "humidity", _H, "%RH"),
    BUTTON: ObjectKind(1, False, 1, 1, "button", Quantity.BUTTON, ""),
    DIMMER: ObjectKind(2, False, 1, 1, "dimmer", Quantity.BUTTON, ""),
    0x45: ObjectKind(2, True, 1, 10, "temperature", _T, "Cel"),
    0x4A: ObjectKind(2, False, 1, 10, "voltage", Quantity.VOLTAGE, "V"),
    0x57: ObjectKind(1, True, 1, 1, "temperature", _T, "Cel"),
    0x58: ObjectKind(1, True, 35, 100, "temperature", _T, "Cel"),
}
# Objects we know and have no use for: their length lets the walk go on to the next.
_PASSED_OVER = {
    1: (*range(0x0F, 0x12), *range(0x16, 0x2E), 0x00, 0x09, 0x2F, 0x46, 0x59, 0x60, 0x64, 0x65),
    2: (
        *(0x0D, 0x0E, 0x12, 0x13, 0x14, 0x3D, 0x3F, 0x40, 0x41, 0x43, 0x44, 0x47, 0x48, 0x49),
        *(0x51, 0x52, 0x56, 0x5A, 0x5D, 0x5E, 0x5F, 0x61, 0xF0),
    ),
    3: (0x05, 0x0A, 0x0B, 0x42, 0x4B, 0xF2),
    4: (0x3E, 0x4C, 0x4D, 0x4E, 0x4F, 0x50, 0x55, 0x5B, 0x5C, 0x62, 0x63, 0xF1),
}
BYTES = {
    **{kind: data for data, kinds in _PASSED_OVER.items() for kind in kinds},
    **{kind: entry.size for kind, entry in KINDS.items()},
}
# 1 press, 2 double, 3 triple, 4 long, 5 long double, 6 long triple, 0x80 hold, 0x81 release.
_PRESSES = frozenset((1, 2, 3, 4, 5, 6, 0x80, 0x81))
_LEFT, _RIGHT = 1, 2
_TURNS = frozenset((_LEFT, _RIGHT))
_AT_MOST = {Quantity.BATTERY: 100, Quantity.HUMIDITY: 100}
_ABSOLUTE_ZERO_C = -273.15


def split(payload: bytes) -> tuple[list[tuple[int, bytes]], ShortFrameError | None]:
    """Return the objects of a payload, and the error that ended the walk, if any.

    The walk ends without error at the first unknown id: its length is not known, which is why
    senders keep ids in ascending order.
    """
    objects: list[tuple[int, bytes]] = []
    at = 0
    while at < len(payload):
        kind = payload[at]
        start, data = _extent(payload, at)
        if data is None:
            break
        end = start + data
        if end > len(payload):
            return objects, ShortFrameError(
                f"BTHome object 0x{kind:02X} at byte {at} of {payload.hex()}: "
                f"expected {data} bytes, found {len(payload) - min(start, len(payload))}"
            )
        objects.append((kind, payload[start:end]))
        at = end
    return objects, None


def _extent(payload: bytes, at: int) -> tuple[int, int | None]:
    """Return where the value of the object starts and its length, ``None`` where unknown."""
    kind = payload[at]
    if kind not in (_TEXT, _RAW, _COMMAND):
        return at + 1, BYTES.get(kind)
    if at + 1 >= len(payload):
        return at + 1, 1  # the length byte itself is missing
    length = payload[at + 1]
    # A command has an operation code before its arguments; three bits of length are reserved.
    return at + 2, 1 + (length & 0x1F) if kind == _COMMAND else length


def measure(objects: list[tuple[int, bytes]]) -> list[Measurement | DecodeError]:
    """Return what the objects measure; a repeated quantity is numbered by its position.

    The first is ``temperature``, the next ``temperature-2`` and so on: position is the only
    identity the format gives. An idle button gives nothing but keeps its position.
    """
    outcomes: list[Measurement | DecodeError] = []
    seen: dict[str, int] = {}
    for kind_id, data in objects:
        kind = KINDS.get(kind_id)
        if kind is None:
            continue
        count = seen[kind.channel] = seen.get(kind.channel, 0) + 1
        channel = kind.channel if count == 1 else f"{kind.channel}-{count}"
        if kind_id in EVENTS:
            outcomes += _event(kind_id, channel, data)
        else:
            outcomes.append(_value(kind, channel, data))
    return outcomes


def _value(kind: ObjectKind, channel: str, data: bytes) -> Measurement | OutOfRangeError:
    raw = int.from_bytes(data, "little", signed=kind.signed)
    value = raw * kind.numerator / kind.denominator
    if kind.unit and value > _AT_MOST.get(kind.quantity, value):
        return OutOfRangeError(f"BTHome {channel} of {value:g} %: expected 0 to 100")
    quality = Quality.GOOD
    if kind.quantity is _T and value < _ABSOLUTE_ZERO_C:
        quality = Quality.OUT_OF_RANGE
    return Measurement(channel, kind.quantity, value, kind.unit, quality)


def _event(kind: int, channel: str, data: bytes) -> tuple[Measurement | DecodeError, ...]:
    """Return a button's press code, or a dimmer's steps, negative to the left; none if idle."""
    code = data[0]
    if code == 0:
        return ()
    if code not in (_PRESSES if kind == BUTTON else _TURNS):
        return (UnknownFrameError(f"BTHome {channel} event 0x{code:02X} is not known"),)
    value = code
    if kind == DIMMER:
        value = -data[1] if code == _LEFT else data[1]
    return (Measurement(channel, Quantity.BUTTON, float(value), ""),)
