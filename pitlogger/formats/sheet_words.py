"""What the columns, cuts and dates of people's own spreadsheets mean.

An honest spreadsheet says "Raw Weight", "Trimmed wt (lb)", "5/2/2026" and "brisket". What can
only mean one thing is taken; what can mean two is asked once. Synonyms are common practice, no
source.
"""

from __future__ import annotations

import re
import tomllib
from datetime import date, datetime
from importlib.resources import files

from pitlogger.errors import QuantityError, UsageError, unknown
from pitlogger.model.cooks import CUTS, WEIGHABLE

UNITS = ("lb", "kg", "oz", "g")
_UNIT_WORDS = {
    "lb": "lb", "lbs": "lb", "pound": "lb", "pounds": "lb", "#": "lb", "kg": "kg", "kgs": "kg",
    "kilo": "kg", "kilos": "kg", "oz": "oz", "ounce": "oz", "ounces": "oz", "g": "g", "gram": "g",
    "grams": "g",
}  # fmt: skip
_FILLERS = frozenset({"weight", "wt", "weights", "mass", "the", "of", "meat", "total", "in", "at"})
_SAID: dict[str, dict[str, list[str]]] = tomllib.loads(
    (files("pitlogger.formats") / "sheet_words.toml").read_text(encoding="utf-8")
)
_SYNONYMS: dict[str, str] = {
    **{name.replace("-", " "): name for name in WEIGHABLE},
    **{title: meaning for meaning, titles in _SAID["columns"].items() for title in titles},
}
_CUTS = {words: tuple(cuts) for words, cuts in _SAID["cuts"].items()}
_SLASHED = re.compile(r"(\d{1,2})[/-](\d{1,2})[/-](\d{2}|\d{4})")
_DOTTED = re.compile(r"(\d{1,2})\.(\d{1,2})\.(\d{2}|\d{4})")
_WORDED = ("%B %d, %Y", "%b %d, %Y", "%B %d %Y", "%b %d %Y", "%d %B %Y", "%d %b %Y", "%d-%b-%Y",
           "%d-%b-%y")  # fmt: skip


def column_meant(title: str) -> tuple[str, str | None] | None:
    """Return the name and the unit that a column's title means, ``None`` where it means nothing.

    A price comes as ``price`` with the unit it is per.
    """
    spaced = title.casefold().replace("/", " per ").replace("_", " ")
    words = re.findall(r"[a-z]+|\$|#", spaced)
    unit = next((_UNIT_WORDS[word] for word in reversed(words) if word in _UNIT_WORDS), None)
    left = [word for word in words if word not in _UNIT_WORDS]
    bare = [word for word in left if word not in _FILLERS]
    for said in (" ".join(left), " ".join(bare)):
        name = _SYNONYMS.get(said) or _SYNONYMS.get(said.removeprefix("$ ").removesuffix(" per"))
        if name:
            return name, unit
    return None


MEANINGS = tuple(dict.fromkeys(_SYNONYMS.values()))
NOTHING = "nothing"
SAID = " = "  # between a title and what a person says that it means


def column_said(title: str, meaning: str) -> tuple[str, str | None] | None:
    """Return what a person says that a column means, ``None`` where it is to be passed over.

    The unit may stand in either: ``carved (lb)``.

    Raises:
        UsageError: No such meaning.
    """
    if meaning.casefold() == NOTHING:
        return None
    found = column_meant(meaning)
    if found is None:
        raise UsageError(unknown("meaning of a column", meaning, (*MEANINGS, NOTHING)))
    name, unit = found
    units = [_UNIT_WORDS[word] for word in re.findall(r"[a-z]+|#", title.casefold())
             if word in _UNIT_WORDS]  # fmt: skip
    return name, unit or (units[-1] if units else None)


def plain_title(title: str) -> str:
    """Return a title as it can stand in an answer."""
    return " ".join(re.sub(r"[;:=]", " ", title).split()).casefold()


def cuts_meant(word: str) -> tuple[str, ...]:
    """Return the cuts that a word can mean; empty where it means none."""
    plain = re.sub(r"[\s_-]+", " ", word.casefold()).strip()
    if (known := plain.replace(" ", "-")) in CUTS:
        return (known,)
    return _CUTS.get(plain, _CUTS.get(plain.removesuffix("s"), ()))


def is_ambiguous_date(text: str) -> bool:
    """Return whether a date can be read with the month or the day first."""
    found = _SLASHED.fullmatch(text.strip())
    return (
        found is not None and int(found[1]) <= 12 and int(found[2]) <= 12 and found[1] != found[2]
    )


def day_first(text: str) -> bool | None:
    """Return whether a slashed date must have its day first; ``None`` where it does not show."""
    found = _SLASHED.fullmatch(text.strip())
    if found is None or is_ambiguous_date(text) or found[1] == found[2]:
        return None
    return int(found[1]) > 12


def iso_date(text: str, days_first: bool) -> str:
    """Return a date as people write it as year-month-day.

    Raises:
        QuantityError: It is no date.
    """
    shown = text.strip()
    try:
        return date.fromisoformat(shown[:10]).isoformat()
    except ValueError:
        pass
    if found := _DOTTED.fullmatch(shown):
        return _made(shown, found[1], found[2], found[3])
    if found := _SLASHED.fullmatch(shown):
        day, month = (found[1], found[2]) if days_first else (found[2], found[1])
        return _made(shown, day, month, found[3])
    for form in _WORDED:
        try:
            return datetime.strptime(f"{shown} +0000", f"{form} %z").date().isoformat()
        except ValueError:
            continue
    raise QuantityError(f"'{shown}' is not a date: write one such as 2026-05-30 or 30 May 2026")


def _made(shown: str, day: str, month: str, year: str) -> str:
    full = int(year) + (2000 if len(year) == 2 else 0)
    try:
        return date(full, int(month), int(day)).isoformat()
    except ValueError:
        raise QuantityError(f"'{shown}' is not a day of the calendar") from None
