"""What a value of a unit can be at all: the check of decoders whose layout sets no bound."""

from __future__ import annotations

from decimal import Decimal

from pitlogger.devices.contract import Measurement
from pitlogger.devices.framing import Outcome
from pitlogger.errors import OutOfRangeError
from pitlogger.model.quantities import Quantity

HIGHEST = Decimal(10) ** 9  # ours: no scale or thermometer says more
_BOUNDS = {
    "Cel": (Decimal("-273.15"), HIGHEST),  # absolute zero
    "degF": (Decimal("-459.67"), HIGHEST),
    "%RH": (Decimal(0), Decimal(100)),
    "%EL": (Decimal(0), Decimal(100)),
}
_ANY = (-HIGHEST, HIGHEST)


def measured(
    channel: str, quantity: Quantity, value: Decimal, unit: str, stable: bool | None = None
) -> Outcome:
    """Return a good measurement, or the error of a value its unit cannot have.

    The decimal becomes the nearest float, so it prints as it was sent; minus zero becomes zero.
    """
    low, high = _BOUNDS.get(unit, _ANY)
    if not value.is_finite() or not low <= value <= high:
        return OutOfRangeError(f"{channel} of {value} {unit}: expected {low} to {high}")
    return Measurement(channel, quantity, float(value) + 0.0, unit, stable=stable)
