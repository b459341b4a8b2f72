"""Which piece goes on which pit, and how much earlier, where all at once do not fit.

An exact constraint model (OR-Tools CP-SAT, extra ``pitlogger[schedule]``) in steps of five
minutes: each piece is loaded at its latest time or earlier, pieces on one pit never need more
area than it has, and the sum of what they come early, which they then wait in the hold, is the
least possible; of equals, the one that lights fewer pits.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from importlib import import_module
from itertools import pairwise
from math import ceil, floor
from typing import Any

from pitlogger.yields.timing.grate import Lying

STEP_H = 1.0 / 12.0
LONGEST_S = 3.0
_EVEN = 1e-6  # what is on a step but for rounding stays on it


@dataclass(frozen=True, slots=True)
class Spread:
    """Where each piece lies and how many hours earlier it is loaded; ``proven`` best or not."""

    pits: Mapping[str, str]
    earlier_h: Mapping[str, float]
    proven: bool


def is_installed() -> bool:
    """Return whether the extra is there."""
    try:
        import_module("ortools")
    except ImportError:
        return False
    return True


def spread(
    pieces: Sequence[Lying], pits: Mapping[str, float], most_earlier_h: float
) -> Spread | None:
    """Return the assignment, or ``None`` if there is none (or none was found in three seconds).

    Args:
        pieces: What has to lie where, at the latest when.
        pits: Grate area of each pit, cm2.
        most_earlier_h: How many hours before its latest time a piece may be loaded.

    Raises:
        ImportError: The extra is not installed.
    """
    cp_model = import_module("ortools.sat.python.cp_model")
    model = cp_model.CpModel()
    most = int(most_earlier_h / STEP_H)
    earlier = {one.piece: model.new_int_var(0, most, "") for one in pieces}
    lies: dict[tuple[str, str], Any] = {}
    for pit, area_cm2 in pits.items():
        intervals, areas = [], []
        for one in pieces:
            on, off = floor(one.on_h / STEP_H + _EVEN), ceil(one.off_h / STEP_H - _EVEN)
            here = lies[one.piece, pit] = model.new_bool_var("")
            start = on - earlier[one.piece]
            intervals.append(
                model.new_optional_fixed_size_interval_var(start, max(1, off - on), here, "")
            )
            areas.append(round(one.area_cm2 * 10))
            if one.pit not in (None, pit):
                model.add(here == 0)
        model.add_cumulative(intervals, areas, int(area_cm2 * 10))
    for first, twin in _twins(pieces):  # alike: which of them comes first is all the same
        model.add(earlier[first] >= earlier[twin])
    for one in pieces:
        model.add_exactly_one(lies[one.piece, pit] for pit in pits)
    lit = {pit: model.new_bool_var("") for pit in pits}
    for (_, pit), here in lies.items():
        model.add_implication(here, lit[pit])
    model.minimize(sum(earlier.values()) * (len(pits) + 1) + sum(lit.values()))
    solver = cp_model.CpSolver()
    solver.parameters.max_time_in_seconds = LONGEST_S
    solver.parameters.num_workers = 1  # the same question has the same answer
    status = solver.solve(model)
    if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
        return None
    return Spread(
        {piece: pit for (piece, pit), here in lies.items() if solver.value(here)},
        {piece: solver.value(steps) * STEP_H for piece, steps in earlier.items()},
        status == cp_model.OPTIMAL,
    )


def _twins(pieces: Sequence[Lying]) -> Iterator[tuple[str, str]]:
    """Yield neighbours among the pieces that differ in name alone."""
    groups: dict[Lying, list[str]] = {}
    for one in pieces:
        groups.setdefault(replace(one, piece=""), []).append(one.piece)
    for names in groups.values():
        yield from pairwise(names)
