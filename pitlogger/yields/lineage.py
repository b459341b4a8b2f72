"""Pieces that split (flat and point) and merge (pulled together): one account for the whole.

The parent of a split is carried on by the sum of its children, a merged piece begins with
the sum of its parents. Only checkpoints that every one of them has are summed. Where both
sides of the seam were weighed at the same checkpoint, what is missing between them is named
``unaccounted``.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from pitlogger.yields.causes import CHAIN
from pitlogger.yields.records import PastPiece
from pitlogger.yields.weighing.uncertainty import Measured, total


@dataclass(frozen=True, slots=True)
class Seam:
    """Both sides of a split or merge, weighed at one checkpoint; grams."""

    at: str
    before_g: Measured
    after_g: Mapping[str, Measured]

    @property
    def kept_g(self) -> Measured:
        return total(self.after_g.values())

    @property
    def unaccounted_g(self) -> Measured:
        return self.before_g - self.kept_g


@dataclass(frozen=True, slots=True)
class LineageMasses:
    """A piece with the masses of its children or parents, and the seam if it was weighed."""

    record: PastPiece
    seam: Seam | None = None


def gather(record: PastPiece, cook: Sequence[PastPiece]) -> LineageMasses:
    """Return the piece as the whole it stands for, within the pieces of its cook."""
    if not record.children and not record.parents:
        return LineageMasses(record)
    by_id = {piece.piece: piece for piece in cook}
    children = [
        by_id[child]
        for child in record.children
        if child in by_id and by_id[child].parents == (record.piece,)
    ]
    if children:
        return _joined(record, [record], [gather(child, cook).record for child in children])
    parents = [by_id[parent] for parent in record.parents if parent in by_id]
    if len(record.parents) > 1 and len(parents) == len(record.parents):
        return _joined(record, parents, [record])
    return LineageMasses(record)


def is_whole(record: PastPiece, cook: Sequence[PastPiece]) -> bool:
    """Return whether the piece stands for itself: no split child, no parent merged away."""
    if not record.children and not record.parents:
        return True  # a cook of a sheet may have thousands
    by_id = {piece.piece: piece for piece in cook}
    if len(record.parents) == 1 and record.parents[0] in by_id:
        return False
    return not any(child in by_id and len(by_id[child].parents) > 1 for child in record.children)


def _joined(
    record: PastPiece, before: Sequence[PastPiece], after: Sequence[PastPiece]
) -> LineageMasses:
    earlier, later = _summed(before), _summed(after)
    masses = {**later, **earlier}
    for name in (*earlier, *later):
        if name not in CHAIN:
            masses[name] = total(side[name] for side in (earlier, later) if name in side)
    first = next((checkpoint for checkpoint in CHAIN if checkpoint in later), None)
    seam = None
    if first is not None and first in earlier:
        parts = {piece.piece: piece.masses[first] for piece in after}
        seam = Seam(first, earlier[first], parts)
    teaches = all(piece.teaches for piece in (*before, *after))
    drops = tuple(drop for piece in (*before, *after) for drop in piece.drops)
    why = "; ".join(filter(None, (piece.discarded_why for piece in (*before, *after))))
    whole = replace(record, masses=masses, teaches=teaches, drops=drops, discarded_why=why)
    return LineageMasses(whole, seam)


def _summed(pieces: Sequence[PastPiece]) -> dict[str, Measured]:
    """Sum checkpoints that all pieces have, by-products and added masses that any has."""
    names = dict.fromkeys(name for piece in pieces for name in piece.masses)
    return {
        name: total(_having(pieces, name))
        for name in names
        if name not in CHAIN or all(name in piece.masses for piece in pieces)
    }


def _having(pieces: Iterable[PastPiece], name: str) -> Iterable[Measured]:
    return (piece.masses[name] for piece in pieces if name in piece.masses)
