"""Which piece goes on which pit: an exact assignment by search.

Pieces lie on the grate from loading to coming off; at no time may those of one pit need
more area than it has. The search tries pits for one piece after another, the largest first,
and leaves a branch as soon as an area is exceeded, so the dozen pieces of a cook take
milliseconds. Pieces alike are not told apart. Where it takes too long it says so.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import count

_SLACK = 1e-6  # cm2, for areas that were added up


@dataclass(frozen=True, slots=True)
class Lying:
    """A piece on the grate: area and the time from loading to coming off, hours."""

    piece: str
    area_cm2: float
    on_h: float
    off_h: float
    pit: str | None = None  # where it has to go, if somebody said so


MOST_STEPS = 10_000  # a third of a second; a cook of a dozen pieces takes a few hundred


class UndecidedError(Exception):
    """Whether the pieces fit was not decided within ``MOST_STEPS``."""


def assign(pieces: Sequence[Lying], pits: Mapping[str, float]) -> dict[str, str] | None:
    """Return the pit of each piece, on as few pits as possible; ``None`` if they do not fit.

    Args:
        pieces: What has to lie where, when.
        pits: Grate area of each pit, cm2.

    Raises:
        UndecidedError: The search was left before it ended.
    """
    if needed_at_once(pieces) > sum(pits.values()) + _SLACK:
        return None
    ordered = sorted(pieces, key=lambda one: (-one.area_cm2, one.on_h, one.off_h, one.pit or ""))
    names = sorted(pits, key=lambda pit: -pits[pit])
    steps = count(1)
    for used in range(1, len(names) + 1):
        found = _search(ordered, {name: pits[name] for name in names[:used]}, [], steps)
        if found is not None:
            return {lying.piece: pit for lying, pit in found}
    return None


def needed_at_once(pieces: Sequence[Lying]) -> float:
    """Return the largest area that pieces lying at the same time need, cm2."""
    return max(
        (sum(p.area_cm2 for p in pieces if p.on_h <= one.on_h < p.off_h) for one in pieces),
        default=0.0,
    )


def _search(
    left: Sequence[Lying],
    pits: Mapping[str, float],
    placed: list[tuple[Lying, str]],
    steps: Iterator[int],
) -> list[tuple[Lying, str]] | None:
    if not left:
        return placed
    if next(steps) > MOST_STEPS:
        raise UndecidedError
    first, rest = left[0], left[1:]
    tried: set[tuple[float, tuple[str, ...]]] = set()
    for pit, area in _not_before_its_twin(first, pits, placed):
        if first.pit not in (None, pit):
            continue
        others = tuple(lying.piece for lying, where in placed if where == pit)
        if (area, others) in tried:
            continue  # an empty pit of the same size was tried
        tried.add((area, others))
        if _fits(first, [lying for lying, where in placed if where == pit], area):
            found = _search(rest, pits, [*placed, (first, pit)], steps)
            if found is not None:
                return found
    return None


def _not_before_its_twin(
    piece: Lying, pits: Mapping[str, float], placed: Sequence[tuple[Lying, str]]
) -> Iterable[tuple[str, float]]:
    """Return the pits to try: of pieces alike, a later one never goes to an earlier pit."""
    names = list(pits)
    twin = placed[-1] if placed and replace(placed[-1][0], piece=piece.piece) == piece else None
    first = names.index(twin[1]) if twin else 0
    return ((name, pits[name]) for name in names[first:])


def _fits(new: Lying, there: Sequence[Lying], area_cm2: float) -> bool:
    """Return whether the area suffices whenever the new piece lies there."""
    moments = [new.on_h, *(one.on_h for one in there if new.on_h < one.on_h < new.off_h)]
    return all(
        new.area_cm2 + sum(one.area_cm2 for one in there if one.on_h <= t < one.off_h)
        <= area_cm2 + _SLACK
        for t in moments
    )
