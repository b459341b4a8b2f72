"""Are k pieces enough? Probability, expected mass and what is left over.

What is not known of the kitchen's mean yield, and the day the pieces share, weigh on all
pieces alike and do not average out; what differs from piece to piece does. So the shared
deviation and the spread are integrated over numerically, and given them the pieces are
independent: the cumulants of mass times yield add up, and an Edgeworth series gives the
distribution of the sum less the demand. No random numbers, so the same question has the
same answer.

The arithmetic is in ``supply_grid``, which is loaded when the first question is asked: what
only names these types starts without NumPy.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from functools import partial
from typing import TYPE_CHECKING

from pitlogger.yields.learned.kitchen import Part
from pitlogger.yields.purchase.demand import Demand
from pitlogger.yields.purchase.masses import Enough, PieceMass

if TYPE_CHECKING:
    from pitlogger.yields.purchase.supply_grid import Cumulants, Supply


def supply(parts: Sequence[Part]) -> Supply:
    """Return the grid for beliefs about the logit of the yield.

    Args:
        parts: Proper ones (see ``Belief.is_proper``), their weights adding up to 1.
    """
    from pitlogger.yields.purchase.supply_grid import make_supply

    return make_supply(parts)


def first_k(
    grid: Supply, pieces: Iterable[PieceMass], wanted: Demand, fixed_g: float = 0.0
) -> Iterator[Enough]:
    """Yield what the first 1, 2, 3, ... pieces give against a demand.

    Args:
        grid: From ``supply``.
        pieces: Masses the yield applies to, in the order they would be taken.
        wanted: What is asked for.
        fixed_g: Servable mass that is there already.
    """
    from pitlogger.yields.purchase.supply_grid import judge

    for k, mass, sd_g in _summed(grid, pieces):
        yield judge(k, grid.weight, mass, wanted, fixed_g, sd_g())


def enough(
    grid: Supply, pieces: Sequence[PieceMass], wanted: Demand, fixed_g: float = 0.0
) -> Enough:
    """Return what all these pieces give against a demand; none at all is allowed."""
    from pitlogger.yields.purchase.supply_grid import judge

    if not pieces:
        return _nothing(wanted, fixed_g)
    *_, (k, mass, sd_g) = _summed(grid, pieces)
    return judge(k, grid.weight, mass, wanted, fixed_g, sd_g())


def _summed(
    grid: Supply, pieces: Iterable[PieceMass]
) -> Iterator[tuple[int, Cumulants, Callable[[], float]]]:
    """Yield k, the mass of the first k pieces and what tells its typical deviation, grams."""
    from pitlogger.yields.purchase.supply_grid import Cumulants, deviation

    typical = grid.typical or grid
    summed, summed_typical = Cumulants.none(grid), Cumulants.none(typical)
    last: PieceMass | None = None
    for k, piece in enumerate(pieces, 1):
        if piece != last:
            one, one_typical = Cumulants.of_piece(grid, piece), Cumulants.of_piece(typical, piece)
        last = piece
        summed, summed_typical = summed + one, summed_typical + one_typical
        yield k, summed, partial(deviation, typical.weight, summed_typical)


def _nothing(wanted: Demand, fixed_g: float) -> Enough:
    margin = fixed_g - wanted.mean_g
    return Enough(0, 1.0 if margin >= 0 else 0.0, fixed_g, 0.0, max(0.0, margin))
