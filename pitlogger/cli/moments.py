"""Moments as people write them: ``10 min ago``, ``14:30``, RFC 3339."""

from __future__ import annotations

import re
from datetime import datetime, timedelta

import click

from pitlogger.errors import QuantityError
from pitlogger.model.quantities import parse_duration_ms

at_option = click.option(
    "--at", metavar="TIME", help="When: '10 min ago', '14:30' or 2026-09-19T14:30:00-05:00."
)


def parse_moment(text: str, now: datetime) -> datetime:
    """Return a written moment.

    Args:
        text: ``10 min ago``, ``HH:MM`` (the last time it was that), or RFC 3339.
        now: With its time zone.

    Raises:
        QuantityError: It cannot be read, or has no offset from UTC.
    """
    shown = text.strip()
    if shown.casefold() == "now":
        return now
    if shown.casefold().endswith("ago"):
        return now - timedelta(milliseconds=parse_duration_ms(shown[:-3]))
    if clock := re.fullmatch(r"(\d{1,2}):(\d{2})", shown):
        hour, minute = int(clock[1]), int(clock[2])
        if hour > 23 or minute > 59:
            raise QuantityError(f"'{shown}' is not a time of day: write one such as 14:30")
        moment = now.replace(hour=hour, minute=minute, second=0, microsecond=0)
        return moment if moment <= now else moment - timedelta(days=1)
    try:
        moment = datetime.fromisoformat(shown)
    except ValueError:
        raise QuantityError(
            f"'{shown}' is not a time: write '10 min ago', '14:30' or 2026-09-19T14:30:00-05:00"
        ) from None
    if moment.tzinfo is None:
        raise QuantityError(f"'{shown}' has no offset from UTC: add one, such as -05:00 or Z")
    return moment


def moment_text(text: str | None) -> str | None:
    """Return a written moment as RFC 3339 for the daemon, ``None`` if none was given."""
    return None if text is None else parse_moment(text, datetime.now().astimezone()).isoformat()
