"""What is typed on a phone: a number alone is in the phone's unit, a comma is a decimal comma."""

from __future__ import annotations

import re
from collections.abc import Mapping

from pitlogger.errors import QuantityError, UsageError
from pitlogger.formats.moments import full_local, of_a_clock
from pitlogger.model.quantities import parse_mass_mg, parse_temperature_mc, show_temperature
from pitlogger.questions import ANSWERS_JOIN, NO_ANSWERS, Answers
from pitlogger.rules.messages import Units
from pitlogger.yields.plausible import HOTTEST_PROBE_MC

MASSES = frozenset({"mass", "tare", "left"})
TEMPERATURES = frozenset({"value", "wrap_at", "pull_at", "set_point", "low", "high", "reading"})
MAY_BE_NOTHING = frozenset({"leftover", "waste", "tasting"})
_NUMBER_ALONE = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)")
_COMMA = re.compile(r"(?<=\d),(?=\d)")
_THOUSANDS_ALONE = re.compile(r"\s*[+-]?\d{1,3},\d{3}\s*")
_THOUSANDS = re.compile(r"\d,\d{3}\s*(?:g|gr|grams?)?\.?\s*$", re.IGNORECASE)


def in_phone_units(form: Mapping[str, str], units: Units) -> dict[str, str]:
    """Return a form whose masses and temperatures all carry a unit and a decimal point.

    Raises:
        FieldError: A mass or temperature that cannot be read, with its field.
    """
    return {name: _completed(name, text, units) for name, text in form.items()}


def with_offset(form: Mapping[str, str]) -> dict[str, str]:
    """Return a form whose moment ``at`` has the offset that the node's place has then.

    Raises:
        FieldError: It is no moment, or the clocks went forward over it.
        QuestionError: The clocks went back over it, and it is not said which one is meant.
    """
    if "at" not in form:
        return dict(form)
    answers = Answers.of(form.get("confirm", ""))
    at = moment_of(form, "at", answers)
    return {**form, "at": at, "confirm": ANSWERS_JOIN.join(answers.unused())}


def moment_of(form: Mapping[str, str], field: str, answers: Answers = NO_ANSWERS) -> str:
    """Return a day and time of a form with its offset; raises as ``with_offset``."""
    text = form[field]
    try:
        found = of_a_clock(text)
    except QuantityError as fault:
        raise UsageError(str(fault), field) from None
    except ValueError:
        raise UsageError(f"'{text}' is not a day and a time.", field) from None
    if len(found) == 1:
        return found[0].isoformat()
    options = [full_local(one) for one in found]
    chosen = answers.choose(f"'{text.replace('T', ' ')}' comes twice: which one?", options)
    return found[options.index(chosen)].isoformat()


def _completed(field: str, text: str, units: Units) -> str:
    kind = field.rpartition(".")[2].partition("-")[0]
    if kind in MASSES:
        return typed_mass(text, units, field)
    if kind in TEMPERATURES and text.casefold() != "never":
        return typed_temperature(text, units, field)
    return text


def decimal_point(text: str) -> str:
    """Return a text with a point where a decimal comma stands between two digits."""
    return _COMMA.sub(".", text)


def may_be_thousands(text: str, *, alone: bool = False) -> bool:
    """Return whether a comma may part thousands: before grams, or in a number ``alone``."""
    return (_THOUSANDS_ALONE.fullmatch(text) if alone else _THOUSANDS.search(text)) is not None


def typed_mass(text: str, units: Units, field: str = "mass") -> str:
    """Return a mass as typed, with its unit."""
    unit = "lb" if units.mass == "lb-oz" else units.mass
    if unit == "g" and may_be_thousands(text):
        raise UsageError(
            f"'{text}' can be read two ways: write {text.replace(',', '')} "
            f"or {text.replace(',', '.')}", field,
        )  # fmt: skip
    made = _COMMA.sub(".", text.strip())
    if _NUMBER_ALONE.fullmatch(made):
        made = f"{made} {unit}"
    try:
        parse_mass_mg(made)
    except QuantityError as fault:
        example = {"lb": "13 lb 7 oz", "kg": "6.1 kg", "g": "6100 g"}[unit]
        is_none = " is not a mass" in str(fault)
        why = f"'{text}' is not a mass. Write one such as {example}." if is_none else str(fault)
        raise UsageError(why, field) from None
    return made


def typed_temperature(text: str, units: Units, field: str = "value") -> str:
    """Return a temperature as typed, with its unit."""
    made = _COMMA.sub(".", text.strip())
    if _NUMBER_ALONE.fullmatch(made):
        made = f"{made} {units.temperature}"
    try:
        hot_mc = parse_temperature_mc(made)
    except QuantityError:
        example = "203" if units.temperature == "F" else "95"
        raise UsageError(
            f"'{text}' is not a temperature. Write one such as {example}.", field
        ) from None
    if hot_mc > HOTTEST_PROBE_MC:
        most = show_temperature(HOTTEST_PROBE_MC, units.temperature)
        raise UsageError(f"{text} is above {most}, the most that any probe reads.", field)
    return made
