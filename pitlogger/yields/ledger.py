"""The ledger: steps, servable yield, loss by cause and what does not add up.

Every percentage names its denominator: ``servable_pct`` and the shares of loss are of the
purchased net mass; a step's ``ratio`` is of the mass at the step before. A checkpoint that
was not weighed is missing; no mass is ever interpolated.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

from pitlogger.model.cooks import ByProduct, Checkpoint
from pitlogger.yields.causes import CHAIN, losses, passes
from pitlogger.yields.doubts import doubts_of_cook
from pitlogger.yields.lineage import Seam, gather
from pitlogger.yields.records import EntryDoubt, PastPiece
from pitlogger.yields.weighing.uncertainty import Measured, total

# By-products that a step is checked against: together they should make up its loss.
_PARTS_OF_STEP = {
    "trimmed": (ByProduct.TRIM_FAT, ByProduct.TRIM_LEAN),
    "carved": (ByProduct.BONE, ByProduct.SKIN, ByProduct.TASTING, ByProduct.WASTE),
}


@dataclass(frozen=True, slots=True)
class LedgerStep:
    """The change between two weighings next to each other; grams."""

    start: str
    end: str
    from_g: Measured
    to_g: Measured

    @property
    def change_g(self) -> Measured:
        return self.to_g - self.from_g

    @property
    def ratio(self) -> Measured:
        return self.to_g / self.from_g


@dataclass(frozen=True, slots=True)
class Balance:
    """A step whose parts were weighed by themselves, and what they leave unexplained; grams."""

    step: str
    in_g: Measured
    out_g: Mapping[str, Measured]
    unaccounted_g: Measured


@dataclass(frozen=True, slots=True)
class Account:
    """What the ledger says of one piece."""

    record: PastPiece
    steps: tuple[LedgerStep, ...]
    purchased_g: Measured | None
    servable_g: Measured | None
    losses_g: Mapping[str, Measured]
    balances: tuple[Balance, ...]
    doubts: tuple[EntryDoubt, ...] = ()

    @property
    def servable_yield(self) -> Measured | None:
        """Servable net mass over purchased net mass, a fraction; ``None`` if either is missing."""
        if self.purchased_g is None or self.servable_g is None:
            return None
        return self.servable_g / self.purchased_g


def account(record: PastPiece, seam: Seam | None = None) -> Account:
    """Return the ledger of one piece by itself, without doubts.

    Args:
        record: The piece; where it split or merged, with the masses of the whole.
        seam: Both sides of the split or merge, where they were weighed.
    """
    masses = record.masses
    chain = [checkpoint for checkpoint in CHAIN if checkpoint in masses]
    steps = steps_of(masses)
    balances = list(_balances(steps, masses))
    missing = None
    if seam is not None:
        missing = (seam.at, seam.unaccounted_g)
        balances.append(Balance("split", seam.before_g, seam.after_g, seam.unaccounted_g))
    return Account(
        record,
        steps,
        purchased_g=masses.get(Checkpoint.PURCHASED),
        servable_g=servable(record, seam),
        losses_g=_with_the_end(losses(chain, masses, record.wrap, missing, record.drops), record),
        balances=tuple(balances),
    )


def _with_the_end(found: dict[str, Measured], record: PastPiece) -> dict[str, Measured]:
    """Return losses with what was thrown away where that was the end of the piece."""
    if record.discarded_g is None:
        return found
    parts = [found["discarded"]] if "discarded" in found else []
    return found | {"discarded": total([*parts, record.discarded_g])}


def discarded_g(record: PastPiece) -> float:
    """Return what was thrown away of a piece in all, grams."""
    end_g = 0.0 if record.discarded_g is None else record.discarded_g.value
    return math.fsum((end_g, *(mass.value for _, mass in record.drops)))


def dropped_after_g(record: PastPiece, checkpoint: str) -> float:
    """Return what was thrown away of a piece after it was weighed at a checkpoint, grams."""
    later = ("", *CHAIN[CHAIN.index(checkpoint) + 1 :])
    return math.fsum(mass.value for at, mass in record.drops if at in later)


def steps_of(masses: Mapping[str, Measured]) -> tuple[LedgerStep, ...]:
    """Return the steps between the checkpoints that were weighed."""
    chain = [checkpoint for checkpoint in CHAIN if checkpoint in masses]
    return tuple(
        LedgerStep(start, end, masses[start], masses[end]) for start, end in pairwise(chain)
    )


def servable(record: PastPiece, seam: Seam | None = None) -> Measured | None:
    """Return the carved, else rested net mass; ``None`` if neither was weighed, or none is left.

    What was discarded was served to nobody.
    """
    if record.discarded_g is not None:
        return None
    for checkpoint in (Checkpoint.CARVED, Checkpoint.RESTED):
        if seam is not None and seam.at == checkpoint:
            return seam.kept_g
        if checkpoint in record.masses:
            return record.masses[checkpoint]
    return None


def accounts(cook: Sequence[PastPiece]) -> list[Account]:
    """Return the ledger of the pieces of one cook, splits and merges closed, with doubts."""
    asked = doubts_of_cook(cook)
    made = []
    for record in cook:
        whole = gather(record, cook)
        doubts = record.doubts + tuple(d for d in asked if d.piece == record.piece)
        made.append(replace(account(whole.record, whole.seam), doubts=doubts))
    return made


def accounts_of_history(history: Iterable[PastPiece]) -> list[Account]:
    """Return the ledger of pieces of many cooks, each within its cook."""
    cooks: dict[str, list[PastPiece]] = {}
    for piece in history:
        cooks.setdefault(piece.cook, []).append(piece)
    return [one for cook in cooks.values() for one in accounts(cook)]


def _balances(steps: Iterable[LedgerStep], masses: Mapping[str, Measured]) -> Iterable[Balance]:
    for step in steps:
        for at, parts in _PARTS_OF_STEP.items():
            weighed = {part.value: masses[part] for part in parts if part in masses}
            if weighed and passes(step.start, step.end, at):
                out = {step.end: step.to_g, **weighed}
                yield Balance(at, step.from_g, out, step.from_g - total(out.values()))
