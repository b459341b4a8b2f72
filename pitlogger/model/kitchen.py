"""How long the work in a kitchen takes; the figures and their sources are in the policy."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, get_args

Work = Literal["trim", "light-up", "rest", "carve", "thaw-per-kg"]
WORKS: tuple[Work, ...] = get_args(Work)  # in the order of the fields


@dataclass(frozen=True, slots=True)
class KitchenTimes:
    """Times of work, milliseconds.

    Attributes:
        trim_ms: To trim and season.
        light_up_ms: From lighting the fire to a steady pit.
        rest_ms: The least a large cut rests before it is carved.
        carve_ms: To carve and set out.
        thaw_ms_per_kg: To thaw in a refrigerator.
    """

    trim_ms: int
    light_up_ms: int
    rest_ms: int
    carve_ms: int
    thaw_ms_per_kg: int
