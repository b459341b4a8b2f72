"""Time without power whose length is not known, and its length once it is.

Engine time goes on from the last record over such a gap. For the safety clocks all that was
before it then lies as long ago as the gap was: longer than any limit while nobody knows, so
long as it was once the time of day is known again.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from pitlogger.safety.history import PieceHistory, ProbeSeries

UNKNOWN_GAP_MS = 24 * 3_600_000  # longer than any limit on hours; those on days have dates


@dataclass(slots=True)
class Gap:
    """A gap that engine time does not have; ``ms`` is ``None`` while its length is unknown."""

    at_ms: int
    ms: int | None = None


def lived(t_ms: int, gaps: Sequence[Gap]) -> int:
    """Return when an engine time was, seen from after the gaps."""
    passed = (UNKNOWN_GAP_MS if gap.ms is None else gap.ms for gap in gaps if t_ms < gap.at_ms)
    return t_ms - sum(passed)


def across(history: PieceHistory, gaps: Sequence[Gap]) -> PieceHistory:
    """Return a history with what was before the gaps as long ago as it was."""
    if not gaps:
        return history

    def moved(t_ms: int) -> int:
        return lived(t_ms, gaps)

    def shifted(series: tuple[ProbeSeries, ...]) -> tuple[ProbeSeries, ...]:
        return tuple(
            replace(one, points=tuple((moved(t_ms), mc) for t_ms, mc in one.points))
            for one in series
        )

    by_time = history.by_time
    return replace(
        history,
        by_time=None
        if by_time is None
        else replace(
            by_time,
            said=replace(by_time.said, at_ms=moved(by_time.said.at_ms)),
            entered_ms=moved(by_time.entered_ms),
        ),
        spans=tuple(
            replace(
                span,
                from_ms=moved(span.from_ms),
                to_ms=None if span.to_ms is None else moved(span.to_ms),
            )
            for span in history.spans
        ),
        cores=shifted(history.cores),
        surface=shifted(history.surface),
        cold=shifted(history.cold),
        pit=shifted(history.pit),
        spots=tuple((moved(t_ms), mc) for t_ms, mc in history.spots),
        moves=tuple((moved(t_ms), channel) for t_ms, channel in history.moves),
    )
