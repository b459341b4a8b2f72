"""Reply of a Modbus RTU transmitter to "read holding registers" (3) or "input registers" (4).

    offset  bytes  field
    0       1       unit address
    1       1       function, 3 or 4; with bit 7 set an exception
    2       1       count of bytes that follow, 2 a register; or the exception code
    3       count   registers, big-endian
    end-2   2       CRC-16 (0xA001, start 0xFFFF), low byte first

Example: ``05 04 04 42 f2 80 00 6a 0f`` with the map ``0:f32-be:1:Cel``: unit 5, function 4,
four bytes, 0x42F28000 = 121.25 degC.

Bytes after the CRC are accepted. A request heard as an echo is named as such. Exceptions
stand in ``refusals``.

Source: Modbus application protocol and serial line specifications, from memory; frames
agree with pymodbus 3.16.1.
"""

from __future__ import annotations

from pitlogger.devices.contract import Chunk, Measurement
from pitlogger.devices.decoders import DecodeOptions, DecoderInfo
from pitlogger.devices.framing import FrameDecoder, Outcome
from pitlogger.errors import (
    ChecksumError,
    DeviceRefusalError,
    MalformedError,
    ShortFrameError,
    UnknownFrameError,
)
from pitlogger.model.readings import Quality
from pitlogger_drivers.modbus.refusals import refusal
from pitlogger_drivers.modbus.registers import MapEntry, no_value, parse_map, read

_FUNCTIONS = (3, 4)


def _shifted(crc: int) -> int:
    for _ in range(8):
        crc = crc >> 1 ^ (0xA001 if crc & 1 else 0)
    return crc


_CRC_TABLE = tuple(_shifted(byte) for byte in range(256))


def crc16(raw: bytes) -> int:
    """Return the Modbus CRC-16 of the bytes; it is sent low byte first."""
    crc = 0xFFFF
    for byte in raw:
        crc = crc >> 8 ^ _CRC_TABLE[(crc ^ byte) & 0xFF]
    return crc


def registers_of(frame: bytes) -> bytes:
    """Return the register bytes of a reply.

    Raises:
        ShortFrameError: A frame cut short.
        ChecksumError: The CRC does not match.
        DeviceRefusalError: The reply is an exception.
        UnknownFrameError: Another function, or the echo of a request.
        MalformedError: A count of bytes that is odd or none.
    """
    if len(frame) < 5:
        raise _short(frame, 5)
    function = frame[1]
    length = 5 if function & 0x80 else 5 + frame[2]
    if len(frame) < length:
        raise _short(frame, length)
    if not _is_sound(frame[:length]):
        if len(frame) == 8 and function in _FUNCTIONS and _is_sound(frame):
            raise UnknownFrameError(
                f"{frame.hex()} is a request, not a reply: the adapter echoes what is sent"
            )
        raise ChecksumError(
            f"the CRC of {frame.hex()} does not match: noise, wrong baud rate or parity, or two "
            "devices with one address",
            remedy="Check baud rate and framing, and that no two devices have its address",
        )
    if function & 0x80:
        meaning, remedy = refusal(frame[2])
        said = f"exception {frame[2]} from unit {frame[0]}: {meaning}"
        raise DeviceRefusalError(said, remedy=remedy)
    if function not in _FUNCTIONS:
        raise UnknownFrameError(f"Modbus function {function} ({frame.hex()}): expected 3 or 4")
    if frame[2] == 0 or frame[2] % 2:
        raise MalformedError(f"{frame[2]} bytes of registers: expected an even number, at least 2")
    return frame[3 : length - 2]


def _is_sound(frame: bytes) -> bool:
    return crc16(frame[:-2]) == int.from_bytes(frame[-2:], "little")


def _short(frame: bytes, needed: int) -> ShortFrameError:
    return ShortFrameError(
        f"Modbus reply of {len(frame)} bytes ({frame.hex() or 'none'}): expected {needed}"
    )


class ModbusParser:
    """Read replies by a map of registers."""

    __slots__ = ("_entries",)

    def __init__(self, entries: tuple[MapEntry, ...]) -> None:
        self._entries = entries

    def parse(self, frame: bytes) -> tuple[Outcome, ...]:
        """Return what the registers of a reply hold.

        Raises:
            DecodeError: As ``registers_of``; and ``UnknownFrameError`` where there is no map.
        """
        raw = registers_of(frame)
        if not self._entries:
            raise UnknownFrameError(
                f"the reply is sound and holds {len(raw) // 2} registers ({raw.hex(' ', 2)})"
                ": say what they mean with a map, such as 0:i16:0.1:Cel"
            )
        return read(raw, self._entries)


class RegistersDecoder:
    """Decode bare registers, as a Modbus client that has checked the frame hands them over."""

    __slots__ = ("_entries",)

    def __init__(self, entries: tuple[MapEntry, ...]) -> None:
        self._entries = entries

    def feed(self, chunk: Chunk) -> tuple[Outcome, ...]:
        """Return what the registers hold; the bytes are those of the wire.

        The source is a channel where its registers alone were asked for.
        """
        entries = self._of(chunk.source)
        before = bytes(2 * entries[0].register) if chunk.source and entries else b""
        return read(before + chunk.data, entries)

    def missing(self, source: str) -> tuple[Measurement, ...]:
        """Return the values of a source as ones that cannot be read now."""
        return tuple(no_value(entry, Quality.FAULT) for entry in self._of(source))

    def _of(self, source: str) -> tuple[MapEntry, ...]:
        return tuple(one for one in self._entries if source in ("", one.channel))


def _build(options: DecodeOptions) -> FrameDecoder:
    return FrameDecoder(ModbusParser(parse_map(options.map)).parse)


DECODER = DecoderInfo(
    name="modbus",
    summary="Modbus RTU reply with registers, by a map",
    example="--hex 05040442f280006a0f --map 0:f32-be:1:Cel",
    build=_build,
    options=("map",),
)
