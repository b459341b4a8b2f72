"""Battery Level, characteristic 0x2A19: one byte, u8, 0 to 100 %; more is an error.

Example: ``64`` is 100 %. Bytes after the first are accepted.

Source: Bluetooth Battery Service; GATT definition of 2A19.
"""

from __future__ import annotations

from pitlogger.devices.contract import Measurement
from pitlogger.devices.decoders import DecoderInfo
from pitlogger.devices.framing import FrameDecoder
from pitlogger.errors import OutOfRangeError, ShortFrameError
from pitlogger.model.quantities import Quantity

_BATTERY = Quantity.BATTERY


def decode(frame: bytes) -> tuple[Measurement, ...]:
    """Return a battery level in ``%EL``.

    Raises:
        ShortFrameError: No byte.
        OutOfRangeError: Above 100 %.
    """
    if not frame:
        raise ShortFrameError("Battery Level of 0 bytes: expected 1")
    if frame[0] > 100:
        raise OutOfRangeError(f"battery level of {frame[0]} % ({frame.hex()}): expected 0 to 100")
    return (Measurement("battery", _BATTERY, float(frame[0]), "%EL"),)


DECODER = DecoderInfo(
    name="gatt-2a19",
    summary="Bluetooth Battery Level (0x2A19)",
    example="--hex 61",
    build=lambda _: FrameDecoder(decode),
)
