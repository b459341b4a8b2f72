"""Lanes: what the engine compiles for each channel, so that most readings cost little.

Rebuilt whenever the book changes: where the channel sits, what is added to its values, what
is believable there, which limits it is judged by and between which values none of them moves.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from statistics import median_low

from pitlogger.engine.state import ChannelState
from pitlogger.model.book import Book
from pitlogger.model.cooks import BEFORE_FIRE, Channel, Stage
from pitlogger.model.quantities import Quantity
from pitlogger.model.readings import Site
from pitlogger.pipeline.vet import bounds
from pitlogger.rules.conditions import Limit

STALE_LEAST_MS = 15_000
STALE_MOST_MS = 300_000
_ALWAYS_WATCHED = frozenset({Site.PIT, Site.HOLD, Site.TRANSPORT, Site.LINE, Site.COLD, Site.ROOM})
_NO_PROBE = frozenset({Stage.CARVED, Stage.SERVED, Stage.CHILLED, Stage.DISCARDED})


@dataclass(slots=True)
class Lane:
    """One channel as compiled. ``low`` to ``high`` is the band in which no limit moves."""

    state: ChannelState
    site: Site = Site.NONE
    piece: str | None = None
    offset: int = 0
    quantity: Quantity = Quantity.TEMPERATURE
    is_temperature: bool = True
    floor: int = 0
    ceiling: int = 0
    low: int = -(1 << 62)
    high: int = 1 << 62
    interval_ms: int | None = None
    stale_after_ms: int | None = None
    limits: list[Limit] = field(default_factory=list)
    stale_key: str | None = None
    fault_key: str | None = None


def build_lane(state: ChannelState, book: Book, known: dict[str, Channel]) -> Lane:
    """Return the lane of a channel as the book has it now.

    Args:
        known: Channels of the configuration: what their drivers declare.
    """
    declared = known.get(state.id, Channel(state.id))
    assignment = book.assignment(state.id)
    placed = declared if assignment is None else assignment.channel
    quantity = placed.quantity or declared.quantity or placed.site.usual_quantity
    floor, ceiling = bounds(quantity, placed.site)
    offset = placed.offset or declared.offset
    for _, adjusted in book.adjusted:
        if adjusted.channel == state.id:
            offset = adjusted.offset
    assigned = placed.site is not Site.NONE
    stale_after = placed.stale_after_ms or declared.stale_after_ms
    watched = assigned and (placed.site is not Site.BENCH or stale_after is not None)
    interval_mg = placed.scale_interval_mg or declared.scale_interval_mg
    if interval_mg is not None:
        state.steadiness.interval_mg = interval_mg
    state.steadiness.settled = placed.settled or declared.settled
    return Lane(
        state=state,
        site=placed.site,
        piece=placed.piece,
        offset=offset,
        quantity=quantity,
        is_temperature=quantity is Quantity.TEMPERATURE,
        floor=floor,
        ceiling=ceiling,
        interval_ms=placed.interval_ms or declared.interval_ms,
        stale_after_ms=stale_after,
        stale_key=f"channel-stale/{state.id}" if watched else None,
        fault_key=f"probe-fault/{state.id}" if assigned else None,
    )


def silence_matters(lane: Lane, book: Book) -> bool:
    """Return whether a silent channel needs a hand.

    A probe lying on the table before the fire or after the meal does not.
    """
    if lane.site in _ALWAYS_WATCHED or lane.stale_after_ms is not None:
        return book.finished_ms is None
    held = book.pieces.get(lane.piece or "")
    if held is None or not held.is_open or held.stage in _NO_PROBE:
        return False
    return not (held.marks and held.stage in BEFORE_FIRE)


def silence_limit_ms(lane: Lane) -> int:
    """Return how long a channel may be silent before it is stale.

    Three times its declared interval; where none is declared three times the running median
    interval, within 15 to 300 s. A scale's single result counts as what lies on it for 300 s.
    """
    if lane.stale_after_ms is not None:
        return lane.stale_after_ms
    if lane.state.steadiness.settled:
        return STALE_MOST_MS
    if lane.interval_ms is not None:
        return max(STALE_LEAST_MS, 3 * lane.interval_ms)
    if not lane.state.gaps_ms:
        return STALE_MOST_MS
    return min(STALE_MOST_MS, max(STALE_LEAST_MS, 3 * median_low(lane.state.gaps_ms)))
