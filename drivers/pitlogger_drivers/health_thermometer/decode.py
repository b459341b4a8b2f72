"""Temperature Measurement 0x2A1C (indicated) and Intermediate Temperature 0x2A1E (notified).

Both have one layout, little-endian:

    offset  bytes  type   field
    0       1       u8     flags: bit 0 set Fahrenheit, else Celsius; bit 1 Date Time follows;
                           bit 2 Temperature Type follows
    1       4       FLOAT  temperature: bytes 1-3 signed mantissa, byte 4 signed power of ten
    5       7              Date Time, where flagged
    then    1       u8     Temperature Type (a body site, of no use for food), where flagged

Example: ``00 6c 01 00 ff``: mantissa 0x00016C = 364, exponent 0xFF = -1, so 36.4 degC.

Five whole words mean "no value": 0x007FFFFF not a number, 0x00800000 not at this resolution,
0x00800001 reserved, 0x007FFFFE and 0x00800002 plus and minus infinity. The same mantissa with
another exponent is an ordinary number.

Source: Bluetooth GATT definitions of 2A1C, 2A1E; IEEE 11073-20601 FLOAT. The bound of one
million degrees is ours: it keeps numbers no thermometer can mean out of integer arithmetic.
"""

from __future__ import annotations

import struct
from datetime import datetime

from pitlogger.devices.contract import Measurement
from pitlogger.devices.decoders import DecoderInfo
from pitlogger.devices.framing import FrameDecoder
from pitlogger.devices.transports.ble.facts import date_time
from pitlogger.errors import OutOfRangeError, ShortFrameError
from pitlogger.model.quantities import Quantity
from pitlogger.model.readings import Quality

_unpack = struct.Struct("<Bi").unpack_from
_FAHRENHEIT, _TIME, _TYPE = 1, 2, 4
_LENGTH = tuple(5 + 7 * bool(flags & _TIME) + bool(flags & _TYPE) for flags in range(256))
_SPECIAL = {
    0x007FFFFF: Quality.NO_VALUE,
    0x00800000: Quality.NO_VALUE,
    0x00800001: Quality.NO_VALUE,
    0x007FFFFE: Quality.OVERLOAD,
    0x00800002: Quality.UNDERLOAD,
}
_TEMPERATURE = Quantity.TEMPERATURE
_LOWEST = {"Cel": -273.15, "degF": -459.67}
_HIGHEST = 1e6


def decode(frame: bytes) -> tuple[Measurement, ...]:
    """Return the temperature of a measurement in ``Cel`` or ``degF``, as sent.

    Raises:
        ShortFrameError: Fewer bytes than the flags promise.
        OutOfRangeError: Below absolute zero, or above a million degrees.
    """
    if len(frame) < 5 or len(frame) < _LENGTH[frame[0]]:
        raise _short(frame)
    flags, word = _unpack(frame)
    unit = "degF" if flags & _FAHRENHEIT else "Cel"
    if word in _SPECIAL:
        return (Measurement("temperature", _TEMPERATURE, None, unit, _SPECIAL[word]),)
    value = float_11073(word)
    if not _LOWEST[unit] <= value <= _HIGHEST:
        raise OutOfRangeError(
            f"temperature of {value:g} {unit} ({frame.hex()}): expected at least "
            f"{_LOWEST[unit]} and at most {_HIGHEST:g}"
        )
    return (Measurement("temperature", _TEMPERATURE, value, unit),)


def float_11073(word: int) -> float:
    """Return the number of an IEEE 11073 FLOAT word (signed 32 bits) that is no special value."""
    exponent = word >> 24
    mantissa = ((word & 0xFFFFFF) ^ 0x800000) - 0x800000
    # Division of two integers rounds once: 364 / 10 prints as 36.4, 364 * 0.1 does not.
    return mantissa / 10**-exponent if exponent < 0 else float(mantissa * 10**exponent)


def measured_at(frame: bytes) -> datetime | None:
    """Return the device's own time of a frame, where it sends one and knows the date."""
    if len(frame) < 12 or not frame[0] & _TIME:
        return None
    return date_time(frame[5:12])


def _short(frame: bytes) -> ShortFrameError:
    needed = _LENGTH[frame[0]] if frame else 5
    return ShortFrameError(
        f"Temperature Measurement of {len(frame)} bytes ({frame.hex() or 'none'}): "
        f"expected at least {needed}"
    )


FINAL = DecoderInfo(
    name="gatt-2a1c",
    summary="Bluetooth Temperature Measurement (0x2A1C)",
    example="--hex 006c0100ff",
    build=lambda _: FrameDecoder(decode),
)
INTERMEDIATE = DecoderInfo(
    name="gatt-2a1e",
    summary="Bluetooth Intermediate Temperature (0x2A1E)",
    example="--hex 006c0100ff",
    build=lambda _: FrameDecoder(decode),
)
