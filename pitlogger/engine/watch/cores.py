"""The cores of a piece that may be judged now: what is valid, coldest, warmest."""

from __future__ import annotations

from pitlogger.engine.state import ChannelState, EngineState
from pitlogger.model.book import Book
from pitlogger.rules.conditions import Limit

FLICKER_MS = (
    40_000  # under the delays of a minute: one pulled out for good ends with its delay; ours
)
SPOT_VALID_MS = 10 * 60_000  # how long a hand reading stands beside the fixed probes


def valid_cores(state: EngineState, book: Book, piece: str, t_ms: int) -> list[ChannelState]:
    """Return the cores of a piece that may be judged, a fresh hand reading among them."""
    held = [
        known
        for channel in book.cores(piece)
        if (known := state.channels.get(channel)) is not None and known.valid()
    ]
    spot = state.channels.get(f"{piece}/spot")
    if spot is not None and t_ms - spot.good_ms <= SPOT_VALID_MS:
        held.append(spot)
    return held


def all_cores(state: EngineState, book: Book, piece: str, t_ms: int) -> list[ChannelState]:
    """Return the cores of a piece that answer, those in doubt too: for alarms, never for credit.

    A box that was opened and slices that cool fast look like a probe in the air.
    """
    held = [
        known
        for channel in book.cores(piece)
        if (known := state.channels.get(channel)) is not None
        and known.heard_well()
        and known.doubt != "stuck"
    ]
    spot = state.channels.get(f"{piece}/spot")
    if spot is not None and t_ms - spot.good_ms <= SPOT_VALID_MS:
        held.append(spot)
    return held


def answers(limit: Limit, state: EngineState, book: Book) -> bool:
    """Return whether what a limit is judged on gives values now, or did a moment ago.

    A wet plug goes on and off: its values in between count. A fresh hand reading answers too.
    """
    spot = state.channels.get(f"{limit.piece}/spot")
    if spot is not None and state.t_ms - spot.good_ms <= SPOT_VALID_MS:
        return True
    channels = book.cores(limit.piece or "") if limit.channel is None else [limit.channel]
    held = [known for channel in channels if (known := state.channels.get(channel)) is not None]
    return any(one.heard_well() or state.t_ms - one.good_ms <= FLICKER_MS for one in held)


def is_by_hand(core: ChannelState) -> bool:
    """Return whether a core is a hand reading that stands beside the probes."""
    return core.id.endswith("/spot")


def are_whole(state: EngineState, book: Book, piece: str) -> bool:
    """Return whether no probe of a piece is silent or in doubt."""
    return all(
        known.gives_credit()
        for channel in book.cores(piece)
        if (known := state.channels.get(channel)) is not None and known.heard_ms >= 0
    )


def coldest(cores: list[ChannelState]) -> tuple[int, float] | None:
    """Return value and level of the coldest of some cores, ``None`` if there is none."""
    values = [core.value for core in cores if core.value is not None]
    if not values:
        return None
    return min(values), min(core.level for core in cores)


def extremes(cores: list[ChannelState]) -> tuple[int, int] | None:
    """Return the lowest and the highest of some cores, ``None`` if there is none."""
    values = [core.value for core in cores if core.value is not None]
    return (min(values), max(values)) if values else None
