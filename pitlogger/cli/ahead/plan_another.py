"""By when another piece has to be lit, where a plan turns out short."""

from __future__ import annotations

import time
from datetime import datetime

from pitlogger.errors import UsageError
from pitlogger.yields.timing.schedule import LIGHT_UP_MIN, Sitting, latest_load_ms


def light_by(serve_at: str, cut: str, now_ms: float | None = None) -> str | None:
    """Return the local time by which the fire for one more piece has to be lit.

    ``None`` if that is past. The time a piece takes is what its cut usually does, nine in ten.

    Raises:
        UsageError: ``serve_at`` is not a time.
    """
    try:
        at = datetime.fromisoformat(serve_at).astimezone()
    except ValueError:
        raise UsageError(
            f"--serve-at: '{serve_at}' is not a time; write 2026-09-19T18:00-05:00"
        ) from None
    load_ms = latest_load_ms(cut, Sitting(round(at.timestamp() * 1000)))
    lit_ms = load_ms - LIGHT_UP_MIN * 60_000
    if lit_ms <= (time.time() * 1000 if now_ms is None else now_ms):
        return None
    lit = datetime.fromtimestamp(lit_ms / 1000).astimezone()
    return lit.strftime("%H:%M" if lit.date() == at.date() else "%a %H:%M")
