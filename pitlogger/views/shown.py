"""How values are shown to one person: their units, the node's clock, words for times."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import datetime

from pitlogger.clock import ms_of
from pitlogger.model import quantities
from pitlogger.rules.messages import Units
from pitlogger.safety.record import LogRow
from pitlogger.views.language import date, day, figure

TEMPERATURE_UNITS = ("F", "C")
MASS_UNITS = ("lb-oz", "lb", "kg", "g")
UNITS_COOKIE = "units"
MINUS = "\N{MINUS SIGN}"


def temperature(milli_c: int | float, unit: str = "F", digits: int = 0) -> str:
    """Return a temperature with its unit, as its readers write numbers."""
    return figure(quantities.show_temperature(milli_c, unit, digits)).replace("-", MINUS)


def mass(mass_mg: int | float, unit: str = "lb-oz") -> str:
    """Return a mass with its unit, as its readers write numbers."""
    return figure(quantities.show_mass(mass_mg, unit)).replace("-", MINUS)


def percent(share: float, digits: int = 1) -> str:
    """Return a share as a percentage."""
    return figure(quantities.show_share(share, digits)).replace("-", MINUS)


def chance(p: float) -> str:
    """Return a probability; nothing that is guessed is certain."""
    return "> 99.9 %" if p >= 0.9995 else "< 0.1 %" if p < 0.0005 else percent(p)


_UTC = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(?:\.\d+)?Z")
_FAHRENHEIT = re.compile(r"(?<![\w.])(-?\d+(?:\.\d+)?) F\b")


def in_unit(text: str, unit: str) -> str:
    """Return a text whose temperatures are in F with them in a reader's unit."""
    if unit == "F":
        return text
    return _FAHRENHEIT.sub(
        lambda found: quantities.show_temperature(
            quantities.milli_c_from_fahrenheit(float(found[1])), unit, 1
        ),
        text,
    )


def reworded(text: str, unit: str, moment: Callable[[int], datetime]) -> str:
    """Return the reason of a verdict as a person reads it: their unit, the time of the place.

    Verdicts speak F and UTC, so that they say the same wherever they are computed.

    Args:
        moment: The time of the place of a time, milliseconds.
    """

    def local(found: re.Match[str]) -> str:
        at = moment(ms_of(datetime.fromisoformat(found[0])))
        return f"{at:%Y-%m-%d %H:%M} {at.isoformat()[-6:]}"

    return _UTC.sub(local, in_unit(text, unit))


def reworded_rows(
    rows: Iterable[LogRow], unit: str, moment: Callable[[int], datetime]
) -> list[LogRow]:
    """Return rows of the food log as a person reads them."""

    def said(text: str) -> str:
        return reworded(text, unit, moment)

    return [
        replace(row, value=said(row.value), limit=said(row.limit), note=said(row.note))
        for row in rows
    ]


def units_chosen(cookies: Mapping[str, str], node: Units) -> Units:
    """Return the units a person chose on this phone, else those of the node."""
    temperature, _, mass = cookies.get(UNITS_COOKIE, "").partition(".")
    return Units(
        temperature if temperature in TEMPERATURE_UNITS else node.temperature,
        mass if mass in MASS_UNITS else node.mass,
    )


@dataclass(frozen=True, slots=True)
class Shown:
    """Shows values in one person's units at one moment.

    Attributes:
        now_ms: Engine time now; ``utc_offset_ms`` added to it is wall time.
    """

    units: Units
    now_ms: int
    utc_offset_ms: int = 0

    def degrees(self, milli_c: int | float, digits: int = 0) -> str:
        """Return a temperature without its unit."""
        value = quantities.fahrenheit(milli_c) if self.units.temperature == "F" else milli_c / 1000
        return figure(f"{value:.{digits}f}").replace("-", MINUS)

    def temperature(self, milli_c: int | float, digits: int = 0) -> str:
        return temperature(milli_c, self.units.temperature, digits)

    def step(self, milli_k: int | float) -> float:
        """Return a temperature difference in the person's unit."""
        return milli_k * 0.0018 if self.units.temperature == "F" else milli_k / 1000

    def mass(self, mass_mg: int | float) -> str:
        return mass(mass_mg, self.units.mass)

    def mass_g(self, mass_g: float | None) -> str:
        return "" if mass_g is None else self.mass(round(mass_g * 1000))

    def mass_scale(self) -> tuple[str, float]:
        """Return the unit of a mass axis and grams in one of it."""
        unit = "lb" if self.units.mass in ("lb-oz", "lb") else self.units.mass
        return unit, float(quantities.MG_PER[unit]) / 1000

    def moment(self, engine_ms: int) -> datetime:
        """Return the node's local time of a moment."""
        return self.of_utc(engine_ms + self.utc_offset_ms)

    @staticmethod
    def of_utc(utc_ms: int) -> datetime:
        """Return the local time of a moment of the wall clock."""
        return datetime.fromtimestamp(utc_ms / 1000).astimezone()

    def clock(self, engine_ms: int) -> str:
        """Return the time of day, with the weekday where it is another day."""
        return self.when(self.moment(engine_ms))

    def when(self, at: datetime) -> str:
        """Return a local time as a clock, with its day where that is another one."""
        now = self.moment(self.now_ms)
        if at.date() == now.date():
            return at.strftime("%H:%M")
        if abs((at.date() - now.date()).days) < 7:
            return f"{day(at)} {at:%H:%M}"
        return f"{date(at, with_year=at.year != now.year)} {at:%H:%M}"

    def offset_min(self) -> int:
        """Return how far the node's clock lies east of UTC now, in minutes."""
        offset = self.moment(self.now_ms).utcoffset()
        return 0 if offset is None else round(offset.total_seconds() / 60)

    def iso(self, engine_ms: int) -> str:
        return self.moment(engine_ms).isoformat(timespec="seconds")

    def since(self, engine_ms: int) -> str:
        """Return how long ago a moment was, without the word ago."""
        return quantities.show_duration(max(0, self.now_ms - engine_ms))

    @staticmethod
    def duration(ms: int | float) -> str:
        return quantities.show_duration(ms)
