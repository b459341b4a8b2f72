"""Which limits apply to a piece in the stage it is in.

The lead core decides tender check, wrap and pull; the coldest valid core decides hot
holding. A wrap or pull temperature in the cook file is the only trigger of that prompt;
without one the cut's policy supplies it.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal

from pitlogger.model.book import Book, PieceBook
from pitlogger.model.cooks import BEFORE_FIRE, HOT_OFF_PIT, ON_PIT, Stage
from pitlogger.rules.conditions import ABOVE, BELOW, Limit, Watch
from pitlogger.rules.policies import RulePolicy

ENOUGH_BY_HAND = 3


def piece_limits(
    book: Book, held: PieceBook, policy: RulePolicy, watches: Mapping[str, Watch]
) -> list[Limit]:
    """Return the limits of a piece as it stands now."""
    if not held.is_open:
        return []
    if held.stage in BEFORE_FIRE or held.stage in ON_PIT:
        return _fire_limits(book, held, policy, watches)
    if held.stage in HOT_OFF_PIT and held.by_time is None:
        piece = held.piece.id
        return [
            Limit(f"{kind}/{piece}", policy.rules[kind], limit_mc, BELOW, piece)
            for kind, limit_mc in (
                ("hot-hold-near", policy.hot_hold_near_mc),
                ("hot-hold-low", policy.hot_hold_limit_mc),
            )
        ]
    return []


def _fire_limits(
    book: Book, held: PieceBook, policy: RulePolicy, watches: Mapping[str, Watch]
) -> list[Limit]:
    piece = held.piece
    cores = book.cores(piece.id)
    lead = cores[0] if cores else None
    wrapped_before = any(mark.stage is Stage.WRAPPED for mark in held.marks)
    pull_at = policy.pull_at_mc(piece)
    check_at = policy.cuts[piece.cut].tender_check_mc
    wanted = {
        "wrap-due": None if wrapped_before or piece.wrap_on else policy.wrap_at_mc(piece),
        "tender-check-due": check_at if pull_at is not None and check_at != pull_at else None,
        "pull-due": pull_at,
    }
    if pull_at is not None and check_at is not None and check_at > pull_at:
        wanted["tender-check-due"] = None
    limits = []
    for kind, limit_mc in wanted.items():
        key = f"{kind}/{piece.id}"
        answered = key in watches and watches[key].settled
        if limit_mc is not None and not answered:
            limits.append(Limit(key, policy.rules[kind], limit_mc, ABOVE, piece.id, lead))
    return limits


def targets_ahead(
    book: Book, piece: str, limits: list[Limit], watches: Mapping[str, Watch]
) -> tuple[Literal["wrap", "pull", "rest"], ...]:
    """Return the targets of a piece that lie ahead, the next one first.

    Of a piece without a probe nothing can be asked before it was read by hand a few times.
    """
    held = book.pieces[piece]
    if not held.is_open:
        return ()
    if not book.cores(piece) and len(book.hand_readings(piece)) < ENOUGH_BY_HAND:
        return ()
    if held.stage is Stage.RESTING:
        return ("rest",)
    if held.stage not in ON_PIT and not (held.stage in BEFORE_FIRE and not held.marks):
        return ()
    ahead = {limit.rule.kind for limit in limits if not watches[limit.key].holds}
    if "pull-due" not in ahead:
        return ("wrap",) if "wrap-due" in ahead else ()
    return ("wrap", "pull", "rest") if "wrap-due" in ahead else ("pull", "rest")
