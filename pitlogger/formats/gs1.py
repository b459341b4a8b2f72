"""GS1 element strings: what the label of a box of meat says of itself.

Source: GS1 General Specifications: 3.2 (application identifiers), 7.8.5 (element strings of
predefined length need no separator, all others end with FNC1, sent as ASCII 29), 7.9 (check
digit), 7.12 (century of a year, a day of 00 is the last of its month), 5.1.2 (symbology
identifiers ``]C1 ]e0 ]d2 ]Q3 ]J1`` announce GS1 data), 7.11 (82 characters that data may use).
"""

from __future__ import annotations

import calendar
import re
from dataclasses import dataclass
from datetime import date

from pitlogger.errors import MalformedError
from pitlogger.model.quantities import MG_PER

FNC1 = "\x1d"
_ANNOUNCED = ("]C1", "]e0", "]d2", "]Q3", "]J1")
# Length of AI and data together, by the first two digits of the AI.
_PREDEFINED = {
    "00": 20, "01": 16, "02": 16, "03": 16, "04": 18, **{f"{n}": 8 for n in range(11, 20)}, "20": 4,
    **{f"{n}": 10 for n in range(31, 37)}, "41": 16,
}  # fmt: skip
_BRACKETED = re.compile(r"\((\d{2,4})\)([^(]+)")
_DATA = re.compile(r"[!\"%-?A-Z_a-z]+")
_LONGEST = 20  # of a batch or serial number
_DATES = {"11": "made", "13": "packed", "15": "best_before", "17": "use_by"}


@dataclass(frozen=True, slots=True)
class BoxLabel:
    """What a box says: article, net mass, batch, dates; ``None`` where it does not."""

    gtin: str | None = None
    net_mg: int | None = None
    lot: str | None = None
    serial: str | None = None
    made: date | None = None
    packed: date | None = None
    best_before: date | None = None
    use_by: date | None = None


def is_gs1(text: str) -> bool:
    """Tell whether a code presents itself as GS1: by its announcement, FNC1, or its brackets.

    A scanner may announce nothing; then an article number with its right check digit does.
    """
    return (
        text.startswith((*_ANNOUNCED, FNC1, "(01)", "(02)"))
        or FNC1 in text
        or (re.match(r"01\d{14}", text) is not None and has_check_digit(text[2:16]))
    )


def has_check_digit(digits: str) -> bool:
    """Tell whether the last digit is the check digit of those before it: weights 3 and 1."""
    weighted = [int(digit) * (3 - 2 * (at % 2)) for at, digit in enumerate(reversed(digits[:-1]))]
    return (sum(weighted) + int(digits[-1])) % 10 == 0


def parse_gs1(text: str, year: int) -> BoxLabel:
    """Return what an element string says of weight, batch and dates; the rest is passed over.

    Args:
        text: As scanned, or as printed with brackets.
        year: The present one: two digits are a year within fifty years of it.

    Raises:
        MalformedError: It breaks the rules somewhere; then nothing of it is used.
    """
    found: dict[str, str] = {}
    for ai, data in _elements(text):
        if _DATA.fullmatch(data) is None:
            raise MalformedError(f"GS1: ({ai}) holds {data!r}: characters that are not allowed")
        if found.setdefault(ai, data) != data:
            raise MalformedError(f"GS1: ({ai}) stands twice, with {found[ai]} and {data}")
    if not found:
        raise MalformedError("GS1: there is nothing in it")
    dates = {name: _date(ai, found[ai], year) for ai, name in _DATES.items() if ai in found}
    return BoxLabel(
        _gtin(found.get("01")), _net_mg(found), _short("10", found), _short("21", found), **dates
    )


def _elements(text: str) -> list[tuple[str, str]]:
    if text.startswith("("):
        pairs = _BRACKETED.findall(text)
        if "".join(f"({ai}){data}" for ai, data in pairs) != text:
            raise MalformedError(f"GS1: {text!r} has brackets without an identifier or data")
        return [_checked(ai, data) for ai, data in pairs]
    rest = text[3:] if text.startswith(_ANNOUNCED) else text
    rest, found = rest.lstrip(FNC1), []
    while rest:
        length = _PREDEFINED.get(rest[:2])
        end = rest.find(FNC1)
        size = length if length is not None else (len(rest) if end < 0 else end)
        element, rest = rest[:size], rest[size:].removeprefix(FNC1)
        if FNC1 in element or (length is not None and len(element) < length):
            raise MalformedError(f"GS1: ({element[:2]}) is cut short")
        width = _width(element)
        found.append(_checked(element[:width], element[width:]))
    return found


def _width(element: str) -> int:
    """Return how many digits the identifier of an element has."""
    if not element[:2].isascii() or not element[:2].isdecimal():
        raise MalformedError(f"GS1: {element[:4]!r} is no application identifier")
    head = element[:2]
    if head in _PREDEFINED:
        return 4 if "31" <= head <= "36" else 3 if head == "41" else 2
    if head in ("39", "43", "70", "72", "80", "81", "82"):
        return 4
    return 3 if head in ("23", "24", "25", "40", "42", "71") else 2


def _checked(ai: str, data: str) -> tuple[str, str]:
    """Refuse an identifier without data, or data of a length that it cannot have."""
    length = _PREDEFINED.get(ai[:2])
    if not data or (length is not None and len(ai) + len(data) != length):
        raise MalformedError(f"GS1: ({ai}){data} has the wrong length")
    return ai, data


def _gtin(digits: str | None) -> str | None:
    if digits is not None and not (_digits("01", digits) and has_check_digit(digits)):
        raise MalformedError(f"GS1: the check digit of article {digits} is wrong")
    return digits


def _net_mg(found: dict[str, str]) -> int | None:
    """Return the net mass of (310n) kilograms or (320n) pounds with n decimals.

    Both are taken only where they agree to half a per cent: then the kilograms count.
    """
    masses: dict[str, int] = {}
    for ai, data in found.items():
        unit = {"310": "kg", "320": "lb"}.get(ai[:3])
        if unit is None:
            continue
        decimals = int(ai[3])
        if decimals > 5 or unit in masses:
            raise MalformedError(f"GS1: ({ai}) is no net mass, or there are two")
        masses[unit] = round(int(_digits(ai, data)) * MG_PER[unit] / 10**decimals)
    if not masses:
        return None
    least, most = min(masses.values()), max(masses.values())
    if least <= 0 or most > least * 1.005:
        raise MalformedError("GS1: its net mass is nothing, or kilograms and pounds differ")
    return masses.get("kg", most)


def _date(ai: str, data: str, year: int) -> date:
    two, month, day = (int(_digits(ai, data)[at : at + 2]) for at in (0, 2, 4))
    ahead = two - year % 100
    full = year - year % 100 + two + (-100 if ahead > 50 else 100 if ahead < -49 else 0)
    try:
        return date(full, month, day or calendar.monthrange(full, month)[1])
    except (ValueError, calendar.IllegalMonthError):
        raise MalformedError(f"GS1: ({ai}){data} is no date") from None


def _short(ai: str, found: dict[str, str]) -> str | None:
    data = found.get(ai)
    if data is not None and len(data) > _LONGEST:
        raise MalformedError(f"GS1: ({ai}) has {len(data)} characters: {_LONGEST} are allowed")
    return data


def _digits(ai: str, data: str) -> str:
    if not (data.isascii() and data.isdecimal()):
        raise MalformedError(f"GS1: ({ai}){data} holds what is no digit")
    return data
