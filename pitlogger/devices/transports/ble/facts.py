"""What a Bluetooth device says about itself: Device Information, its idea of the time.

Shown when a device is tried by hand; nothing rests on it. A device's clock is never trusted:
many are never set.

Source: Bluetooth assigned numbers; GATT definitions of 0x2A08 (Date Time: year u16, month,
day, hour, minute, second; 0 = unknown date) and 0x2A2B (Current Time: that, weekday, 1/256 s,
reasons). Padding of strings by NUL or blanks: from memory.
"""

from __future__ import annotations

import struct
from collections.abc import Mapping
from datetime import datetime, timedelta

from pitlogger.errors import DecodeError, MalformedError, ShortFrameError

CURRENT_TIME = "2a2b"
STRINGS = {
    "2a29": "maker",
    "2a24": "model",
    "2a25": "serial number",
    "2a26": "firmware",
    "2a27": "hardware",
    "2a28": "software",
}
_DATE_TIME = struct.Struct("<H5B")


def facts(data: Mapping[str, bytes]) -> dict[str, str]:
    """Return what the attributes say, in words; ``bytes`` by short UUID."""
    found = {word: said for uuid, word in STRINGS.items() if (said := text(data.get(uuid, b"")))}
    if CURRENT_TIME in data:
        try:
            told = current_time(data[CURRENT_TIME])
            said = "never set" if told is None else f"{told:%Y-%m-%d %H:%M:%S}"
        except DecodeError as error:
            said = str(error)
        found["its clock, which is not used"] = said
    return found


def text(data: bytes) -> str:
    """Return a string attribute (0x2901, Device Information), without NUL and blank padding."""
    return data.decode("utf-8", errors="replace").strip("\0 \t\r\n")


def date_time(data: bytes) -> datetime | None:
    """Return a Date Time (0x2A08) without zone, or ``None`` where the date is unknown.

    Raises:
        ShortFrameError: Fewer than seven bytes.
        MalformedError: A date or time that does not exist.
    """
    _need(data, 7, "Date Time")
    year, month, day, hour, minute, second = _DATE_TIME.unpack_from(data)
    if 0 in (year, month, day):
        return None
    try:
        return datetime(year, month, day, hour, minute, second)  # noqa: DTZ001 - sent without zone
    except ValueError as error:
        raise MalformedError(f"Date Time {data[:7].hex()}: {error}") from None


def current_time(data: bytes) -> datetime | None:
    """Return a Current Time (0x2A2B) without zone, or ``None`` where the date is unknown."""
    _need(data, 10, "Current Time")
    whole = date_time(data)
    if whole is None:
        return None
    return whole + timedelta(microseconds=data[8] * 1_000_000 // 256)


def _need(data: bytes, count: int, name: str) -> None:
    if len(data) < count:
        raise ShortFrameError(
            f"{name} of {len(data)} bytes ({data.hex() or 'none'}): expected {count}"
        )
