"""Time left as a span in round figures: 8 in 10 hold it."""

from __future__ import annotations

from pitlogger.model.journal import ForecastMade
from pitlogger.views.language import tr

HOUR_MIN = 60


def remaining(made: ForecastMade, now_ms: int) -> str:
    """Return the time left to a forecast, such as ``5–6½ h left``, empty if it is not known."""
    if made.p10_ms is None or made.p90_ms is None:
        return ""
    low, high = ((at - now_ms) / 60_000 for at in (made.p10_ms, made.p90_ms))
    low, high = max(0.0, low), max(0.0, high)
    if high > 2 * HOUR_MIN:
        return tr("{hours} h left", hours=span(round(low / 30) / 2, round(high / 30) / 2))
    step = 10 if high >= 20 else 1
    return tr(
        "{minutes} min left", minutes=span(round(low / step) * step, round(high / step) * step)
    )


def span(low: float, high: float) -> str:
    """Return a span of numbers, one number where both are the same."""
    first, last = halves(low), halves(high)
    return last if first == last else f"{first}–{last}"


def halves(value: float) -> str:
    """Return a number with halves as ½."""
    whole, half = divmod(round(value * 2), 2)
    return f"{whole or ('' if half else 0)}{'½' if half else ''}"
