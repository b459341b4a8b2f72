"""Checks of thermometers: ice point, boiling point, offsets between and what a failure taints.

Sources: ice point and immersion, Food Code training text and USDA FSIS (32 F, read when
steady, 30 s or more); standard atmosphere with g 9.80665, M 0.0289644, R 8.31432 and
6.5 K/km; saturation line IAPWS-IF97 region 4; tolerances FDA Food Code 4-203.11, 4-203.12.
"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from pitlogger.errors import QuantityError
from pitlogger.safety.policy import Policy, StepLimit

Sensor = Literal["food", "air"]
Unit = Literal["C", "F"]
STANDARD_PA = 101_325.0
_ALTITUDE_M = (-500.0, 9000.0)
_PRESSURE_PA = (30_000.0, 110_000.0)
_SATURATION_PA = (611.213, 22.064e6)  # IAPWS-IF97 region 4, 273.15 K to the critical point
_IF97 = (
    1167.0521452767, -724213.16703206, -17.073846940092, 12020.82470247, -3232555.0322333,
    14.91510861353, -4823.2657361591, 405113.40542057, -0.23855557567849, 650.17534844798,
)  # fmt: skip
_NUMBER = r"([+-]?(?:\d+(?:\.\d+)?|\.\d+))"
_ALTITUDE = re.compile(rf"\s*{_NUMBER}\s*(m|km|ft|feet)\s*", re.IGNORECASE)
_PRESSURE = re.compile(rf"\s*{_NUMBER}\s*(hPa|kPa|Pa|mbar|bar|inHg|mmHg)\s*", re.IGNORECASE)
_M_PER = {"m": 1.0, "km": 1000.0, "ft": 0.3048, "feet": 0.3048}
# inHg and mmHg: conventional values, NIST Special Publication 811 appendix B.
_PA_PER = {
    "pa": 1.0, "hpa": 100.0, "mbar": 100.0, "kpa": 1000.0, "bar": 100_000.0,
    "inhg": 3386.389, "mmhg": 133.322_4,
}  # fmt: skip


def parse_altitude_m(text: str) -> float:
    """Return a written altitude in metres: ``240 m``, ``5280 ft``.

    Raises:
        QuantityError: No unit, or outside -500 to 9000 m.
    """
    match = _ALTITUDE.fullmatch(text)
    if match is None:
        message = f"'{text}' is not an altitude: write one such as 240 m or 5280 ft"
        raise QuantityError(message, "altitude")
    altitude_m = float(match[1]) * _M_PER[match[2].casefold()]
    low, high = _ALTITUDE_M
    if not low <= altitude_m <= high:
        message = f"'{text}' is not an altitude between {low:g} and {high:g} m"
        raise QuantityError(message, "altitude")
    return altitude_m


def parse_pressure_pa(text: str) -> float:
    """Return a written station pressure in pascal: ``985 hPa``, ``29.1 inHg``.

    Raises:
        QuantityError: No unit, or outside 300 to 1100 hPa.
    """
    match = _PRESSURE.fullmatch(text)
    if match is None:
        raise QuantityError(f"'{text}' is not a pressure: write one such as 985 hPa or 29.1 inHg")
    pressure_pa = float(match[1]) * _PA_PER[match[2].casefold()]
    low, high = _PRESSURE_PA
    if not low <= pressure_pa <= high:
        raise QuantityError(
            f"'{text}' is not an air pressure between {low / 100:g} and {high / 100:g} hPa"
        )
    return pressure_pa


def standard_pressure_pa(altitude_m: float) -> float:
    """Return the pressure of the standard atmosphere at an altitude."""
    return float(STANDARD_PA * (1 - 0.0065 * altitude_m / 288.15) ** 5.25588)


def boiling_point_c(pressure_pa: float) -> float:
    """Return the boiling point of water at a pressure (IAPWS-IF97 region 4, equation 31).

    Raises:
        QuantityError: Outside 611.213 Pa to 22.064 MPa.
    """
    if not _SATURATION_PA[0] <= pressure_pa <= _SATURATION_PA[1]:
        raise QuantityError(f"{pressure_pa:g} Pa is outside the saturation line of water")
    n1, n2, n3, n4, n5, n6, n7, n8, n9, n10 = _IF97
    beta = (pressure_pa / 1e6) ** 0.25
    e = beta**2 + n3 * beta + n6
    f = n1 * beta**2 + n4 * beta + n7
    g = n2 * beta**2 + n5 * beta + n8
    d = 2 * g / (-f - math.sqrt(f * f - 4 * e * g))
    kelvin = (n10 + d - math.sqrt((n10 + d) ** 2 - 4 * (n9 + n10 * d))) / 2
    return float(kelvin - 273.15)


@dataclass(frozen=True, slots=True)
class ProbeCheck:
    """What a check of a thermometer found; ``offset_mc`` is what to add from now on."""

    kind: Literal["ice", "boil"]
    expected_mc: int
    reading_mc: int
    tolerance_mc: int
    source: str
    pressure_pa: float | None = None
    altitude_m: float | None = None

    @property
    def error_mc(self) -> int:
        return self.reading_mc - self.expected_mc

    @property
    def offset_mc(self) -> int:
        return -self.error_mc

    @property
    def reference(self) -> str:
        """What the reading was held against, with sources."""
        if self.kind == "ice":
            return f"melting point of ice, 0 C; tolerance: {self.source}"
        place = "station pressure" if self.altitude_m is None else "standard atmosphere"
        return f"{place} and IAPWS-IF97 region 4; tolerance: {self.source}"

    @property
    def is_within(self) -> bool:
        # A tolerance of 2 F is 1111 mC; a reading sent with two decimals may be 5 mC off.
        return abs(self.error_mc) <= self.tolerance_mc + 5


def tolerance(policy: Policy, sensor: Sensor = "food", unit: Unit = "F") -> StepLimit:
    """Return the accuracy asked of a thermometer; scaled in F only where ``unit`` is F."""
    if sensor == "food":
        return policy.food_probe_f if unit == "F" else policy.food_probe_c
    return policy.air_probe_f if unit == "F" else policy.air_probe_c


def ice_check(reading_mc: int, tolerance_mc: int, source: str) -> ProbeCheck:
    """Return the check of a reading in crushed ice filled with clean water, stirred."""
    return ProbeCheck("ice", 0, reading_mc, tolerance_mc, source)


def boil_check(
    reading_mc: int,
    tolerance_mc: int,
    source: str,
    *,
    altitude_m: float | None = None,
    pressure_pa: float | None = None,
    reference: str = "if97",
) -> ProbeCheck:
    """Return the check of a reading in water at a rolling boil.

    Args:
        reading_mc: What the thermometer showed, milli-degC.
        tolerance_mc: Accuracy asked of it, milli-kelvin.
        source: Where the tolerance comes from.
        altitude_m: Height above the sea; used where there is no pressure.
        pressure_pa: Station pressure, never the one corrected to the sea.
        reference: ``if97``, or ``nominal`` for 212 F at the standard pressure.

    Raises:
        QuantityError: Neither altitude nor pressure, or both.
    """
    if (altitude_m is None) == (pressure_pa is None):
        raise QuantityError("a boiling point needs an altitude or a station pressure, one of them")
    if pressure_pa is None:
        assert altitude_m is not None
        pressure = standard_pressure_pa(altitude_m)
    else:
        pressure = pressure_pa
    expected_c = boiling_point_c(pressure)
    if reference == "nominal":
        expected_c += 100.0 - boiling_point_c(STANDARD_PA)
    return ProbeCheck(
        "boil", round(expected_c * 1000), reading_mc, tolerance_mc, source, pressure, altitude_m
    )


def suspect_span(checks: Sequence[tuple[int, bool]]) -> tuple[int | None, int] | None:
    """Return from the last good check to the failed one that ends the list, or ``None``.

    Args:
        checks: (t_ms, within) in order of time. The start is ``None`` where no check before
            was good: then every reading of the thermometer is in doubt.
    """
    if not checks or checks[-1][1]:
        return None
    good = [t_ms for t_ms, is_within in checks if is_within]
    return (good[-1] if good else None), checks[-1][0]
