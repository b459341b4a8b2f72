"""A piece as the yields room sees it: what it weighed, where, and what was done to it.

Records come from the book of a cook, from a paper log or from weights typed on a command
line; ledger, learning and plan read nothing else.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from typing import TYPE_CHECKING

from pitlogger.model.cooks import CUTS, Checkpoint
from pitlogger.yields.plausible import implausible_masses
from pitlogger.yields.weighing.uncertainty import KnownScale, Measured, net_mass

if TYPE_CHECKING:
    from pitlogger.formats.paper_log import PaperRow
    from pitlogger.formats.written_mass import WrittenMass


@dataclass(frozen=True, slots=True)
class EntryDoubt:
    """Something that looks wrong and is asked, never refused."""

    doubt: str
    message: str
    piece: str = ""
    checkpoint: str = ""


@dataclass(frozen=True, slots=True)
class PastPiece:
    """One piece, or a batch of ``count``, with its net masses in grams by weighing.

    ``masses`` has checkpoints, by-products and added masses by name; one that was not
    weighed is absent. ``guests`` were booked and ``came``; ``left_g`` of the whole meal was left
    over; ``tender`` is the mark of this piece, 1 to 5. ``teaches``: whether anything is learned
    from it; not where a person excluded it, nor while a mass is in doubt.
    """

    piece: str
    cut: str = "other"
    cook: str = ""
    date: str = ""
    count: int = 1
    masses: Mapping[str, Measured] = field(default_factory=dict)
    wrap: str | None = None
    pull_at_mc: int | None = None
    supplier: str | None = None
    grade: str | None = None
    pit: str | None = None
    price_per_kg: Decimal | None = None
    guests: int | None = None
    came: int | None = None
    left_g: float | None = None
    tender: int | None = None
    notes: str = ""
    parents: tuple[str, ...] = ()
    children: tuple[str, ...] = ()
    doubts: tuple[EntryDoubt, ...] = ()
    teaches: bool = True
    discarded_g: Measured | None = None  # what was thrown away of it, where that is the end of it
    # A part thrown away while the rest went on: the checkpoint weighed next, "" if none, and mass.
    drops: tuple[tuple[str, Measured], ...] = ()
    discarded_why: str = ""

    @property
    def family(self) -> str:
        return CUTS[self.cut]


@dataclass(frozen=True, slots=True)
class ListedHistory:
    """A history that is simply a list."""

    listed: tuple[PastPiece, ...] = ()

    def pieces(self) -> Sequence[PastPiece]:
        return self.listed


def from_weights(weights: Mapping[str, WrittenMass], cut: str = "other") -> PastPiece:
    """Return the record of one piece from weights as written.

    All are taken as read from one scale, but the billed mass, which the packer weighed.
    """
    masses = {name: _written(name, mass) for name, mass in weights.items()}
    return PastPiece("piece-1", cut, masses=masses)


def _written(name: str, mass: WrittenMass) -> Measured:
    owner = "packer" if name == Checkpoint.LABEL else "scale"
    scale = KnownScale(owner, interval_g=mass.interval_mg / 1000)
    return net_mass(mass.mass_mg / 1000, scale=scale, reading=name)


def from_paper(rows: Iterable[PaperRow]) -> ListedHistory:
    """Return the history that the rows of a paper log amount to."""
    return ListedHistory(tuple(map(_from_row, rows)))


def _from_row(row: PaperRow) -> PastPiece:
    masses_g = {name: mass.mass_mg / 1000 for name, mass in row.masses.items()}
    return PastPiece(
        row.piece,
        row.cut,
        cook=row.cook or row.date or f"line {row.line}",
        date=row.date,
        count=row.count,
        masses={name: _written(name, mass) for name, mass in row.masses.items()},
        wrap=row.wrap,
        pull_at_mc=row.pull_at_mc,
        supplier=row.supplier,
        grade=row.grade,
        pit=row.pit,
        price_per_kg=row.price_per_kg,
        guests=row.guests,
        came=row.came,
        left_g=None if row.left_mg is None else row.left_mg / 1000,
        tender=row.tender,
        notes=row.notes,
        teaches=not any(implausible_masses(row.cut, row.count, masses_g)),
    )
