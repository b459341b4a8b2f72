"""Masses of pieces to come, and what so many of them give."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Enough:
    """What the first k pieces give; masses in grams.

    ``sd_g`` is the standard deviation at the estimated spread, which exists from two cooks
    on; ``p_enough`` also has that the spread itself is only estimated.
    """

    pieces: int
    p_enough: float
    expected_g: float
    sd_g: float
    leftover_g: float


@dataclass(frozen=True, slots=True)
class PieceMass:
    """Raw mass of a piece to come: mean and standard deviation; 0 for one weighed. Grams."""

    mean_g: float
    sd_g: float = 0.0
