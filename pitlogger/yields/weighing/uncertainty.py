"""Masses with their uncertainty, and what becomes of it when they are combined.

A ``Measured`` keeps, beside its value, the share each independent source of error has in
it: sensitivity times standard uncertainty, signed. Combining values adds the shares of a
common source before squaring, so a tare read once for two weighings, or a span error of
the one scale used throughout, is treated as the correlated thing it is.

Source: JCGM 100:2008 (GUM): 5.1.2 (combination by sensitivity coefficients), 5.2
(correlated inputs), F.2.2.1 (a display of interval d has u = d/(2*sqrt(3)), written 0.29 d).
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

_SQRT12 = math.sqrt(12.0)


@dataclass(frozen=True, slots=True)
class Measured:
    """A value and the signed share of each error source in it, all in one unit."""

    value: float
    parts: Mapping[str, float] = field(default_factory=dict)

    @property
    def u(self) -> float:
        """Standard uncertainty (coverage factor 1)."""
        return math.hypot(*self.parts.values()) if self.parts else 0.0

    def __add__(self, other: Measured) -> Measured:
        return _linear((self, 1.0), (other, 1.0))

    def __sub__(self, other: Measured) -> Measured:
        return _linear((self, 1.0), (other, -1.0))

    def __truediv__(self, other: Measured) -> Measured:
        ratio = self.value / other.value
        combined = _linear((self, 1.0 / other.value), (other, -ratio / other.value))
        return Measured(ratio, combined.parts)

    def scaled(self, factor: float) -> Measured:
        """Return it times an exactly known factor."""
        return _linear((self, factor))


def _linear(*terms: tuple[Measured, float]) -> Measured:
    parts: dict[str, float] = {}
    for term, factor in terms:
        for source, share in term.parts.items():
            parts[source] = parts.get(source, 0.0) + factor * share
    return Measured(sum(term.value * factor for term, factor in terms), parts)


def total(masses: Iterable[Measured]) -> Measured:
    """Return the sum; of nothing it is an exact zero."""
    return _linear(*((mass, 1.0) for mass in masses))


@dataclass(frozen=True, slots=True)
class KnownScale:
    """What is known of a scale.

    Attributes:
        id: One id for one scale: its span error is common to all it weighs.
        interval_g: Scale interval d, grams. 5 g is common practice, no source.
        repeatability_g: Standard deviation of repeated readings, grams; 0 where it does
            not show beside the interval.
        span: Standard uncertainty of the calibration factor, relative. The default takes
            the limit of two intervals at two thousand intervals, 0.1 % of the load, as
            rectangular (SI/98-81, limits of error in service, class III; GUM 4.3.7).
    """

    id: str = "scale"
    interval_g: float = 5.0
    repeatability_g: float = 0.0
    span: float = 0.001 / math.sqrt(3.0)

    @property
    def u_reading_g(self) -> float:
        """Standard uncertainty of one reading, grams."""
        return math.hypot(self.interval_g / _SQRT12, self.repeatability_g)


def net_mass(
    gross_g: float,
    tare_g: float = 0.0,
    *,
    scale: KnownScale,
    reading: str,
    tare: str | None = None,
    u_tare_g: float | None = None,
) -> Measured:
    """Return gross less tare, grams, with its uncertainty.

    Args:
        gross_g: Load as read, grams.
        tare_g: Container as read or as looked up, grams.
        scale: The scale that was read.
        reading: Name of this reading, its own for each.
        tare: Name of the tare reading; the same name for a tare kept for several
            weighings. ``None`` where the net mass was given as one figure.
        u_tare_g: Standard uncertainty of a preset tare, where it was not read here.
    """
    net_g = gross_g - tare_g
    parts = {f"reading/{reading}": scale.u_reading_g, f"span/{scale.id}": scale.span * net_g}
    if tare is not None:
        parts[f"tare/{tare}"] = -(scale.u_reading_g if u_tare_g is None else u_tare_g)
    return Measured(net_g, parts)
