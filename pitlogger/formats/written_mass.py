"""A mass as somebody wrote it down, and how finely.

The last digit written tells the interval of the display it was read from: ``14.2 lb`` was
read to 0.1 lb, ``4.218 kg`` to 1 g. A whole number of pounds or kilograms is taken as read
to 50 g: no kitchen scale shows less (common practice, no source).
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cache

from pitlogger.errors import QuantityError, unknown
from pitlogger.model.cooks import WEIGHABLE
from pitlogger.model.quantities import parse_mass_mg

_LAST = re.compile(r"(?:\d*\.(\d+)|\d+)\s*([A-Za-z]+)\.?\s*$")
COARSEST_MG = 50_000
ALIASES = {"sliced": "carved", "pulled": "carved", "chopped": "carved"}


@dataclass(frozen=True, slots=True)
class WrittenMass:
    """A mass in milligrams and the interval its last digit stands for."""

    mass_mg: int
    interval_mg: int


def written_mass(text: str) -> WrittenMass:
    """Read a written mass above zero with its unit.

    Raises:
        QuantityError: It cannot be read, or is zero.
    """
    mass_mg = parse_mass_mg(text)
    if mass_mg == 0:
        raise QuantityError(f"'{text.strip()}' is no mass of meat: a weighing is above zero")
    last = _LAST.search(text)
    assert last is not None, "parse_mass_mg accepted a text without a unit"
    return WrittenMass(mass_mg, _interval_mg(len(last[1] or ""), last[2]))


def unit_written(text: str) -> str:
    """Return the unit to show masses in that were written so: ``kg``, ``g`` or ``lb-oz``."""
    metric = re.search(r"\d\s*(kg|g)\b", text, re.IGNORECASE)
    return metric[1].lower() if metric else "lb-oz"


@cache  # a paper log of years has a handful of ways to write
def _interval_mg(places: int, unit: str) -> int:
    step = f"0.{'0' * (places - 1)}1" if places else "1"
    return min(max(1, parse_mass_mg(f"{step} {unit}")), COARSEST_MG)


def checkpoint_name(word: str) -> str:
    """Return the checkpoint, by-product or added mass a word stands for.

    Raises:
        QuantityError: No such word; the nearest one is named.
    """
    plain = word.strip().casefold().replace(" ", "-").replace("_", "-")
    plain = ALIASES.get(plain, plain)
    if plain not in WEIGHABLE:
        raise QuantityError(unknown("checkpoint", word.strip(), (*WEIGHABLE, *ALIASES)))
    return plain


def parse_weights(text: str) -> dict[str, WrittenMass]:
    """Read ``purchased=14.2lb,trimmed=11.3lb`` into masses by checkpoint.

    Raises:
        QuantityError: A part without ``=``, an unknown name, one given twice, a mass that
            cannot be read, or nothing at all.
    """
    found: dict[str, WrittenMass] = {}
    for part in filter(None, (part.strip() for part in text.split(","))):
        name, equals, mass = part.partition("=")
        if not equals:
            raise QuantityError(
                f"'{part}' is not a weight: write checkpoint=mass, such as purchased=14.2lb"
            )
        checkpoint = checkpoint_name(name)
        if checkpoint in found:
            raise QuantityError(f"'{name.strip()}' is given twice in the weights: give it once")
        found[checkpoint] = written_mass(mass)
    if not found:
        raise QuantityError(
            "no weights given: write checkpoint=mass, such as purchased=14.2lb,trimmed=11.3lb"
        )
    return found
