"""Plan B: what is done when the cook runs late or early, or the fire fails, and by when it shows.

The times follow from the schedule; what is done is common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Protocol

_FIRE = timedelta(hours=1)
_DOUBT = timedelta(hours=1)
_SLOW = "raise the pit by 25 F and probe every 20 minutes; tell the client it may come last"
_LATE = "carve first what is done and serve this last; order now the dish that you would buy in"
_EARLY = (
    "done too early: into a heated hold with a probe in it, or cool it within its limits and "
    "reheat it; see the hold's note"
)


@dataclass(frozen=True, slots=True)
class Fallback:
    """At ``at``, where ``unless`` is not so, ``then`` is done with ``pieces``."""

    at: datetime
    unless: str
    then: str
    pieces: tuple[str, ...]


class Timed(Protocol):
    """The times of a piece, as a schedule has them."""

    @property
    def piece(self) -> str: ...
    @property
    def light_by(self) -> datetime: ...
    @property
    def wrap_about(self) -> datetime | None: ...
    @property
    def off_about(self) -> datetime: ...
    @property
    def off_by(self) -> datetime: ...
    @property
    def leave_by(self) -> datetime: ...


def plan_b(pieces: Sequence[Timed], other_pits: int) -> tuple[Fallback, ...]:
    """Return what to fall back on, in order of time; pieces alike are named together."""
    found: dict[tuple[datetime, str, str], list[str]] = {}
    for piece in pieces:
        for at, unless, then in _of(piece, other_pits):
            found.setdefault((at, unless, then), []).append(piece.piece)
    return tuple(
        Fallback(at, unless, then, tuple(names))
        for (at, unless, then), names in sorted(found.items(), key=lambda one: one[0][0])
    )


def _of(piece: Timed, other_pits: int) -> Iterator[tuple[datetime, str, str]]:
    slack = piece.off_by - piece.off_about
    elsewhere = "into another pit" if other_pits else "into an oven at the pit's temperature"
    yield (
        piece.light_by + _FIRE,
        "the pit holds its temperature",
        f"wrap what is in it and move it {elsewhere}; the times stay",
    )
    if piece.wrap_about is not None:
        yield (
            piece.wrap_about + slack,
            "it is wrapped",
            "wrap it now, in foil, whatever the bark looks like: it cooks faster wrapped",
        )
    yield max(piece.off_by - _DOUBT, piece.off_about), "it is nearly tender", _SLOW
    yield piece.off_by, "it is off the pit", _LATE
    yield piece.off_about - slack, "it is still cooking", _EARLY
