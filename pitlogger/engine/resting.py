"""Which entries rest on another: without it they would be about nothing.

What is said of a piece rests on the entry that made it: added, split, merged. A stage rests on
those before it, where it cannot follow without them.
"""

from __future__ import annotations

from collections.abc import Sequence

from pitlogger.engine.commands import UNDOABLE
from pitlogger.model.cooks import Stage, may_follow
from pitlogger.model.folding import counted
from pitlogger.model.journal import (
    Body,
    ChannelAssigned,
    Correctable,
    Corrected,
    Entry,
    PieceAdded,
    PiecesMerged,
    PieceSplit,
    StageSet,
    Undone,
)


def resting_on(
    entries: Sequence[Entry], entry: Entry, instead: Correctable | None = None
) -> list[Entry]:
    """Return the entries that count and rest on one, in their order.

    Args:
        instead: What it is corrected to; ``None`` where it is taken back.
    """
    change: Body = Undone(entry.run, entry.seq)
    if instead is not None:
        change = Corrected(entry.run, entry.seq, instead)
    after = counted([*entries, Entry(entry.run, -1, entry.t_ms, change)])
    left = [(one, body) for one, body, _ in after if one.seq != -1]
    found = _about(left, _made(entry.body)) if instead is None else []
    rest = [pair for pair in left if pair[0] not in found]
    odd_before = _out_of_order([(one, body) for one, body, _ in counted(entries)])
    found += [one for one in _out_of_order(rest) if one not in odd_before]
    return sorted(
        (one for one in found if (one.run, one.seq) != (entry.run, entry.seq)), key=entries.index
    )


def _made(body: Body) -> set[str]:
    match body:
        case PieceAdded(piece=piece):
            return {piece.id}
        case PieceSplit(children=children):
            return {child.id for child in children}
        case PiecesMerged(child=child):
            return {child.id}
        case _:
            return set()


def _about(left: Sequence[tuple[Entry, Body]], pieces: set[str]) -> list[Entry]:
    """Return the entries about some pieces, and about what became of them."""
    found: list[Entry] = []
    for one, body in left:
        named = {getattr(body, "piece", None), *getattr(body, "pieces", ())}
        if isinstance(body, ChannelAssigned):
            named = {body.channel.piece}
        elif isinstance(body, PieceAdded):
            continue
        if named & pieces and isinstance(body, UNDOABLE):
            found.append(one)
            pieces |= _made(body)
    return found


def _out_of_order(left: Sequence[tuple[Entry, Body]]) -> list[Entry]:
    """Return the stages that can no longer follow the one before them."""
    found: list[Entry] = []
    stages: dict[str, Stage] = {}
    marks = [(body.at_ms, one, body) for one, body in left if isinstance(body, StageSet)]
    for _, one, body in sorted(marks, key=lambda mark: mark[0]):
        if not may_follow(stages.get(body.piece, Stage.RAW), body.stage):
            found.append(one)
        else:
            stages[body.piece] = body.stage
    return found
