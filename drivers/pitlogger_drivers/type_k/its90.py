"""Thermo-electric voltage of a type K thermocouple after ITS-90, and its inverse.

E(t) = sum c_i t^i in mV for -270 to 0 degC, and sum c_i t^i + a0 exp(a1 (t - a2)^2) for 0 to
1372 degC. The inverse is found by Newton's steps on E itself: the published inverse
polynomials are off by up to 0.06 degC.

Source: NIST ITS-90 thermocouple database, type K reference functions.
"""

from __future__ import annotations

from bisect import bisect_right
from math import exp

LOW_C, HIGH_C = -270.0, 1372.0
_BELOW = (
    0.0, 0.039450128025, 2.3622373598e-05, -3.2858906784e-07, -4.9904828777e-09,
    -6.7509059173e-11, -5.7410327428e-13, -3.1088872894e-15, -1.0451609365e-17,
    -1.9889266878e-20, -1.6322697486e-23,
)  # fmt: skip
_ABOVE = (
    -0.017600413686, 0.038921204975, 1.8558770032e-05, -9.9457592874e-08, 3.1840945719e-10,
    -5.6072844889e-13, 5.6075059059e-16, -3.2020720003e-19, 9.7151147152e-23,
    -1.2104721275e-26,
)  # fmt: skip
_A0, _A1, _A2 = 0.1185976, -0.0001183432, 126.9686
_KNOTS_C: tuple[float, ...] = (
    *(-270.0 + 10 * step for step in range(28)),
    *range(50, 1372, 50),
    1372.0,
)


def voltage_mv(t_c: float) -> float:
    """Return the voltage in mV at ``t_c`` with the reference junction at 0 degC.

    Raises:
        ValueError: Outside -270 to 1372 degC.
    """
    if not LOW_C <= t_c <= HIGH_C:
        raise ValueError(f"{t_c} degC lies outside {LOW_C:g} to {HIGH_C:g}")
    return _voltage_and_slope(t_c)[0]


def temperature_c(voltage: float) -> float:
    """Return the temperature in degC for a voltage in mV, reference junction at 0 degC.

    Raises:
        ValueError: Outside ``LOWEST_MV`` to ``HIGHEST_MV``.
    """
    if not LOWEST_MV <= voltage <= HIGHEST_MV:
        raise ValueError(f"{voltage} mV lies outside {LOWEST_MV:.3f} to {HIGHEST_MV:.3f}")
    at = min(bisect_right(_KNOTS_MV, voltage), len(_KNOTS_MV) - 1)
    low_c, high_c = _KNOTS_C[at - 1], _KNOTS_C[at]
    low_mv, high_mv = _KNOTS_MV[at - 1], _KNOTS_MV[at]
    t_c = low_c + (high_c - low_c) * (voltage - low_mv) / (high_mv - low_mv)
    for _ in range(4):  # two reach 1e-6 above -200; the flat end near -270 wants more
        value, slope = _voltage_and_slope(t_c)
        t_c = min(max(t_c - (value - voltage) / slope, low_c), high_c)
    return t_c


def _voltage_and_slope(t_c: float) -> tuple[float, float]:
    """Return mV and mV per degC, both by one pass of Horner's scheme."""
    value = slope = 0.0
    for coefficient in reversed(_BELOW if t_c < 0 else _ABOVE):
        slope = slope * t_c + value
        value = value * t_c + coefficient
    if t_c >= 0:
        bump = _A0 * exp(_A1 * (t_c - _A2) ** 2)
        value += bump
        slope += 2 * _A1 * (t_c - _A2) * bump
    return value, slope


_KNOTS_MV: tuple[float, ...] = tuple(_voltage_and_slope(t_c)[0] for t_c in _KNOTS_C)
LOWEST_MV, HIGHEST_MV = _KNOTS_MV[0], _KNOTS_MV[-1]
