"""Readings: one value of one channel at one time, with its quality."""

from __future__ import annotations

from enum import StrEnum
from typing import NamedTuple

from pitlogger.model.quantities import Quantity


class Quality(StrEnum):
    """``good``, or the reason why a reading has no trustworthy value.

    In a capture a reading without a value carries its quality as ``"vs": "!open"``.
    """

    GOOD = "good"
    OPEN = "open"  # probe unplugged or broken wire
    SHORTED = "shorted"
    FAULT = "fault"  # the device says so, without saying which
    OVERLOAD = "overload"
    UNDERLOAD = "underload"
    NO_VALUE = "no-value"  # the device answers but has nothing to say
    OUT_OF_RANGE = "out-of-range"
    TOO_FAST = "too-fast"  # changed faster than meat or metal can
    STUCK = "stuck"
    STALE = "stale"
    POSSIBLY_STORED = "possibly-stored"  # first burst after a connect; may be old
    MALFORMED = "malformed"


# What the engine finds of a value that was delivered as good.
FOUND_BY_ENGINE = frozenset({Quality.OUT_OF_RANGE, Quality.TOO_FAST, Quality.STUCK})


class Site(StrEnum):
    """Where a channel sits."""

    PIT = "pit"
    CORE = "core"
    SURFACE = "surface"
    HOLD = "hold"
    TRANSPORT = "transport"
    LINE = "line"
    COLD = "cold"
    ROOM = "room"
    BENCH = "bench"  # the scale
    GRATE = "grate"  # a load cell under a grate or a pan
    SPOT = "spot"  # a hand probe's single reading
    NONE = "none"  # not assigned

    @property
    def usual_quantity(self) -> Quantity:
        """What a channel there measures where nobody says."""
        return Quantity.MASS if self in (Site.BENCH, Site.GRATE) else Quantity.TEMPERATURE


class Reading(NamedTuple):
    """One value of one channel. A tuple because tens of thousands a second are made.

    Attributes:
        channel: Channel id.
        t_ms: Engine milliseconds of receipt.
        value: Milli-units of the channel's quantity (milli-degC, mg, milli-percent), or
            ``None`` where there is no value; then ``quality`` says why.
        quality: ``good`` or the reason.
        stable: The scale's own word on steadiness; ``None`` where it gives none.
    """

    channel: str
    t_ms: int
    value: int | None
    quality: Quality = Quality.GOOD
    stable: bool | None = None


class Tagged(NamedTuple):
    """A reading after adjust, vet and tag: what is stored and shown.

    ``value`` is adjusted; ``raw`` is as delivered. A doubtful reading keeps its value.
    """

    channel: str
    t_ms: int
    raw: int | None
    value: int | None
    quality: Quality
    site: Site
    piece: str | None
    stable: bool | None = None


# SenML unit, and milli-units of the channel for one of it (RFC 8428, section 12.1).
SENML_UNIT: dict[Quantity, tuple[str, int]] = {
    Quantity.TEMPERATURE: ("Cel", 1000),
    Quantity.MASS: ("kg", 1_000_000),
    Quantity.HUMIDITY: ("%RH", 1000),
    Quantity.BATTERY: ("%EL", 1000),
    Quantity.SIGNAL: ("dBm", 1000),
    Quantity.PRESSURE: ("Pa", 1000),
    Quantity.VOLTAGE: ("V", 1000),
}
