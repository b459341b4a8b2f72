"""Temperature 0x2A6E and Humidity 0x2A6F of the Environmental Sensing service.

Little-endian, two bytes each:

    characteristic  type  step       no value  allowed
    0x2A6E          s16   0.01 degC  0x8000    -273.15 to 327.67 degC
    0x2A6F          u16   0.01 %RH   0xFFFF    0 to 100 %RH

Example: ``ca 09`` as 0x2A6E is 0x09CA = 2506 steps of 0.01 degC = 25.06 degC.

327.67 degC is the ceiling of the format: a fire box may need another way. Bytes after the
second are accepted.

Source: Bluetooth GATT Specification Supplement, Temperature and Humidity.
"""

from __future__ import annotations

import struct

from pitlogger.devices.contract import Measurement
from pitlogger.devices.decoders import DecoderInfo
from pitlogger.devices.framing import FrameDecoder
from pitlogger.errors import OutOfRangeError, ShortFrameError
from pitlogger.model.quantities import Quantity
from pitlogger.model.readings import Quality

_unpack_signed = struct.Struct("<h").unpack_from
_unpack_unsigned = struct.Struct("<H").unpack_from
_TEMPERATURE, _HUMIDITY = Quantity.TEMPERATURE, Quantity.HUMIDITY


def decode_temperature(frame: bytes) -> tuple[Measurement, ...]:
    """Return a temperature in ``Cel``.

    Raises:
        ShortFrameError: Fewer than two bytes.
        OutOfRangeError: Below absolute zero.
    """
    if len(frame) < 2:
        raise _short("Temperature", frame)
    (raw,) = _unpack_signed(frame)
    if raw < -27315:
        if raw == -0x8000:
            return (Measurement("temperature", _TEMPERATURE, None, "Cel", Quality.NO_VALUE),)
        raise OutOfRangeError(
            f"temperature of {raw / 100} Cel ({frame.hex()}): expected at least -273.15"
        )
    return (Measurement("temperature", _TEMPERATURE, raw / 100, "Cel"),)


def decode_humidity(frame: bytes) -> tuple[Measurement, ...]:
    """Return a relative humidity in ``%RH``.

    Raises:
        ShortFrameError: Fewer than two bytes.
        OutOfRangeError: Above 100 %.
    """
    if len(frame) < 2:
        raise _short("Humidity", frame)
    (raw,) = _unpack_unsigned(frame)
    if raw > 10000:
        if raw == 0xFFFF:
            return (Measurement("humidity", _HUMIDITY, None, "%RH", Quality.NO_VALUE),)
        raise OutOfRangeError(f"humidity of {raw / 100} % ({frame.hex()}): expected 0 to 100")
    return (Measurement("humidity", _HUMIDITY, raw / 100, "%RH"),)


def _short(name: str, frame: bytes) -> ShortFrameError:
    return ShortFrameError(f"{name} of {len(frame)} bytes ({frame.hex() or 'none'}): expected 2")


TEMPERATURE = DecoderInfo(
    name="gatt-2a6e",
    summary="Bluetooth Temperature (0x2A6E)",
    example="--hex ca09",
    build=lambda _: FrameDecoder(decode_temperature),
)
HUMIDITY = DecoderInfo(
    name="gatt-2a6f",
    summary="Bluetooth Humidity (0x2A6F)",
    example="--hex bf13",
    build=lambda _: FrameDecoder(decode_humidity),
)
