"""Thermistor given as a resistance or a converter count, with its constants.

    R              resistance, ohm
    adc, full, Rs  instead: count, count at full scale (4095), fixed resistor in ohm; the
                   thermistor lies on the low side: R = Rs adc / (full - adc)
    R25 (or R0, T0), beta   1/T = 1/T0 + ln(R/R0)/beta; T0 is 25 degC unless given
    a, b, c        instead: Steinhart-Hart, 1/T = a + b ln R + c (ln R)^3

Example: ``R=5739.89,R25=100k,beta=3950``: ln(0.0573989) = -2.85773, 1/T = 1/298.15 -
2.85773/3950 = 1/380.15 K, so 107.0 degC. With a count: ``adc=1493,Rs=10k,R25=100k,beta=3950``.

Within 20 counts of 4095 of either end the count is a fault: low is a short circuit, high an
open one. Below -50 or above 400 degC there is no value. The result is rounded to 0.001 degC.

Source: Steinhart and Hart, Deep-Sea Research 15 (1968), 497-503, for the equation; the beta
form is its two-constant case. The ends of the count and the bounds: common practice, no
source. One beta from 25 and 85 degC is off by degrees at 200 degC (from memory): use three points.
"""

from __future__ import annotations

from collections.abc import Mapping
from math import log

from pitlogger.devices.contract import Measurement
from pitlogger.devices.decoders import DecoderInfo
from pitlogger.devices.framing import FrameDecoder
from pitlogger.errors import MalformedError, OutOfRangeError
from pitlogger.model.quantities import Quantity
from pitlogger.model.readings import Quality
from pitlogger_drivers import named_numbers

ZERO_C_K = 273.15
_NAMES = {
    "r": "R", "adc": "adc", "full": "full", "rs": "Rs", "r0": "R0", "r25": "R25", "t0": "T0",
    "beta": "beta", "b25": "beta", "a": "a", "b": "b", "c": "c",
}  # fmt: skip
_MARGIN = 20 / 4095  # of full scale
_LOW_C, _HIGH_C = -50.0, 400.0


def decode(text: bytes) -> tuple[Measurement, ...]:
    """Return the temperature in ``Cel``, or no value for a short, an open or an absurd one.

    Raises:
        MalformedError: Numbers that are missing, contradict each other or are not positive.
    """
    given = named_numbers.parse(text, _NAMES)
    model = _model(given)
    if "adc" in given:
        _refuse(given, ("R",), "adc is given")
        quality = _end_of_scale(given)
        if quality is not None:
            return _measurement(None, quality)
        ohm = _divider(given)
    else:
        _refuse(given, ("full", "Rs"), "they belong to a count, adc")
        ohm = _positive(given, "R")
    try:
        value = model(ohm)
    except (OverflowError, ZeroDivisionError):
        return _measurement(None, Quality.OUT_OF_RANGE)
    if not _LOW_C <= value <= _HIGH_C:
        return _measurement(None, Quality.OUT_OF_RANGE)
    return _measurement(round(value, 3) + 0.0, Quality.GOOD)


class Beta:
    """Resistance to temperature by two constants: ``r0_ohm`` at ``t0_c``, and ``beta_k``."""

    __slots__ = ("_beta_k", "_inverse_t0", "_r0_ohm")

    def __init__(self, r0_ohm: float, beta_k: float, t0_c: float = 25.0) -> None:
        self._r0_ohm = r0_ohm
        self._beta_k = beta_k
        self._inverse_t0 = 1 / (t0_c + ZERO_C_K)

    def __call__(self, ohm: float) -> float:
        """Return degrees Celsius."""
        return 1 / (self._inverse_t0 + log(ohm / self._r0_ohm) / self._beta_k) - ZERO_C_K


class SteinhartHart:
    """Resistance to temperature by three constants."""

    __slots__ = ("a", "b", "c")

    def __init__(self, a: float, b: float, c: float) -> None:
        self.a, self.b, self.c = a, b, c

    def __call__(self, ohm: float) -> float:
        """Return degrees Celsius."""
        ln_r = log(ohm)
        return 1 / (self.a + self.b * ln_r + self.c * ln_r**3) - ZERO_C_K

    @classmethod
    def through(cls, *points: tuple[float, float]) -> SteinhartHart:
        """Return the curve through three points of (ohm, degC), in closed form.

        Raises:
            OutOfRangeError: Two points with one resistance or one temperature.
        """
        (l1, y1), (l2, y2), (l3, y3) = ((log(ohm), 1 / (t_c + ZERO_C_K)) for ohm, t_c in points)
        if len({l1, l2, l3}) < 3 or len({y1, y2, y3}) < 3 or not l1 + l2 + l3:
            raise OutOfRangeError("three points that differ in resistance and temperature: needed")
        g2, g3 = (y2 - y1) / (l2 - l1), (y3 - y1) / (l3 - l1)
        c = (g3 - g2) / (l3 - l2) / (l1 + l2 + l3)
        b = g2 - c * (l1 * l1 + l1 * l2 + l2 * l2)
        return cls(y1 - (b + l1 * l1 * c) * l1, b, c)


def _model(given: Mapping[str, float]) -> Beta | SteinhartHart:
    if "beta" in given:
        _refuse(given, ("a", "b", "c"), "they belong to Steinhart-Hart; beta is given")
        if "R25" in given:
            _refuse(given, ("R0", "T0"), "R25 is given")
            return Beta(_positive(given, "R25"), _positive(given, "beta"))
        t0_c = given.get("T0", 25.0)
        if t0_c <= -ZERO_C_K:
            raise MalformedError(f"T0 is {t0_c:g}: expected degrees above -273.15")
        return Beta(_positive(given, "R0"), _positive(given, "beta"), t0_c)
    missing = [name for name in ("a", "b", "c") if name not in given]
    if missing:
        raise MalformedError(
            "no constants: give R25 and beta, as in R25=100k,beta=3950, or a, b and c of "
            f"Steinhart-Hart (missing: {', '.join(missing)})"
        )
    _refuse(given, ("R0", "R25", "T0"), "they belong to beta; a, b, c are given")
    return SteinhartHart(given["a"], given["b"], given["c"])


def _end_of_scale(given: Mapping[str, float]) -> Quality | None:
    full = _full(given)
    if given["adc"] <= full * _MARGIN:
        return Quality.SHORTED
    return Quality.OPEN if given["adc"] >= full - full * _MARGIN else None


def _divider(given: Mapping[str, float]) -> float:
    return _positive(given, "Rs") * given["adc"] / (_full(given) - given["adc"])


def _full(given: Mapping[str, float]) -> float:
    full = given.get("full", 4095.0)
    if full <= 0 or not 0 <= given["adc"] <= full:
        raise MalformedError(f"adc is {given['adc']:g}: expected 0 to full ({full:g})")
    return full


def _positive(given: Mapping[str, float], name: str) -> float:
    if name not in given:
        raise MalformedError(f"{name} is missing, as in {name}=10000")
    if given[name] <= 0:
        raise MalformedError(f"{name} is {given[name]:g}: expected a number above 0")
    return given[name]


def _refuse(given: Mapping[str, float], names: tuple[str, ...], reason: str) -> None:
    found = [name for name in names if name in given]
    if found:
        raise MalformedError(f"{', '.join(found)} cannot be used: {reason}")


def _measurement(value: float | None, quality: Quality) -> tuple[Measurement, ...]:
    return (Measurement("temperature", Quantity.TEMPERATURE, value, "Cel", quality),)


DECODER = DecoderInfo(
    name="thermistor",
    summary="Thermistor as a resistance or converter count, beta or Steinhart-Hart",
    example="--text 'adc=1493,Rs=10k,R25=100k,beta=3950'",
    build=lambda _: FrameDecoder(decode),
)
