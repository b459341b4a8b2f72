"""Where each piece of a schedule lies, and when it has to go on earlier to find a place."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from pitlogger.model.cooks import Piece
from pitlogger.model.quantities import show_duration
from pitlogger.yields.timing.grate import (
    AREA_CM2,
    OTHER_AREA_CM2,
    Lying,
    UndecidedError,
    assign,
    needed_at_once,
)
from pitlogger.yields.timing.grate_solver import is_installed, spread
from pitlogger.yields.timing.schedule import HOUR_MS, PieceTimes

MOST_EARLIER_H = 12.0
_ASIDE = "Cook some the day before, use racks, or light another pit."
_EXTRA = (
    "With pip install 'pitlogger[schedule]' they can be loaded one after the other, solved exactly."
)


@dataclass(frozen=True, slots=True)
class Placed:
    """Pit of each piece and how much earlier it goes on, hours; with what is to be said."""

    pits: Mapping[str, str]
    earlier_h: Mapping[str, float]
    notes: tuple[str, ...] = ()


def place(times: Sequence[tuple[Piece, PieceTimes]], pits: Mapping[str, float]) -> Placed:
    """Return where the pieces lie: all at their latest time if that fits, else some earlier."""
    named = {piece.id: piece.pit for piece, _ in times if piece.pit}
    if not pits:
        return Placed(named, {})
    start_ms = min(found.load_ms for _, found in times)
    lying = [
        Lying(
            piece.id,
            AREA_CM2.get(piece.cut, OTHER_AREA_CM2) * piece.count,
            (found.load_ms - start_ms) / HOUR_MS,
            (found.off_by_ms - start_ms) / HOUR_MS,
            piece.pit if piece.pit in pits else None,
        )
        for piece, found in times
    ]
    too_large = [one.piece for one in lying if one.area_cm2 > max(pits.values())]
    if too_large:
        return Placed(named, {}, (f"No pit is large enough for {', '.join(too_large)}.",))
    try:
        placed = assign(lying, pits)
    except UndecidedError:
        return _one_after_another(lying, pits, named, "Whether they fit was not decided in time.")
    if placed is not None:
        return Placed(placed, {})
    needed, there = needed_at_once(lying), sum(pits.values())
    short = (
        f"They do not fit all at once: about {needed:.0f} cm2 would be needed, the pits have "
        f"{there:.0f} cm2."
    )
    return _one_after_another(lying, pits, named, short)


def _one_after_another(
    lying: Sequence[Lying], pits: Mapping[str, float], named: Mapping[str, str], short: str
) -> Placed:
    if not is_installed():
        return Placed(named, {}, (f"{short} {_ASIDE} {_EXTRA}",))
    found = spread(lying, pits, MOST_EARLIER_H)
    if found is None:
        never = f"{short} Not even up to {MOST_EARLIER_H:g} h earlier. {_ASIDE}"
        return Placed(named, {}, (never,))
    moved = {piece: hours for piece, hours in found.earlier_h.items() if hours > 0}
    if not moved:
        return Placed(found.pits, {})
    listed = ", ".join(f"{piece} {show_duration(h * HOUR_MS)}" for piece, h in moved.items())
    best = "the least possible wait in all" if found.proven else "not proven the least possible"
    return Placed(found.pits, moved, (f"{short} Loaded earlier: {listed} ({best}).",))
