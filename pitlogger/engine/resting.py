"""Which entries rest on another: without it they would be about nothing.

What is said of a piece rests on the entry that made it: added, split, merged. A stage rests on
those before it, where it cannot follow without them.
"""

from __future__ import annotations

from collections.abc import Sequence

from pitlogger.engine.commands import UNDOABLE
from pitlogger.model import journal
from pitlogger.model.cooks import Stage, may_follow
from pitlogger.model.folding import counted


def resting_on(
    entries: Sequence[journal.Entry],
    entry: journal.Entry,
    instead: journal.Correctable | None = None,
) -> list[journal.Entry]:
    """Return the entries that count and rest on one, in their order.

    Args:
        instead: What it is corrected to; ``None`` where it is taken back.
    """
    change: journal.Body = journal.Undone(entry.run, entry.seq)
    if instead is not None:
        change = journal.Corrected(entry.run, entry.seq, instead)
    after = counted([*entries, journal.Entry(entry.run, -1, entry.t_ms, change)])
    left = [(one, body) for one, body, _ in after if one.seq != -1]
    found = _about(left, _made(entry.body)) if instead is None else []
    rest = [pair for pair in left if pair[0] not in found]
    odd_before = _out_of_order([(one, body) for one, body, _ in counted(entries)])
    found += [one for one in _out_of_order(rest) if one not in odd_before]
    return sorted(
        (one for one in found if (one.run, one.seq) != (entry.run, entry.seq)), key=entries.index
    )


def _made(body: journal.Body) -> set[str]:
    match body:
        case journal.PieceAdded(piece=piece):
            return {piece.id}
        case journal.PieceSplit(children=children):
            return {child.id for child in children}
        case journal.PiecesMerged(child=child):
            return {child.id}
        case _:
            return set()


def _about(
    left: Sequence[tuple[journal.Entry, journal.Body]], pieces: set[str]
) -> list[journal.Entry]:
    """Return the entries about some pieces, and about what became of them."""
    found: list[journal.Entry] = []
    for one, body in left:
        named = {getattr(body, "piece", None), *getattr(body, "pieces", ())}
        if isinstance(body, journal.ChannelAssigned):
            named = {body.channel.piece}
        elif isinstance(body, journal.PieceAdded):
            continue
        if named & pieces and isinstance(body, UNDOABLE):
            found.append(one)
            pieces |= _made(body)
    return found


def _out_of_order(left: Sequence[tuple[journal.Entry, journal.Body]]) -> list[journal.Entry]:
    """Return the stages that can no longer follow the one before them."""
    found: list[journal.Entry] = []
    stages: dict[str, Stage] = {}
    marks = [(body.at_ms, one, body) for one, body in left if isinstance(body, journal.StageSet)]
    for _, one, body in sorted(marks, key=lambda mark: mark[0]):
        if not may_follow(stages.get(body.piece, Stage.RAW), body.stage):
            found.append(one)
        else:
            stages[body.piece] = body.stage
    return found
