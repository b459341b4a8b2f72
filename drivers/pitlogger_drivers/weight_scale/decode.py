"""Weight Measurement, characteristic 0x2A9D, of the Weight Scale service. Indicated only.

Little-endian:

    offset  bytes  type  field
    0       1       u8    flags: bit 0 set imperial, else SI; bit 1 Date Time follows;
                          bit 2 user id follows; bit 3 BMI and height follow; 4-7 reserved
    1       2       u16   weight, 0.005 kg or 0.01 lb; 0xFFFF measurement unsuccessful
    3       7             Date Time, where flagged
    then    1       u8    user id, where flagged; 0xFF unknown
    then    2 + 2   u16   BMI (0.1) and height (0.001 m or 0.1 in), where flagged

Example: ``00 c8 00`` is SI, 0x00C8 = 200 steps of 0.005 kg = 1.0 kg.

Bytes after the flagged parts are accepted, reserved flag bits are ignored.

Source: Bluetooth GATT Specification Supplement, Weight Measurement; GATT definition of
service 181D. That 0xFFFF may be followed by time and user id only: from memory, not relied on.
"""

from __future__ import annotations

import struct
from datetime import datetime

from pitlogger.devices.contract import Measurement
from pitlogger.devices.decoders import DecoderInfo
from pitlogger.devices.framing import FrameDecoder
from pitlogger.devices.transports.ble.facts import date_time
from pitlogger.errors import ShortFrameError
from pitlogger.model.quantities import Quantity
from pitlogger.model.readings import Quality

_unpack = struct.Struct("<BH").unpack_from
_IMPERIAL, _TIME, _USER, _BODY = 1, 2, 4, 8
_LENGTH = tuple(
    3 + 7 * bool(flags & _TIME) + bool(flags & _USER) + 4 * bool(flags & _BODY)
    for flags in range(256)
)
_UNSUCCESSFUL = 0xFFFF
_MASS = Quantity.MASS


def decode(frame: bytes) -> tuple[Measurement, ...]:
    """Return the mass of a Weight Measurement in kg or lb, as sent.

    Raises:
        ShortFrameError: Fewer bytes than the flags promise.
    """
    if len(frame) < 3 or len(frame) < _LENGTH[frame[0]]:
        raise _short(frame)
    flags, raw = _unpack(frame)
    unit = "lb" if flags & _IMPERIAL else "kg"
    if raw == _UNSUCCESSFUL:
        return (Measurement("mass", _MASS, None, unit, Quality.NO_VALUE),)
    # Division of two integers rounds once, so the result prints as the scale's own decimals.
    return (Measurement("mass", _MASS, raw / (100 if flags & _IMPERIAL else 200), unit),)


def measured_at(frame: bytes) -> datetime | None:
    """Return the device's own time of a frame, where it sends one and knows the date.

    It tells a stored measurement from a fresh one; a device clock is advisory only.
    """
    if len(frame) < 10 or not frame[0] & _TIME:
        return None
    return date_time(frame[3:10])


def _short(frame: bytes) -> ShortFrameError:
    needed = _LENGTH[frame[0]] if frame else 3
    return ShortFrameError(
        f"Weight Measurement of {len(frame)} bytes ({frame.hex() or 'none'}): "
        f"expected at least {max(needed, 3)}"
    )


DECODER = DecoderInfo(
    name="gatt-2a9d",
    summary="Bluetooth Weight Measurement (0x2A9D)",
    example="--hex 00c800",
    build=lambda _: FrameDecoder(decode),
)
