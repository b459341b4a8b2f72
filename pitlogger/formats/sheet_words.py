"""What the columns, cuts and dates of people's own spreadsheets mean.

An honest spreadsheet says "Raw Weight", "Trimmed wt (lb)", "5/2/2026" and "brisket". What can
only mean one thing is taken; what can mean two is asked once. Synonyms are common practice, no
source.
"""

from __future__ import annotations

import re
from datetime import date, datetime

from pitlogger.errors import QuantityError, UsageError, unknown
from pitlogger.model.cooks import CUTS, WEIGHABLE

UNITS = ("lb", "kg", "oz", "g")
_UNIT_WORDS = {
    "lb": "lb", "lbs": "lb", "pound": "lb", "pounds": "lb", "#": "lb", "kg": "kg", "kgs": "kg",
    "kilo": "kg", "kilos": "kg", "oz": "oz", "ounce": "oz", "ounces": "oz", "g": "g", "gram": "g",
    "grams": "g",
}  # fmt: skip
_FILLERS = frozenset({"weight", "wt", "weights", "mass", "the", "of", "meat", "total", "in", "at"})
_SYNONYMS: dict[str, str] = {
    **{name.replace("-", " "): name for name in WEIGHABLE},
    "date": "date", "day": "date", "cooked on": "date", "cook date": "date",
    "when": "date", "event date": "date", "cook day": "date", "job date": "date",
    "cook": "cook", "event": "cook", "job": "cook", "party": "cook", "customer": "cook",
    "piece": "piece", "item": "piece", "id": "piece", "no": "piece", "number": "piece",
    "cut": "cut", "type": "cut", "protein": "cut", "meat": "cut", "what": "cut",
    "raw": "purchased", "bought": "purchased", "start": "purchased", "starting": "purchased",
    "as purchased": "purchased", "ap": "purchased", "purchase": "purchased", "before": "purchased",
    "green": "purchased", "untrimmed": "purchased", "bought as": "purchased",
    "label": "label", "billed": "label", "invoice": "label",
    "trim": "trimmed", "after trim": "trimmed", "after trimming": "trimmed",
    "rubbed": "seasoned", "wrap weight": "at-wrap", "when wrapped": "at-wrap",
    "wrapping": "at-wrap",
    "cooked": "off-pit", "off pit": "off-pit", "done": "off-pit", "finished": "off-pit",
    "after cook": "off-pit", "after cooking": "off-pit", "smoked": "off-pit",
    "after smoking": "off-pit", "out of smoker": "off-pit", "off smoker": "off-pit",
    "fat": "trim-fat", "trimmings": "trim-fat", "fat trimmed": "trim-fat", "bones": "bone",
    "after rest": "rested", "after resting": "rested", "rest": "rested",
    "sliced": "carved", "pulled": "carved", "chopped": "carved", "usable": "carved",
    "servable": "carved", "sellable": "carved", "yield": "carved", "final": "carved",
    "left": "leftover", "leftovers": "leftover", "left over": "leftover",
    "supplier": "supplier", "vendor": "supplier", "store": "supplier", "from": "supplier",
    "butcher": "supplier", "purveyor": "supplier", "bought from": "supplier",
    "guest": "guests", "guest count": "guests", "covers": "guests", "attended": "came",
    "grade": "grade", "quality": "grade", "guests": "guests", "people": "guests",
    "head count": "guests", "headcount": "guests", "came": "came", "count": "count",
    "qty": "count", "quantity": "count", "pieces": "count", "wrap": "wrap", "wrapped": "wrap",
    "pull": "pull_at", "pull temp": "pull_at", "internal temp": "pull_at", "pull at": "pull_at",
    "notes": "notes", "note": "notes", "comments": "notes", "remarks": "notes",
    "tender": "tender", "tenderness": "tender", "pit": "pit", "smoker": "pit",
    "price": "price", "$ per": "price", "cost": "price",
    "price per": "price", "cost per": "price", "$": "price",
}  # fmt: skip
# Cuts by the words people use; several where it has to be asked.
_CUTS: dict[str, tuple[str, ...]] = {
    "brisket": ("brisket-packer", "brisket-flat", "brisket-point"),
    "packer": ("brisket-packer",), "whole brisket": ("brisket-packer",),
    "flat": ("brisket-flat",), "point": ("brisket-point",),
    "butt": ("pork-butt",), "boston butt": ("pork-butt",), "pork shoulder": ("pork-butt",),
    "shoulder": ("pork-butt", "lamb-shoulder"), "picnic": ("pork-picnic",),
    "pulled pork": ("pork-butt",), "pork": ("pork-butt", "pork-picnic", "pork-belly"),
    "belly": ("pork-belly",), "ribs": ("pork-spareribs", "pork-st-louis", "pork-baby-back",
                                       "beef-ribs"),
    "spare ribs": ("pork-spareribs",), "spareribs": ("pork-spareribs",),
    "st louis": ("pork-st-louis",), "st louis ribs": ("pork-st-louis",),
    "baby back": ("pork-baby-back",), "baby backs": ("pork-baby-back",),
    "short ribs": ("beef-ribs",), "chuck": ("beef-chuck",),
    "chicken": ("chicken-whole", "chicken-half", "chicken-quarter", "chicken-thigh"),
    "thighs": ("chicken-thigh",), "turkey": ("turkey-whole", "turkey-breast"),
    "sausages": ("sausage",), "links": ("sausage",), "lamb": ("lamb-shoulder",),
}  # fmt: skip
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
