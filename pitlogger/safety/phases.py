"""What a piece was marked as and what was known then: a mark entered late undoes nothing.

Temperature decides what happens to food. Meat that was cooked and then falls under the
holding limit is judged, whether or not anybody said that it came off the pit; a mark that was
entered after a limit was crossed leaves the crossing as it was.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from enum import Enum

from pitlogger.clock import rfc3339
from pitlogger.model.book import Mark
from pitlogger.model.cooks import HOT_OFF_PIT, ON_PIT, Stage
from pitlogger.model.quantities import show_duration
from pitlogger.safety.history import PieceHistory

MARKED_LATE_MS = 15 * 60_000
_COOLED = frozenset({Stage.COOLING, Stage.CHILLED})


class Judged(Enum):
    """How hot holding looks at a piece in a phase."""

    HELD = "held hot"
    UNMARKED = "held hot once cooked and fallen"
    HANDED_OVER = "eaten or handed over"
    NOT = "not held hot"


@dataclass(frozen=True, slots=True)
class Phase:
    """A time in which neither the stage nor what was known of it changed."""

    from_ms: int
    told: Stage | None
    known: Stage | None

    @property
    def judged(self) -> Judged:
        if self.told in HOT_OFF_PIT or self.known in HOT_OFF_PIT:
            return Judged.HELD
        cooking = ON_PIT | {Stage.REHEATING, None}
        if self.told in cooking or self.known in ON_PIT | {Stage.REHEATING}:
            return Judged.UNMARKED
        if self.known is None and self.told in _COOLED | {Stage.SERVED, Stage.DISCARDED}:
            return Judged.UNMARKED
        return Judged.HANDED_OVER if self.told is Stage.SERVED else Judged.NOT


def phases(history: PieceHistory) -> list[Phase]:
    """Return the phases of a piece, the first from the beginning of time."""
    told = [(span.from_ms, span.stage) for span in history.spans]
    edges = {0, *(at_ms for at_ms, _ in told)}
    edges.update(mark.entered_ms for mark in history.marks)
    edges.update(mark.at_ms for mark in history.marks)
    found = []
    for from_ms in sorted(edges):
        at = bisect_right(told, from_ms, key=lambda span: span[0])
        stage = told[at - 1][1] if at else None
        found.append(
            Phase(from_ms, stage, _known(history.marks, from_ms) if history.marks else stage)
        )
    return found


def _known(marks: Sequence[Mark], t_ms: int) -> Stage | None:
    """Return the stage as anybody knew it at a time, by the marks entered until then."""
    known = [mark for mark in marks if mark.entered_ms <= t_ms and mark.at_ms <= t_ms]
    return max(known, key=lambda mark: (mark.at_ms, mark.entered_ms)).stage if known else None


def late_marks(history: PieceHistory) -> Iterator[str]:
    """Yield each mark that was entered long after the time it names, in words."""
    for mark in history.marks:
        late_ms = mark.entered_ms - mark.at_ms
        if late_ms > MARKED_LATE_MS:
            by = f" by {mark.by}" if mark.by else ""
            yield (
                f"{mark.stage.value} at {rfc3339(mark.at_ms)} was marked "
                f"{show_duration(late_ms)} later{by}"
            )


def is_unmarked(history: PieceHistory) -> bool:
    """Return whether nobody marked that the piece came off the fire, as far as is known."""
    return not history.spans or history.unsaid or history.spans[-1].stage in ON_PIT
