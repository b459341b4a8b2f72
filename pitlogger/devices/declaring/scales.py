"""From raw numbers and references to unit, scale and offset.

A device writes its value in steps: raw * scale + add, in some unit. Customary steps are tried
first, since they fit with few moments; a straight line through any points is the last resort.
The lists of steps and offsets, and what each costs, are common practice, no source.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from decimal import Decimal
from typing import NamedTuple

from pitlogger.devices.declaring.moments import LEAST
from pitlogger.model.quantities import Quantity

_UNITS: dict[Quantity, dict[str, tuple[float, float, float]]] = {  # slope, offset to base; cost
    Quantity.TEMPERATURE: {"Cel": (1.0, 0.0, 0.0), "degF": (1 / 1.8, -32 / 1.8, 0.5)},
    Quantity.MASS: {
        "g": (1.0, 0.0, 0.0),
        "kg": (1000.0, 0.0, 0.3),
        "lb": (453.59237, 0.0, 0.5),
        "oz": (28.349523125, 0.0, 0.5),
    },
}
_SCALES = {
    **dict.fromkeys(("1", "0.1", "0.01"), 0.0),
    **dict.fromkeys(("0.001", "0.5"), 0.3),
    **dict.fromkeys(("0.25", "0.0625", "0.05", "0.02", "0.2", "0.005", "2", "5", "10"), 0.8),
    **dict.fromkeys(("0.125", "0.03125", "0.0078125", "0.00390625", "0.002", "0.0001"), 1.2),
}
_ADDS = {"Cel": ("0", "-40", "-50", "-100", "-273.15"), "degF": ("0", "-40", "-58", "-459.67")}
_ADD_COST = 1.0
_LINE_COST = 4.0
_LINE_POINTS = 5  # fewer points lie on some line of some bytes by chance
_WORST_COST = 2.0


class LinearScale(NamedTuple):
    """Value = raw * ``scale`` + ``add``, in ``unit``.

    Attributes:
        worst: Largest difference from a reference, in the base unit.
        cost: What speaks against it; 0 is the most customary and a perfect fit.
        is_usual: Whether step and offset are customary.
    """

    unit: str
    scale: Decimal
    add: Decimal
    worst: float
    cost: float
    is_usual: bool

    def base(self, raw: float) -> float:
        """Return a raw number's value in the base unit, degC or g."""
        value = raw * float(self.scale) + float(self.add)
        slope, offset, _ = next(units[self.unit] for units in _UNITS.values() if self.unit in units)
        return value * slope + offset

    def raw(self, base: float) -> float:
        """Return the raw number of a value in the base unit; not yet rounded."""
        slope, offset, _ = next(units[self.unit] for units in _UNITS.values() if self.unit in units)
        return ((base - offset) / slope - float(self.add)) / float(self.scale)


class Points:
    """Raw numbers beside references: of each moment the lowest and the highest.

    Both must meet the reference, so that a number which merely passes by is no match.
    """

    __slots__ = ("pairs", "references")

    def __init__(self) -> None:
        self.pairs: list[tuple[float, float]] = []
        self.references: list[float] = []

    def add(self, raws: Sequence[float], reference: float) -> None:
        """Take the raw numbers of one moment; none are no moment."""
        if raws:
            self.references.append(reference)
            self.pairs += [(raw, reference) for raw in {min(raws), max(raws)}]

    @property
    def tell(self) -> bool:
        """Whether they are enough and differ in both ways."""
        return (
            len(self.references) >= LEAST
            and max(self.references) > min(self.references)
            and len({raw for raw, _ in self.pairs}) > 1
        )


def best_scale(points: Points, quantity: Quantity, within: float) -> LinearScale | None:
    """Return the least costly scale that meets every reference, or ``None``.

    Args:
        within: Largest difference that still counts as meeting a reference, degC or g.
    """
    if not points.tell:
        return None
    found = usual_scales(points, quantity, within)
    if not found:
        return straight_line(points, quantity, within)
    return min(found, key=lambda scale: scale.cost)


def usual_scales(points: Points, quantity: Quantity, within: float) -> list[LinearScale]:
    """Return every customary scale that meets every reference."""
    if not points.pairs:
        return []
    return [
        scale
        for unit in _UNITS[quantity]
        for step in _SCALES
        if (scale := _usual(points, quantity, unit, step, within)) is not None
    ]


def _usual(
    points: Points, quantity: Quantity, unit: str, step: str, within: float
) -> LinearScale | None:
    slope, offset, unit_cost = _UNITS[quantity][unit]
    factor = float(step) * slope
    rest = [reference - offset - raw * factor for raw, reference in points.pairs]
    if max(rest) - min(rest) > 2 * within:
        return None
    middle = (max(rest) + min(rest)) / 2
    adds = _ADDS.get(unit, ("0",))
    add = min(adds, key=lambda one: abs(middle - float(one) * slope))
    worst = max(abs(one - float(add) * slope) for one in rest)
    if worst > within:
        return None
    cost = unit_cost + _SCALES[step] + (_ADD_COST if add != "0" else 0.0)
    cost += _WORST_COST * worst / within
    return LinearScale(unit, Decimal(step), Decimal(add), worst, cost, True)


def straight_line(points: Points, quantity: Quantity, within: float) -> LinearScale | None:
    """Return the line of least squares where it meets every one of several references."""
    if len(points.references) < _LINE_POINTS:
        return None
    count = len(points.pairs)
    mean_raw = sum(raw for raw, _ in points.pairs) / count
    mean_reference = sum(reference for _, reference in points.pairs) / count
    spread = sum((raw - mean_raw) ** 2 for raw, _ in points.pairs)
    together = sum((raw - mean_raw) * (ref - mean_reference) for raw, ref in points.pairs)
    slope = together / spread if spread else 0.0
    if not slope or not math.isfinite(slope):
        return None
    step, add = Decimal(f"{slope:.6g}"), Decimal(f"{mean_reference - slope * mean_raw:.6g}")
    line = LinearScale(next(iter(_UNITS[quantity])), step, add, 0.0, 0.0, False)
    worst = max(abs(line.base(raw) - reference) for raw, reference in points.pairs)
    if not worst <= within:
        return None
    return line._replace(worst=worst, cost=_LINE_COST + _WORST_COST * worst / within)
