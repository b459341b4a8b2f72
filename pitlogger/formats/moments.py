"""Moments as people write them: ``10 min ago``, ``9:30 pm``, ``yesterday 20:00``, RFC 3339.

A bare clock time means the one that makes sense in its cook. Where two fit (two nights on the
pit, the hour that comes twice in autumn) both are returned and it has to be asked.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta, tzinfo

from pitlogger.errors import QuantityError
from pitlogger.model.quantities import parse_duration_ms

_CLOCK = r"(\d{1,2})(?::(\d{2}))?\s*(am|pm)?"
_DAY = r"today|yesterday|mon|tue|wed|thu|fri|sat|sun|\d{4}-\d{2}-\d{2}"
_WRITTEN = re.compile(rf"(?:({_DAY})[a-z]*[ t]+)?{_CLOCK}", re.IGNORECASE)
_DAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
_SLACK = timedelta(hours=18)  # before its cook was started: bought, trimmed, salted the day before
EXPECTED = "write '10 min ago', '14:30', 'yesterday 20:00' or 2026-09-19T14:30:00-05:00"


@dataclass(frozen=True, slots=True)
class TimeRange:
    """From when to when something can have happened; ``since`` is ``None`` where not known."""

    since: datetime | None
    until: datetime


def moments(text: str, span: TimeRange, zone: tzinfo | None = None) -> tuple[datetime, ...]:
    """Return the moments that a text can mean, each with its offset, the likeliest first.

    Args:
        text: As written.
        span: Of the cook it belongs to; ``until`` is now, or the end of a past cook.
        zone: Where the clock hangs; the system's own by default.

    Raises:
        QuantityError: It is no time, lies in the hour that a clock skips, or has no offset.
    """
    shown = text.strip()
    if shown.casefold() == "now":
        return (span.until,)
    if shown.casefold().endswith("ago"):
        return (span.until - timedelta(milliseconds=parse_duration_ms(shown[:-3])),)
    if found := _WRITTEN.fullmatch(shown):
        return _of_clock(shown, found, span, zone)
    try:
        moment = datetime.fromisoformat(shown)
    except ValueError:
        raise QuantityError(f"'{shown}' is not a time: {EXPECTED}") from None
    return (moment,) if moment.tzinfo is not None else _existing(moment, shown, zone)


def _of_clock(
    shown: str, found: re.Match[str], span: TimeRange, zone: tzinfo | None
) -> tuple[datetime, ...]:
    day, clock = found[1], _clock(shown, found)
    until = span.until.astimezone(zone)
    if day is not None:
        return _existing(datetime.combine(_day(day.casefold(), until), clock), shown, zone)
    first = until - timedelta(days=1) if span.since is None else span.since - _SLACK
    days = (until.date() - timedelta(days=back) for back in range((until - first).days + 2))
    every = [moment for one in days for moment in _folds(datetime.combine(one, clock), zone)]
    inside = [moment for moment in every if _is_within(moment, span)]
    if inside:
        return tuple(inside)
    past = [moment for moment in every if moment <= until]
    if not past:
        raise QuantityError(f"'{shown}' lies ahead of all that happened in this cook")
    return tuple(_same_clock(past))


def _same_clock(past: list[datetime]) -> Iterator[datetime]:
    """Yield the latest of some moments, and its twin where the hour comes twice."""
    latest = max(past)
    yield latest
    yield from (one for one in past if one is not latest and latest - one < timedelta(hours=3))


def _is_within(moment: datetime, span: TimeRange) -> bool:
    return span.since is not None and span.since <= moment <= span.until


def _clock(shown: str, found: re.Match[str]) -> time:
    hour, minute, half = int(found[2]), int(found[3] or 0), (found[4] or "").casefold()
    if (found[3] is None and not half) or (half and not 1 <= hour <= 12):
        raise QuantityError(f"'{shown}' is not a time of day: write one such as 14:30 or 2:30 pm")
    if half:
        hour = hour % 12 + (12 if half == "pm" else 0)
    if hour > 23 or minute > 59:
        raise QuantityError(f"'{shown}' is not a time of day: write one such as 14:30")
    return time(hour, minute)


def _day(word: str, until: datetime) -> date:
    if word == "today":
        return until.date()
    if word == "yesterday":
        return until.date() - timedelta(days=1)
    if word in _DAYS:
        back = (until.weekday() - _DAYS.index(word)) % 7
        return until.date() - timedelta(days=back)
    try:
        return date.fromisoformat(word)
    except ValueError:
        raise QuantityError(f"'{word}' is not a day: write one such as 2026-09-19") from None


def _folds(naive: datetime, zone: tzinfo | None) -> list[datetime]:
    """Return the moments at which a clock shows a time: one, two in autumn, none in spring."""
    found: list[datetime] = []
    for fold in (0, 1):
        local = naive.replace(fold=fold)
        moment = local.astimezone() if zone is None else local.replace(tzinfo=zone)
        back = moment.astimezone(UTC).astimezone(zone).replace(tzinfo=None, fold=0)
        if back == naive and all(moment.utcoffset() != one.utcoffset() for one in found):
            found.append(moment)
    return found


def _existing(naive: datetime, shown: str, zone: tzinfo | None) -> tuple[datetime, ...]:
    found = _folds(naive, zone)
    if not found:
        raise QuantityError(f"'{shown}' does not exist: the clocks went forward over it")
    return tuple(found)


def of_a_clock(text: str, zone: tzinfo | None = None) -> tuple[datetime, ...]:
    """Return the moments that a day and a time, as a form sends them, can mean: one, or two.

    Raises:
        QuantityError: The clocks went forward over it.
        ValueError: It is no day and time.
    """
    moment = datetime.fromisoformat(text)
    return (moment,) if moment.tzinfo is not None else _existing(moment, text, zone)


def shown_local(text: str) -> str:
    """Return an RFC 3339 moment as ``full_local`` writes it."""
    return full_local(datetime.fromisoformat(text))


def full_local(moment: datetime, zone: tzinfo | None = None) -> str:
    """Return a moment in full, with its offset: ``Sat 2026-09-19 04:10 -05:00``."""
    local = moment.astimezone(zone)
    offset = local.strftime("%z")
    return f"{local.strftime('%a %Y-%m-%d %H:%M')} {offset[:3]}:{offset[3:]}"
