"""Columns of a line: their names, quantities and units, from a header or from a person.

A person writes ``ms,pit:Cel,core:Cel,bench:kg``: one entry a column, a name and its unit; a
clock column or ``-`` is passed over. A header names units by suffix: ``pit_c``, ``core (F)``,
``mass_g``, ``humidity_pct``. A unit that is nowhere given stays empty: it is never guessed.
"""

from __future__ import annotations

import re
from typing import NamedTuple

from pitlogger.errors import ConfigError, unknown
from pitlogger.model.quantities import Quantity


class ChannelColumn(NamedTuple):
    """One column that holds a channel."""

    channel: str
    quantity: Quantity
    unit: str


QUANTITY_OF = {
    "Cel": Quantity.TEMPERATURE,
    "degF": Quantity.TEMPERATURE,
    "%RH": Quantity.HUMIDITY,
    "%EL": Quantity.BATTERY,
    **dict.fromkeys(("kg", "g", "mg", "lb", "oz"), Quantity.MASS),
    "V": Quantity.VOLTAGE,
    "Pa": Quantity.PRESSURE,
    "dBm": Quantity.SIGNAL,
}
_SUFFIX = {
    **dict.fromkeys(("c", "degc", "cel", "celsius"), "Cel"),
    **dict.fromkeys(("f", "degf", "fahrenheit"), "degF"),
    **dict.fromkeys(("lb", "lbs"), "lb"),
    **dict.fromkeys(("rh", "%rh"), "%RH"),
    "kg": "kg", "g": "g", "mg": "mg", "oz": "oz", "v": "V", "pa": "Pa", "dbm": "dBm",
}  # fmt: skip
_CLOCK = re.compile(
    r"(t_|time_?|up_?time_?)?(ms|s|sec|seconds|millis|milliseconds)|time|uptime|timestamp|seq|-",
    re.IGNORECASE,
)
_SUFFIXED = re.compile(r"(.*?[^\s_(\[])(?:[\s_]+|[\s_]*[(\[])([A-Za-z%]+)[)\]]?", re.DOTALL)
_WORDS = (
    (re.compile(r"weight|mass|scale|load|^w\d*$", re.IGNORECASE), Quantity.MASS),
    (re.compile(r"hum|rh", re.IGNORECASE), Quantity.HUMIDITY),
    (re.compile(r"batt", re.IGNORECASE), Quantity.BATTERY),
    (re.compile(r"volt", re.IGNORECASE), Quantity.VOLTAGE),
)


def named(name: str) -> ChannelColumn | None:
    """Return the column a header's word means; ``None`` for a clock."""
    name = name.strip().strip('"').strip()
    if _CLOCK.fullmatch(name):
        return None
    match = _SUFFIXED.fullmatch(name)
    suffix = match[2].casefold() if match else ""
    if match and suffix in ("pct", "percent", "%"):
        is_battery = _quantity(match[1]) is Quantity.BATTERY
        return _column(match[1], "%EL" if is_battery else "%RH")
    if match and suffix in _SUFFIX:
        return _column(match[1], _SUFFIX[suffix])
    return ChannelColumn(name, _quantity(name), "")


def parse_map(text: str) -> tuple[ChannelColumn | None, ...] | None:
    """Return the columns a person wrote, or ``None`` for an empty text.

    Raises:
        ConfigError: An entry without a unit, or with an unknown one.
    """
    if not text:
        return None
    return tuple(_entry(entry.strip()) for entry in text.split(","))


def _entry(entry: str) -> ChannelColumn | None:
    if _CLOCK.fullmatch(entry):
        return None
    name, _, unit = entry.partition(":")
    if not name or not unit:
        raise ConfigError(f"column '{entry}': expected NAME:UNIT, as in pit:Cel, or ms or -")
    return _column(name, known_unit(unit))


def known_unit(unit: str) -> str:
    """Return the unit if it is one that measurements have.

    Raises:
        ConfigError: It is not.
    """
    if unit not in QUANTITY_OF:
        raise ConfigError(unknown("unit", unit, QUANTITY_OF))
    return unit


def _column(name: str, unit: str) -> ChannelColumn:
    return ChannelColumn(name.strip(), QUANTITY_OF[unit], unit)


def _quantity(name: str) -> Quantity:
    """Return what a name without a unit speaks of; a probe unless it says otherwise."""
    return next((found for words, found in _WORDS if words.search(name)), Quantity.TEMPERATURE)
