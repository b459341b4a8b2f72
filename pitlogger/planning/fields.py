"""Fields as people fill them in, read into typed values; an error names its field."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import TypeVar

from pitlogger.clock import ms_of
from pitlogger.errors import FieldError, UsageError, nearest, unknown
from pitlogger.formats.money import amount, price_per_g
from pitlogger.model.cooks import CUTS
from pitlogger.model.quantities import parse_mass_mg
from pitlogger.yields.plausible import MOST_EATEN_G
from pitlogger.yields.purchase.masses import PieceMass
from pitlogger.yields.purchase.plan import PORTIONS_BY_COUNT

_COUNTED = re.compile(r"\s*(\d+)\s*([a-z]+?)s?\s*", re.IGNORECASE)
_HALVES = {"halve": "half", "halves": "half"}
Read = TypeVar("Read")


@dataclass(frozen=True, slots=True)
class Portion:
    """A portion by mass, grams, or by count of what a piece is cut into."""

    mass_g: float = 0.0
    count: int = 0
    word: str = ""


@dataclass(frozen=True, slots=True)
class Order:
    """How a cut is bought; masses in grams.

    Attributes:
        least_g, most_g: Range that a piece weighs, where the butcher says one.
        there_g: Pieces that were delivered and weighed; more are bought on top.
        case_pieces, case_g: Pieces in a case and its mass, where it is sold by the case.
        at_least_g: So much in all is bought at least.
    """

    least_g: float | None = None
    most_g: float | None = None
    there_g: tuple[float, ...] = ()
    case_pieces: int = 1
    case_g: float | None = None
    at_least_g: float = 0.0

    def piece(self) -> PieceMass | None:
        """Return the mass of a piece, ``None`` where nothing is said: even over the range."""
        if self.least_g is not None and self.most_g is not None:
            mean_g = 0.5 * (self.least_g + self.most_g)
            return PieceMass(mean_g, (self.most_g - self.least_g) / math.sqrt(12.0))
        if self.case_g is not None:
            return PieceMass(self.case_g / self.case_pieces, 0.08 * self.case_g / self.case_pieces)
        return None


@dataclass(frozen=True, slots=True)
class Dish:
    """One cut of a menu, the share of the meal it is, and its portion if it has its own."""

    cut: str
    share: float = 1.0
    portion: Portion | None = None
    order: Order = Order()


def read(field: str, reader: Callable[[str], Read], text: str) -> Read:
    """Return what a reader makes of a text; its fault names the field.

    Raises:
        FieldError: The text cannot be read.
    """
    try:
        return reader(text)
    except UsageError as fault:
        raise FieldError(field, str(fault)) from None


def grams(text: str, field: str, *, zero: bool = False) -> float:
    """Return a written mass in grams, above zero unless ``zero`` is allowed; 0 needs no unit."""
    if zero and re.fullmatch(r"\s*0(?:\.0*)?\s*", text):
        return 0.0
    mass_mg = read(field, parse_mass_mg, text)
    if mass_mg == 0 and not zero:
        raise FieldError(field, f"'{text}' is zero; expected a mass above zero")
    return mass_mg / 1000


def money(text: str, field: str) -> Decimal:
    """Return a written amount of money, zero or more."""
    return read(field, amount, text)


def price(text: str, field: str) -> Decimal:
    """Return a written price of meat, ``4.29/lb``, in money per gram."""
    return read(field, price_per_g, text)


def known_cut(text: str, field: str = "cut") -> str:
    """Return a known cut."""
    plain = text.strip().casefold().replace(" ", "-")
    if plain not in CUTS:
        raise FieldError(field, unknown("cut", text, CUTS))
    return plain


def moment_ms(text: str, field: str) -> int:
    """Return a written time, UTC milliseconds; without an offset it is this computer's time."""
    try:
        return ms_of(datetime.fromisoformat(text).astimezone())
    except (ValueError, OverflowError, OSError):
        raise FieldError(field, f"'{text}' is not a time; write 2026-09-19T18:00-05:00") from None


def portion(text: str, field: str = "portion") -> Portion:
    """Read ``5oz``, ``140 g``, ``3 bones`` or ``1 quarter``."""
    counted = _COUNTED.fullmatch(text)
    word = "" if counted is None else counted[2].casefold()
    word = _HALVES.get(word, word)
    if counted is not None and word in PORTIONS_BY_COUNT:
        if int(counted[1]) == 0:
            raise FieldError(field, f"'{text}' is nothing; expected one or more")
        return Portion(count=int(counted[1]), word=word)
    try:
        mass_g = grams(text, field)
    except FieldError as fault:
        words = ", ".join(f"1 {word}" for word in PORTIONS_BY_COUNT)
        hint = nearest(counted[2], PORTIONS_BY_COUNT) if counted else ""
        reason = f"{fault.reason}{hint}; portions may also be counted: {words}"
        raise FieldError(field, reason) from None
    return Portion(mass_g=mass_g)


def check_eaten(mass_g: float, text: str, field: str) -> None:
    """Refuse a portion that nobody eats.

    Raises:
        FieldError: It is one.
    """
    if mass_g > MOST_EATEN_G:
        most = f"{MOST_EATEN_G / 1000:g} kg ({MOST_EATEN_G / 453.59237:.1f} lb)"
        raise FieldError(field, f"'{text}' is more than anybody eats; expected at most {most}")


def pieces_g(text: str, field: str = "pieces_g") -> tuple[float, ...]:
    """Read the masses of pieces that are there, in order: ``13.2lb,14.8lb``."""
    parts = [part for part in text.split(",") if part.strip()]
    if not parts:
        raise FieldError(field, "no mass given; write them such as 13.2lb,14.8lb")
    return tuple(grams(part, field) for part in parts)


def menu(text: str, field: str = "dishes") -> tuple[Dish, ...]:
    """Read ``brisket-packer:60%,pork-butt:40%:6oz``."""
    dishes = []
    for part in filter(None, (part.strip() for part in text.split(","))):
        cut, _, rest = part.partition(":")
        share, _, own = rest.partition(":")
        match = re.fullmatch(r"\s*(\d+(?:\.\d+)?)\s*%\s*", share)
        if match is None:
            raise FieldError(field, f"'{part}' has no share; write cut:share, brisket-packer:60%")
        if not 0 < float(match[1]) <= 100:
            raise FieldError(field, f"'{part}': a share of a meal is above 0 and at most 100 %")
        own_portion = portion(own, field) if own else None
        dishes.append(Dish(known_cut(cut, field), float(match[1]) / 100, own_portion))
    if not dishes:
        raise FieldError(
            field, "no dish given; write them such as brisket-packer:60%,pork-butt:40%"
        )
    return tuple(dishes)


def pits_cm2(texts: Iterable[str], field: str = "pits") -> dict[str, float]:
    """Read pits with their grate areas in cm2: ``big=4200``."""
    pits: dict[str, float] = {}
    for text in texts:
        match = re.fullmatch(r"\s*([\w.-]+)\s*=\s*(\d+(?:\.\d+)?)\s*(?:cm2)?\s*", text)
        if match is None or float(match[2]) <= 0:
            reason = f"'{text}' cannot be read; write name=area in cm2, big=4200"
            raise FieldError(field, reason)
        if match[1] in pits:
            raise FieldError(field, f"'{match[1]}' is given twice; give each pit once")
        pits[match[1]] = float(match[2])
    return pits
