"""What is hardly possible, in words and in the units of a person."""

from __future__ import annotations

import re

from pitlogger.model.quantities import MG_PER
from pitlogger.rules.messages import Units
from pitlogger.views import words
from pitlogger.views.shown import mass as shown_mass
from pitlogger.yields.plausible import Implausible

_GRAMS = re.compile(r"(?<![\w.-])(\d+) g\b(?: ([a-z]+(?:-[a-z]+)*))?")


def plain_mass(mass_g: float, units: Units) -> str:
    """Return a mass as a person would type it: ``13.1 lb``, ``5.95 kg``."""
    unit = {"lb-oz": "lb", "oz": "oz", "g": "g", "kg": "kg", "lb": "lb"}[units.mass]
    value = mass_g * 1000 / float(MG_PER[unit])
    return f"{value:.4g} {unit}" if value < 10_000 else f"{value:.0f} {unit}"


def mass_question(
    found: Implausible, cut: str, units: Units, options: list[str] | None = None
) -> str:
    """Return in words what is hardly possible about a mass."""
    mass, than = plain_mass(found.mass_g, units), plain_mass(found.than_g, units)
    label = words.checkpoint(found.checkpoint)
    match found.why:
        case "nothing":
            said = f"{mass} {label} is no mass"
        case "too-much":
            times = found.mass_g / found.than_g
            said = f"{mass} is {times:.0f} times what a {cut} weighs"
        case "too-little":
            said = f"{mass} is little for a {cut}, which weighs about {than}"
        case "more-than-before":
            before = words.checkpoint(found.against)
            said = f"{mass} {label} is more than {than} {before}, and meat does not gain there"
        case _:
            share = found.mass_g / found.than_g
            said = f"{mass} {label} is {share:.0%} of {than} {words.checkpoint(found.against)}"
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
