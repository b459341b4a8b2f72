"""Which piece goes on which pit: an exact assignment by search.

Pieces lie on the grate from loading to coming off; at no time may those of one pit need
more area than it has. The search tries pits for one piece after another, the largest first,
and leaves a branch as soon as an area is exceeded, so the dozen pieces of a cook take
milliseconds; no solver library is worth its start-up time here.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

# Grate area a piece takes, cm2, with room for air. Common practice, no source.
AREA_CM2: dict[str, float] = {
    "brisket-packer": 1100.0,
    "brisket-flat": 700.0,
    "brisket-point": 600.0,
    "pork-butt": 550.0,
    "pork-picnic": 600.0,
    "pork-belly": 800.0,
    "pork-spareribs": 800.0,
    "pork-st-louis": 650.0,
    "pork-baby-back": 600.0,
    "beef-ribs": 900.0,
    "turkey-whole": 1000.0,
    "chicken-whole": 450.0,
    "chicken-half": 300.0,
    "chicken-quarter": 180.0,
    "chicken-thigh": 90.0,
    "sausage": 60.0,
}
OTHER_AREA_CM2 = 500.0


@dataclass(frozen=True, slots=True)
class Lying:
    """A piece on the grate: area and the time from loading to coming off, hours."""

    piece: str
    area_cm2: float
    on_h: float
    off_h: float
    pit: str | None = None  # where it has to go, if somebody said so


def assign(pieces: Sequence[Lying], pits: Mapping[str, float]) -> dict[str, str] | None:
    """Return the pit of each piece, on as few pits as possible; ``None`` if they do not fit.

    Args:
        pieces: What has to lie where, when.
        pits: Grate area of each pit, cm2.
    """
    ordered = sorted(pieces, key=lambda lying: -lying.area_cm2)
    names = sorted(pits, key=lambda pit: -pits[pit])
    for used in range(1, len(names) + 1):
        found = _search(ordered, {name: pits[name] for name in names[:used]}, [])
        if found is not None:
            return {lying.piece: pit for lying, pit in found}
    return None


def _search(
    left: Sequence[Lying], pits: Mapping[str, float], placed: list[tuple[Lying, str]]
) -> list[tuple[Lying, str]] | None:
    if not left:
        return placed
    first, rest = left[0], left[1:]
    tried: set[tuple[float, tuple[str, ...]]] = set()
    for pit, area in pits.items():
        if first.pit not in (None, pit):
            continue
        others = tuple(lying.piece for lying, where in placed if where == pit)
        if (area, others) in tried:
            continue  # an empty pit of the same size was tried
        tried.add((area, others))
        if _fits(first, [lying for lying, where in placed if where == pit], area):
            found = _search(rest, pits, [*placed, (first, pit)])
            if found is not None:
                return found
    return None


def _fits(new: Lying, there: Sequence[Lying], area_cm2: float) -> bool:
    """Return whether the area suffices whenever the new piece lies there."""
    moments = [new.on_h, *(one.on_h for one in there if new.on_h < one.on_h < new.off_h)]
    return all(
        new.area_cm2 + sum(one.area_cm2 for one in there if one.on_h <= t < one.off_h)
        <= area_cm2 + 1e-9
        for t in moments
    )
