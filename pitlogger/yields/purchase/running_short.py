"""Will what is on the pit do? Asked in mid-cook, of pieces that are each at a stage of their own.

Pieces of one cut are judged at the last weighing that any of them has had; one that was
last weighed earlier is taken to there by what its cut usually keeps of that step, with the
spread of that step. Cuts share nothing with each other. What was carved is there already.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache, reduce
from math import exp, fsum, sqrt
from typing import TYPE_CHECKING

from pitlogger.model.cooks import Checkpoint
from pitlogger.yields.causes import PLACE
from pitlogger.yields.learned.servable import Learned, Observed, learn, whole_pieces
from pitlogger.yields.learned.step_learning import learn_steps, step_prior
from pitlogger.yields.purchase.demand import Demand
from pitlogger.yields.purchase.masses import PieceMass
from pitlogger.yields.purchase.rescue import OtherCourse, Shortfall, judge_shortfall
from pitlogger.yields.purchase.sufficiency import supply
from pitlogger.yields.records import PastPiece

if TYPE_CHECKING:
    from pitlogger.yields.purchase.supply_grid import Mixture, Supply

_CARVED = PLACE[Checkpoint.CARVED]
_DIFFER = 0.10  # how much pieces of a cut differ in mass: common practice, no source


@dataclass(frozen=True, slots=True)
class CutOnTheWay:
    """The pieces of one cut that are not carved yet, as masses at one checkpoint."""

    learned: Learned
    pieces: tuple[PieceMass, ...]

    @property
    def another(self) -> PieceMass:
        """One more like these."""
        mean_g = fsum(piece.mean_g for piece in self.pieces) / len(self.pieces)
        return PieceMass(mean_g, _DIFFER * mean_g)


def running_short(
    pieces: Sequence[PastPiece],
    wanted: Demand,
    observed: Sequence[Observed] = (),
    risk: float = 0.05,
    light_by: str | None = "",
) -> Shortfall:
    """Judge whether the pieces of a cook will do, and what still helps if not.

    Args:
        pieces: The pieces of the cook (``books.from_book``), what was discarded left out. One
            without any mass counts as nothing; give a planned one as ``purchased``.
        wanted: Servable mass asked for.
        observed: Past pieces (``learning.observations``); none for the prior alone.
        risk: Accepted probability of running short, strictly between 0 and 1.
        light_by: When another piece has to be lit, as shown to people; empty where it is
            unknown, ``None`` where it is too late for one.
    """
    whole = [gathered.record for gathered in whole_pieces(pieces)]
    there_g = fsum(mass for piece in whole if (mass := _carved_g(piece)) is not None)
    left = [piece for piece in whole if _carved_g(piece) is None and _last(piece) is not None]
    cuts = [
        on_the_way([piece for piece in left if piece.cut == cut], observed)
        for cut in dict.fromkeys(piece.cut for piece in left)
    ]
    grids = [supply(cut.learned.parts) for cut in cuts]

    @cache
    def mixed_of(keeps: float, another: bool) -> Mixture:
        parts = [
            _mixture(grid, cut, keeps, another=another and k == 0)
            for k, (grid, cut) in enumerate(zip(grids, cuts, strict=True))
        ]
        return reduce(lambda one, other: one.and_apart(other), parts)

    def chance(change: OtherCourse) -> float:
        from pitlogger.yields.purchase.supply_grid import judge

        fixed_g = there_g + change.more_g
        if not cuts:
            return 1.0 if fixed_g >= change.wanted.mean_g else 0.0
        mixed = mixed_of(change.keeps, change.another)
        return judge(len(left), mixed.weight, mixed.mass, change.wanted, fixed_g, 0.0).p_enough

    return judge_shortfall(chance, wanted, risk, light_by if cuts else None)


def on_the_way(pieces: Sequence[PastPiece], observed: Sequence[Observed]) -> CutOnTheWay:
    """Return pieces of one cut, weighed before carving, as masses at their last weighing."""
    cut = pieces[0].cut
    last = {piece.piece: _last(piece) or "" for piece in pieces}
    at = max(last.values(), key=lambda checkpoint: PLACE[checkpoint])
    masses = [_taken_to(at, piece, last[piece.piece], observed) for piece in pieces]
    return CutOnTheWay(learn(cut, observed, start=at), tuple(masses))


def _carved_g(piece: PastPiece) -> float | None:
    mass = piece.masses.get(Checkpoint.CARVED)
    return None if mass is None else mass.value


def _last(piece: PastPiece) -> str | None:
    """Return the last weighing before carving, ``None`` if there was none."""
    before = [name for name in piece.masses if name in PLACE and PLACE[name] < _CARVED]
    return max(before, key=lambda name: PLACE[name], default=None)


def _taken_to(at: str, piece: PastPiece, since: str, observed: Sequence[Observed]) -> PieceMass:
    mass_g = piece.masses[since].value
    if since == at:
        return PieceMass(mass_g)
    own = (one.record for one in observed if one.record.cut == piece.cut)
    steps = (step for step in learn_steps(own) if (step.start, step.end) == (since, at))
    belief = next((step.belief for step in steps), step_prior(since, at))
    mean_g = mass_g * exp(belief.mean)
    return PieceMass(mean_g, mean_g * belief.spread * sqrt(1.0 + 1.0 / belief.kappa))


def _mixture(grid: Supply, cut: CutOnTheWay, keeps: float, *, another: bool) -> Mixture:
    from pitlogger.yields.purchase.supply_grid import Cumulants, Mixture

    pieces = [PieceMass(piece.mean_g * keeps, piece.sd_g) for piece in cut.pieces]
    summed = Cumulants.none(grid)
    for piece in (*pieces, *([cut.another] if another else [])):
        summed = summed + Cumulants.of_piece(grid, piece)
    return Mixture(grid.weight, summed)
