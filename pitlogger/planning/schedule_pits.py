"""On which pit each piece of a schedule lies, and whether all find a place at once."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from pitlogger.model.cooks import Piece
from pitlogger.yields.cuts import figures
from pitlogger.yields.timing.grate import (
    Lying,
    UndecidedError,
    assign,
    needed_at_once,
)
from pitlogger.yields.timing.schedule import HOUR_MS, PieceTimes

_ASIDE = "Cook some the day before, use racks, or light another pit."


@dataclass(frozen=True, slots=True)
class Placed:
    """Pit of each piece, with what is to be said."""

    pits: Mapping[str, str]
    notes: tuple[str, ...] = ()


def place(times: Sequence[tuple[Piece, PieceTimes]], pits: Mapping[str, float]) -> Placed:
    """Return where the pieces lie, each from its latest time on; what does not fit is said."""
    named = {piece.id: piece.pit for piece, _ in times if piece.pit}
    if not pits:
        return Placed(named)
    start_ms = min(found.load_ms for _, found in times)
    lying = [
        Lying(
            piece.id,
            figures()[piece.cut].grate_cm2 * piece.count,
            (found.load_ms - start_ms) / HOUR_MS,
            (found.off_by_ms - start_ms) / HOUR_MS,
            piece.pit if piece.pit in pits else None,
        )
        for piece, found in times
    ]
    too_large = [one.piece for one in lying if one.area_cm2 > max(pits.values())]
    if too_large:
        return Placed(named, (f"No pit is large enough for {', '.join(too_large)}.",))
    try:
        placed = assign(lying, pits)
    except UndecidedError:
        return Placed(named, (f"Whether they fit was not decided in time. {_ASIDE}",))
    if placed is not None:
        return Placed(placed)
    needed, there = needed_at_once(lying), sum(pits.values())
    short = f"about {needed:.0f} cm2 would be needed, the pits have {there:.0f} cm2."
    return Placed(named, (f"They do not fit all at once: {short} {_ASIDE}",))
