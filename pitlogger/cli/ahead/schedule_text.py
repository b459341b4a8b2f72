"""The answer of `pitlogger schedule` for people, and as a calendar."""

from __future__ import annotations

import time
from collections.abc import Sequence
from datetime import datetime, timedelta, timezone
from typing import Any

from pitlogger.clock import ms_of
from pitlogger.model.cooks import together
from pitlogger.model.quantities import show_duration
from pitlogger.yields.timing.ical import CalendarMoment, calendar


def schedule_text(document: dict[str, Any]) -> str:
    """Return the timeline for people, in this computer's local time."""
    light, chance = local_time(document["light_by"]), f"{document['confidence_pct']:g} in 100"
    lines = [f"{document['cook']}: light the fire by {light} to be in time with {chance}"]
    every = [piece["piece"] for piece in document["pieces"]]
    lines += [
        f"  {local_time(event['at'])}  {_event_text(event, every)}" for event in document["events"]
    ]
    lines += [
        f"{piece['piece']}: usually waits {show_duration(piece['hold_s'] * 1000)} in the hold, "
        f"{show_duration(piece['longest_hold_s'] * 1000)} if fast (n = {piece['n']})"
        for piece in document["pieces"]
    ]
    lines += ["plan B (common practice, no source):", *plan_b_lines(document)]
    return "\n".join([*lines, *(f"- {note}" for note in document["notes"])])


def _event_text(event: dict[str, Any], every: Sequence[str] = ()) -> str:
    several = len(every) > 2 and event["pieces"] == every
    pieces = f"all {len(every)} pieces" if several else together(event["pieces"])
    return f"{event['what']} ({pieces})" if pieces else str(event["what"])


def plan_b_lines(document: dict[str, Any], utc_offset_min: int | None = None) -> list[str]:
    """Return what is done when something is late, early or fails, a line each."""
    return [
        f"  {local_time(one['at'], utc_offset_min)}  unless {one['unless']} "
        f"({together(one['pieces'])}): {one['then']}"
        for one in document["plan_b"]
    ]


def local_time(at: str, utc_offset_min: int | None = None) -> str:
    """Return a time at an offset from UTC, else in this computer's local time."""
    zone = None if utc_offset_min is None else timezone(timedelta(minutes=utc_offset_min))
    return datetime.fromisoformat(at).astimezone(zone).strftime("%a %d %b %H:%M")


def schedule_ics(document: dict[str, Any]) -> str:
    """Return the timeline as an iCalendar file."""
    moments = (
        CalendarMoment(_ms(event["at"]), _event_text(event), about=document["cook"])
        for event in document["events"]
    )
    return calendar(moments, document["cook"], round(time.time() * 1000))


def _ms(at: str) -> int:
    return ms_of(datetime.fromisoformat(at))
