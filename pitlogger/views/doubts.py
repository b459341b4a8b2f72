"""What is hardly possible, in words and in the units of a person."""

from __future__ import annotations

import re

from pitlogger.model.quantities import MG_PER, show_share
from pitlogger.rules.messages import Units
from pitlogger.views import words
from pitlogger.views.shown import mass as shown_mass
from pitlogger.yields.plausible import Implausible

_OF = {"lb-oz": "lb", "oz": "oz", "g": "g", "kg": "kg", "lb": "lb"}
_GRAMS = re.compile(r"(?<![\w.-])(\d+) g\b(?: ([a-z]+(?:-[a-z]+)*))?")


def mass_unit(units: Units) -> str:
    """Return the one unit in which a person says a mass: ``lb``, ``kg``."""
    return _OF[units.mass]


def plain_mass(mass_g: float, units: Units, unit: str = "") -> str:
    """Return a mass as a person would type it: ``13.1 lb``, ``5.95 kg``; in a unit, else theirs."""
    unit = unit or mass_unit(units)
    value = mass_g * 1000 / float(MG_PER[unit])
    return f"{value:.4g} {unit}" if value < 10_000 else f"{value:.0f} {unit}"


def typed_unit(mass_mg: int, units: Units) -> str:
    """Return the unit a mass was written in: the one that needs the fewest digits, else theirs."""
    theirs = mass_unit(units)
    small = ("g", "kg") if mass_mg < 1_000_000 else ("kg", "g")
    unit = min((theirs, "lb", *small, "oz"), key=lambda one: _digits(mass_mg, one))
    is_pounds_and_ounces = unit == "oz" and theirs == "lb" and mass_mg >= MG_PER["lb"]
    return theirs if is_pounds_and_ounces else unit


def _digits(mass_mg: int, unit: str) -> int:
    """Return how many digits a mass needs in a unit; 99 where three after the point do not do."""
    value = mass_mg / float(MG_PER[unit])
    # Masses are kept in whole milligrams, and a slip's factor makes what was lost larger.
    rounding = (0.6 + 2e-6 * mass_mg) / float(MG_PER[unit])
    if abs(value - round(value, 3)) > rounding:
        return 99
    return len(f"{value:.3f}".rstrip("0").replace(".", "").strip("0"))


def mass_question(
    found: Implausible, cut: str, units: Units, options: list[str] | None = None, unit: str = ""
) -> str:
    """Return in words what is hardly possible about a mass."""
    mass, than = plain_mass(found.mass_g, units, unit), plain_mass(found.than_g, units, unit)
    label = words.checkpoint(found.checkpoint)
    match found.why:
        case "nothing":
            said = f"{mass} {label} is no mass"
        case "too-much":
            times = found.mass_g / found.than_g
            said = f"{mass} is {times:.0f} times what a {words.cut(cut)} weighs"
        case "too-little":
            said = f"{mass} is little for a {words.cut(cut)}, which weighs about {than}"
        case "more-than-before":
            before = words.checkpoint(found.against)
            said = f"{mass} {label} is more than {than} {before}, and meat does not gain there"
        case _:
            share = found.mass_g / found.than_g
            said = (
                f"{mass} {label} is {show_share(share)} of {than} {words.checkpoint(found.against)}"
            )
    meant = " or ".join(options[:-1]) if options else ""
    return f"{said}: {meant}?" if meant else f"{said}. Is it right?"


def as_read(message: str, unit: str) -> str:
    """Return what the ledger asks about weighings in a reader's unit and words.

    The ledger speaks grams and ids, so that records, exports and commands say the same.
    """

    def shown(found: re.Match[str]) -> str:
        label = f" {words.checkpoint(found[2])}" if found[2] else ""
        return shown_mass(int(found[1]) * 1000, unit) + label

    return _GRAMS.sub(shown, message)
