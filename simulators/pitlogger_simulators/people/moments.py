"""Moments of a script: ``+6 h`` after the start, ``22:30`` by the kitchen clock, or a date."""

from __future__ import annotations

import re
from datetime import datetime, timedelta

from pitlogger.errors import QuantityError
from pitlogger.model.quantities import parse_duration_ms

_CLOCK = re.compile(r"(\d{1,2}):(\d{2})(?:\s*\+\s*(\d)\s*d)?")


def moment_ms(text: str, start: datetime) -> int:
    """Return UTC milliseconds of a moment.

    Args:
        text: ``+6 h 30 min``, ``22:30`` (the first after the start; ``07:00 +1 d`` is the one
            a day later) or an RFC 3339 time.
        start: When the scenario begins, with its offset from UTC.

    Raises:
        QuantityError: None of these.
    """
    shown = text.strip()
    begin_ms = round(start.timestamp() * 1000)
    if shown.startswith("+"):
        return begin_ms + parse_duration_ms(shown[1:])
    clock = _CLOCK.fullmatch(shown)
    if clock is not None and int(clock[1]) < 24 and int(clock[2]) < 60:
        found = start.replace(hour=int(clock[1]), minute=int(clock[2]), second=0, microsecond=0)
        if found < start:
            found += timedelta(days=1)
        found += timedelta(days=int(clock[3] or 0))
        return round(found.timestamp() * 1000)
    moment = _dated(shown)
    if moment is None or moment.tzinfo is None:
        raise QuantityError(
            f"'{shown}' is no moment: write one such as '+6 h', '22:30' or '2026-09-19T18:00:00Z'"
        )
    return round(moment.timestamp() * 1000)


def _dated(text: str) -> datetime | None:
    try:
        return datetime.fromisoformat(text)
    except ValueError:
        return None
