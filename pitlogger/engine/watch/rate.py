"""Cores that change faster than meat can: no target is reached on the word of such a probe.

The same rates decide over a record (``pitlogger.safety.instruments.belief``).
"""

from __future__ import annotations

from collections.abc import Mapping

from pitlogger.engine.compiled_channel import Lane
from pitlogger.engine.state import ChannelState
from pitlogger.model.book import Book
from pitlogger.model.cooks import ON_PIT, Stage
from pitlogger.safety.instruments import belief

PLAIN_MC = 8_000  # a record is judged more strictly: it sees what came after


def follow_rate(lane: Lane, channels: Mapping[str, ChannelState], book: Book, t_ms: int) -> None:
    """Look whether a core changed as no meat can, or is back where it can be believed."""
    state = lane.state
    held = book.pieces.get(lane.piece or "")
    if held is None or state.value is None:
        return
    point = (t_ms, state.value)
    stage = held.stage_at(t_ms) if held.marks else None
    rate = belief.rate_in(stage, belief.rate_mc_per_min(held.piece.family, held.piece.thickness_mm))
    if state.jumped is not None:
        spot = channels.get(f"{lane.piece}/spot")  # the last hand reading of its piece
        if _is_back(lane, spot, book, point, state.jumped, stage, rate):
            state.jumped, state.recent = None, [point]
        return
    recent = state.recent
    while len(recent) > 1 and t_ms - recent[0][0] > belief.WINDOW_MS:
        del recent[0]
    since_ms = belief.jumped_from(point, recent, rate, PLAIN_MC)
    if since_ms is not None and not _is_raw(point[1], stage):
        state.jumped = next(one for one in recent if one[0] == since_ms)
        state.recent = []
    elif since_ms is not None:
        state.recent = [point]
    else:
        if len(recent) > 1 and recent[-1][0] - recent[-2][0] < belief.WINDOW_STEP_MS:
            recent.pop()
        recent.append(point)


def _is_back(
    lane: Lane,
    spot: ChannelState | None,
    book: Book,
    point: tuple[int, int],
    jumped: tuple[int, int],
    stage: Stage | None,
    rate: float,
) -> bool:
    told = [at_ms for at_ms, channel in book.moved if channel == lane.state.id]
    placed = book.assignment(lane.state.id)
    told += [lane.state.said_ms, -1 if placed is None else placed.from_ms]
    if max(told) > jumped[0] or _is_raw(point[1], stage) or belief.goes_on(point, jumped, rate):
        return True
    return (
        spot is not None
        and spot.value is not None
        and spot.good_ms > jumped[0]
        and abs(spot.value - point[1]) <= belief.AGREES_MC
    )


def _is_raw(value_mc: int, stage: Stage | None) -> bool:
    """Return whether it reads as meat does that is being put on the fire."""
    return value_mc <= belief.RAW_MC and (
        stage is None or stage in ON_PIT or stage is Stage.REHEATING
    )
