"""Vet: is a reading believable?

Refused values are kept with their quality; nothing is clamped. Ranges and rates are ours,
chosen wide: a core between deep frost and a broiled steak, a pit up to a grease fire, and
one jump that no piece of meat and no sheathed probe makes within a second.
"""

from __future__ import annotations

from pitlogger.model.quantities import Quantity
from pitlogger.model.readings import Quality, Site

_RANGE_MC: dict[Site, tuple[int, int]] = {
    Site.CORE: (-40_000, 150_000),
    Site.SURFACE: (-40_000, 350_000),
    Site.PIT: (-40_000, 600_000),
}
_RANGE: dict[Quantity, tuple[int, int]] = {
    Quantity.TEMPERATURE: (-60_000, 600_000),
    Quantity.MASS: (-200_000_000, 600_000_000),
    Quantity.HUMIDITY: (0, 100_000),
    Quantity.BATTERY: (0, 100_000),
}
_UNBOUNDED = (-(1 << 62), 1 << 62)

JUMP_MC = 15_000  # a step between two readings that passes whatever the time between
JUMP_MC_PER_S = 500


def bounds(quantity: Quantity | None, site: Site) -> tuple[int, int]:
    """Return the lowest and highest believable value in milli-units."""
    if quantity is Quantity.TEMPERATURE and site in _RANGE_MC:
        return _RANGE_MC[site]
    return _UNBOUNDED if quantity is None else _RANGE.get(quantity, _UNBOUNDED)


def vet_jump(value: int, last: int, suspect: int | None, gap_ms: int) -> Quality:
    """Return whether a temperature that jumped is believable.

    A lone spike is ``too-fast``. The same jump seen twice running is real: a probe was
    moved or put in.

    Args:
        value: This reading, milli-degC.
        last: The last believable one.
        suspect: The reading just refused as too fast, ``None`` if none was.
        gap_ms: Time since the last believable reading.
    """
    allowed = JUMP_MC + JUMP_MC_PER_S * gap_ms // 1000
    if abs(value - last) <= allowed:
        return Quality.GOOD
    if suspect is not None and abs(value - suspect) <= JUMP_MC:
        return Quality.GOOD
    return Quality.TOO_FAST
