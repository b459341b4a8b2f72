"""Quantities: what people write, what the engine keeps, what is shown.

Kept inside as integers: milligrams, milli-degrees Celsius, milliseconds. Converted only
at the edges. Factors: international avoirdupois pound, 1 lb = 453.592 37 g exactly, 1 oz
= 1/16 lb (NIST Special Publication 811, appendix B); t/C = (t/F - 32)/1.8 (same).
"""

from __future__ import annotations

import re
from decimal import ROUND_HALF_EVEN, Decimal, InvalidOperation
from enum import StrEnum

from pitlogger.errors import QuantityError


class Quantity(StrEnum):
    """What a channel measures; the value is the name used in captures and exports."""

    TEMPERATURE = "temperature"
    MASS = "mass"
    HUMIDITY = "humidity"
    BATTERY = "battery"
    SIGNAL = "signal"
    PRESSURE = "pressure"
    VOLTAGE = "voltage"
    BUTTON = "button"
    CODE = "code"  # text that was scanned


MG_PER: dict[str, Decimal] = {
    "mg": Decimal(1),
    "g": Decimal(1000),
    "kg": Decimal(1_000_000),
    "oz": Decimal("28349.523125"),
    "lb": Decimal("453592.37"),
}
MOST_MG = 10**11  # 100 t: more is a slip of the finger, and some sum could not be kept
_MASS_WORDS = {
    **dict.fromkeys(("mg", "milligram", "milligrams"), "mg"),
    **dict.fromkeys(("g", "gram", "grams", "gr"), "g"),
    **dict.fromkeys(("kg", "kgs", "kilo", "kilos", "kilogram", "kilograms"), "kg"),
    **dict.fromkeys(("oz", "ozs", "ounce", "ounces"), "oz"),
    **dict.fromkeys(("lb", "lbs", "pound", "pounds"), "lb"),
}
_NUMBER = r"\d+(?:\.\d+)?|\.\d+"
_MASS_PART = re.compile(rf"\s*({_NUMBER})\s*([A-Za-z]+)\.?\s*")
_TEMPERATURE = re.compile(rf"\s*([+-]?(?:{_NUMBER}))\s*(?:°|deg(?:rees)?\s*)?\s*([CFcf]|[Cc]el)\s*")
_DURATION_PART = re.compile(rf"\s*({_NUMBER})\s*([A-Za-z]+)\s*")
_LENGTH = re.compile(rf"\s*({_NUMBER})\s*(mm|cm|m|in|inch|inches)\s*", re.IGNORECASE)
_MS_PER = {
    **dict.fromkeys(("s", "sec", "secs", "second", "seconds"), 1000),
    **dict.fromkeys(("m", "min", "mins", "minute", "minutes"), 60000),
    **dict.fromkeys(("h", "hr", "hrs", "hour", "hours"), 3600000),
    **dict.fromkeys(("d", "day", "days"), 86400000),
}
_MM_PER = {"mm": "1", "cm": "10", "m": "1000", "in": "25.4", "inch": "25.4", "inches": "25.4"}


def parse_mass_mg(text: str) -> int:
    """Return a written mass in milligrams.

    Accepts one number with its unit, or pounds and ounces together: ``6.1kg``,
    ``450 g``, ``13 lb 7 oz``.

    Raises:
        QuantityError: No unit, an unknown one, a negative mass, or text left over.
    """
    shown = text.strip()
    parts = _split(shown, _MASS_PART)
    if not parts:
        raise QuantityError(f"'{shown}' is not a mass: {_mass_fault(shown)}")
    total = Decimal(0)
    units = []
    for number, word in parts:
        unit = _MASS_WORDS.get(word.casefold())
        if unit is None:
            raise QuantityError(
                f"'{shown}' has the unknown mass unit '{word}': use kg, g, mg, lb or oz"
            )
        units.append(unit)
        total += Decimal(number) * MG_PER[unit]
    if len(units) > 1 and units not in (["lb", "oz"], ["kg", "g"]):
        raise QuantityError(
            f"'{shown}' is not one mass: only lb with oz, or kg with g, go together"
        )
    if units == ["lb", "oz"] and Decimal(parts[1][0]) >= 16:
        raise QuantityError(f"'{shown}' has 16 oz or more beside its pounds: 16 oz are 1 lb")
    if total > MOST_MG:
        raise QuantityError(f"'{shown}' is more than 100 t: see the number and its unit")
    return int(total.to_integral_value(ROUND_HALF_EVEN))


def _split(text: str, part: re.Pattern[str]) -> list[tuple[str, str]]:
    """Return the (number, unit) pairs that fill the text wholly, else an empty list."""
    found: list[tuple[str, str]] = []
    at = 0
    while at < len(text):
        match = part.match(text, at)
        if match is None:
            return []
        found.append((match[1], match[2]))
        at = match.end()
    return found


def _mass_fault(text: str) -> str:
    hint = "write a number with its unit, such as 13 lb 7 oz, 6.1 kg or 450 g"
    if re.fullmatch(r"-\s*[\d.]+.*", text):
        return f"a mass is zero or more; {hint}"
    if re.fullmatch(r"[\d.]+", text):
        return f"it has no unit; {hint}"
    if "," in text:
        return f"use a point for decimals and no thousands mark; {hint}"
    return hint


def parse_temperature_mc(text: str) -> int:
    """Return a written temperature in milli-degrees Celsius.

    Accepts a number with C or F: ``203F``, ``95 C``, ``95.5 °C``.

    Raises:
        QuantityError: No unit, an unknown one, or below absolute zero.
    """
    match = _TEMPERATURE.fullmatch(text)
    if match is None:
        reason = (
            "it has no unit" if re.fullmatch(r"\s*[+-]?[\d.]+\s*", text) else "it cannot be read"
        )
        raise QuantityError(
            f"'{text.strip()}' is not a temperature: {reason}; "
            "write a number with C or F, such as 203F or 95 C"
        )
    number = Decimal(match[1])
    celsius = number if match[2].casefold() in ("c", "cel") else (number - 32) / Decimal("1.8")
    if celsius < Decimal("-273.15"):
        raise QuantityError(f"'{text.strip()}' lies below absolute zero (-273.15 C)")
    return int((celsius * 1000).to_integral_value(ROUND_HALF_EVEN))


def parse_temperature_step_mc(text: str) -> int:
    """Return a written temperature *difference* in milli-kelvin: ``2 F`` is 1111."""
    match = _TEMPERATURE.fullmatch(text)
    if match is None:
        raise QuantityError(
            f"'{text.strip()}' is not a temperature step: write one such as 2F or 1 C"
        )
    number = Decimal(match[1])
    step = number if match[2].casefold() in ("c", "cel") else number / Decimal("1.8")
    return int((step * 1000).to_integral_value(ROUND_HALF_EVEN))


def parse_duration_ms(text: str) -> int:
    """Return a written duration in milliseconds: ``45 min``, ``1h 30m``, ``90 s``."""
    shown = text.strip()
    parts = _split(shown, _DURATION_PART)
    total = Decimal(0)
    for number, word in parts:
        factor = _MS_PER.get(word.casefold())
        if factor is None:
            raise QuantityError(f"'{shown}' has the unknown time unit '{word}': use s, min, h or d")
        total += Decimal(number) * factor
    if not parts:
        raise QuantityError(
            f"'{shown}' is not a duration: write one such as 45 min, 1 h 30 min or 90 s"
        )
    return int(total)


def parse_length_mm(text: str) -> float:
    """Return a written length in millimetres: ``7 cm``, ``2.75 in``."""
    match = _LENGTH.fullmatch(text)
    if match is None:
        raise QuantityError(
            f"'{text.strip()}' is not a length: write one such as 7 cm, 70 mm or 2.75 in"
        )
    return float(Decimal(match[1]) * Decimal(_MM_PER[match[2].casefold()]))


def parse_decimal(text: str, what: str) -> Decimal:
    """Return a plain decimal number; ``what`` names it in the error."""
    try:
        value = Decimal(text.strip())
    except InvalidOperation:
        raise QuantityError(f"'{text.strip()}' is not a number ({what})") from None
    if not value.is_finite():
        raise QuantityError(f"'{text.strip()}' is not a finite number ({what})")
    return value


def fahrenheit(milli_c: int | float) -> float:
    """Return degrees Fahrenheit for milli-degrees Celsius."""
    return milli_c * 0.0018 + 32.0


def milli_c_from_fahrenheit(value_f: float) -> int:
    """Return milli-degrees Celsius for degrees Fahrenheit."""
    return round((value_f - 32.0) / 0.0018)


def show_temperature(milli_c: int | float, unit: str = "F", digits: int = 0) -> str:
    """Return a temperature for people; ``unit`` is ``F`` or ``C``."""
    value = fahrenheit(milli_c) if unit == "F" else milli_c / 1000
    return f"{value:z.{digits}f} {unit}"


SHOWN_MASSES = ("lb-oz", "lb", "oz", "kg", "g")


def show_mass(mass_mg: int | float, unit: str = "lb-oz") -> str:
    """Return a mass for people; ``unit`` is ``lb-oz``, ``lb``, ``oz``, ``kg`` or ``g``."""
    if unit == "lb-oz":
        tenths = round(abs(mass_mg) / float(MG_PER["oz"]) * 10)
        pounds, tenths_oz = divmod(tenths, 160)
        sign = "-" if mass_mg < 0 else ""
        ounces = f"{tenths_oz / 10:g} oz"
        return f"{sign}{pounds} lb {ounces}" if pounds else f"{sign}{ounces}"
    digits = {"kg": 3, "g": 0, "lb": 2, "oz": 1}[unit]
    return f"{mass_mg / float(MG_PER[unit]):.{digits}f} {unit}"


def show_share(share: float, digits: int = 0) -> str:
    """Return a fraction for people: ``0.48`` as ``48 %``."""
    return f"{100 * share:.{digits}f} %"


def show_chance(p: float) -> str:
    """Return a probability for people; nothing that is guessed is certain."""
    return "over 99 %" if p > 0.99 else "under 1 %" if p < 0.01 else show_share(p)


def show_duration(ms: int | float) -> str:
    """Return a duration for people: ``1 h 40 min``, ``25 min``, ``40 s``."""
    seconds = round(abs(ms) / 1000)
    if seconds < 60:
        return f"{seconds} s"
    hours, minutes = divmod(round(seconds / 60), 60)
    if not hours:
        return f"{minutes} min"
    return f"{hours} h {minutes} min" if minutes else f"{hours} h"
