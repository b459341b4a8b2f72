"""From raw numbers and references to unit, scale and offset.

A device writes its value in steps: raw * scale + add, in some unit. Only customary steps are
tried, since two true values lie on a line of any bytes.
The lists of steps and offsets, and what each costs, are common practice, no source.
"""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from typing import NamedTuple

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
_WORST_COST = 2.0


class LinearScale(NamedTuple):
    """Value = raw * ``scale`` + ``add``, in ``unit``.

    Attributes:
        cost: What speaks against it; 0 is the most customary and a perfect fit.
    """

    unit: str
    scale: Decimal
    add: Decimal
    cost: float

    def base(self, raw: float) -> float:
        """Return a raw number's value in the base unit, degC or g."""
        value = raw * float(self.scale) + float(self.add)
        slope, offset, _ = next(units[self.unit] for units in _UNITS.values() if self.unit in units)
        return value * slope + offset

    def raw(self, base: float) -> float:
        """Return the raw number of a value in the base unit; not yet rounded."""
        slope, offset, _ = next(units[self.unit] for units in _UNITS.values() if self.unit in units)
        return ((base - offset) / slope - float(self.add)) / float(self.scale)


def usual_scales(
    points: Sequence[tuple[float, float]], quantity: Quantity, within: float
) -> list[LinearScale]:
    """Return every customary scale that meets every reference.

    Args:
        points: Raw numbers beside references, degC or g.
        within: How far a value may lie from its reference.
    """
    if not points:
        return []
    return [
        scale
        for unit in _UNITS[quantity]
        for step in _SCALES
        if (scale := _usual(points, quantity, unit, step, within)) is not None
    ]


def _usual(
    points: Sequence[tuple[float, float]], quantity: Quantity, unit: str, step: str, within: float
) -> LinearScale | None:
    slope, offset, unit_cost = _UNITS[quantity][unit]
    factor = float(step) * slope
    rest = [reference - offset - raw * factor for raw, reference in points]
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
    return LinearScale(unit, Decimal(step), Decimal(add), cost)
