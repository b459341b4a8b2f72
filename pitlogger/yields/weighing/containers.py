"""Help at the scale: which container was put down, by its mass. Nothing here decides."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Container:
    """A pan, tray or board of known mass; ``u_g`` is the standard uncertainty of it."""

    id: str
    mass_g: float
    u_g: float = 2.0


def recognise(
    mass_g: float, library: Iterable[Container], interval_g: float = 5.0
) -> Container | None:
    """Return the container that a steady mass is, or ``None`` if none or two fit.

    A container fits within two standard uncertainties and one scale interval.
    """
    fitting = [
        container
        for container in library
        if abs(container.mass_g - mass_g) <= 2.0 * container.u_g + interval_g
    ]
    return fitting[0] if len(fitting) == 1 else None


def forgotten(rise_g: float, library: Iterable[Container], interval_g: float = 5.0) -> str | None:
    """Return the id of the container whose mass explains a rise that cannot be."""
    found = recognise(rise_g, library, interval_g)
    return found.id if found else None
