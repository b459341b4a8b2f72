"""A timeline as an iCalendar file.

Source: RFC 5545: 3.1 (lines end in CRLF and are folded at 75 bytes), 3.3.11 (escapes in
text), 3.6.1 (event), 3.6.6 (alarm).
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, datetime


@dataclass(frozen=True, slots=True)
class CalendarMoment:
    """Something to do at a time; ``minutes`` is how long it takes."""

    at_ms: int
    what: str
    about: str = ""
    minutes: int = 15


def calendar(moments: Iterable[CalendarMoment], name: str, stamp_ms: int) -> str:
    """Return the text of an iCalendar file with an event and an alarm for each moment.

    Args:
        moments: What to do when; a UID is made of the name, time and text, so the same
            schedule written again replaces its events.
        name: Of the cook.
        stamp_ms: When the file is made.
    """
    lines = ["BEGIN:VCALENDAR", "VERSION:2.0", "PRODID:-//pitlogger//schedule//EN"]
    for number, moment in enumerate(moments):
        lines += [
            "BEGIN:VEVENT",
            f"UID:{moment.at_ms}-{number}-{_slug(name)}@pitlogger",
            f"DTSTAMP:{_utc(stamp_ms)}",
            f"DTSTART:{_utc(moment.at_ms)}",
            f"DTEND:{_utc(moment.at_ms + moment.minutes * 60_000)}",
            f"SUMMARY:{_text(moment.what)}",
            *([f"DESCRIPTION:{_text(moment.about)}"] if moment.about else []),
            "BEGIN:VALARM",
            "ACTION:DISPLAY",
            f"DESCRIPTION:{_text(moment.what)}",
            "TRIGGER:PT0S",
            "END:VALARM",
            "END:VEVENT",
        ]
    lines.append("END:VCALENDAR")
    return "".join(f"{_folded(line)}\r\n" for line in lines)


def _utc(ms: int) -> str:
    return datetime.fromtimestamp(ms / 1000, UTC).strftime("%Y%m%dT%H%M%SZ")


def _slug(name: str) -> str:
    return "".join(c if c.isascii() and c.isalnum() else "-" for c in name.casefold())


def _text(value: str) -> str:
    for char, escaped in (("\\", "\\\\"), (";", "\\;"), (",", "\\,"), ("\n", "\\n")):
        value = value.replace(char, escaped)
    return value


def _folded(line: str) -> str:
    """Fold a line at 75 bytes, never within a character."""
    parts: list[str] = []
    current = b""
    for char in line:
        data = char.encode()
        if len(current) + len(data) > (75 if not parts else 74):
            parts.append(current.decode())
            current = b""
        current += data
    return "\r\n ".join([*parts, current.decode()])
