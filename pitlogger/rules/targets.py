"""Which limits apply to a piece in the stage it is in.

The lead core decides wrap and pull; the coldest valid core decides hot holding. A wrap or
pull temperature in the cook file is the only trigger of that prompt; without one the cut's
policy supplies it.
"""

from __future__ import annotations

from pitlogger.model.book import Book, PieceBook
from pitlogger.model.cooks import BEFORE_FIRE, HOT_OFF_PIT, ON_PIT, Stage
from pitlogger.rules.conditions import ABOVE, BELOW, Limit
from pitlogger.rules.policies import Policy


def piece_limits(book: Book, held: PieceBook, policy: Policy) -> list[Limit]:
    """Return the limits of a piece as it stands now."""
    if held.ended_ms is not None:
        return []
    stage, piece = held.stage, held.piece
    cores = book.cores(piece.id)
    lead = cores[0] if cores else None
    limits = []
    if stage in BEFORE_FIRE or stage in ON_PIT:
        wrapped_before = any(mark.stage is Stage.WRAPPED for mark in held.marks)
        wrap_at = policy.wrap_at_mc(piece)
        if wrap_at is not None and not wrapped_before and not piece.wrap_on:
            limits.append(_limit("wrap-due", policy, wrap_at, ABOVE, piece.id, lead))
        pull_at = policy.pull_at_mc(piece)
        if pull_at is not None:
            limits.append(_limit("pull-due", policy, pull_at, ABOVE, piece.id, lead))
    elif stage in HOT_OFF_PIT:
        near, low = policy.hot_hold_near_mc, policy.hot_hold_limit_mc
        limits.append(_limit("hot-hold-near", policy, near, BELOW, piece.id, None))
        limits.append(_limit("hot-hold-low", policy, low, BELOW, piece.id, None))
    return limits


def _limit(
    kind: str, policy: Policy, limit_mc: int, side: int, piece: str, channel: str | None
) -> Limit:
    return Limit(f"{kind}/{piece}", policy.rules[kind], limit_mc, side, piece, channel)
