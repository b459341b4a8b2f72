"""Begin a cook from a form: its fields become the text of a cook file, read as any other.

Every field is checked here, so that a refusal names the field and says what it wants.
"""

from __future__ import annotations

import json
import re
from collections.abc import Container, Mapping
from decimal import Decimal
from itertools import count as count_up

from pitlogger.errors import QuantityError, UsageError
from pitlogger.formats.cook_file import core_target
from pitlogger.model.cooks import CUTS, NEVER, short_name
from pitlogger.model.quantities import parse_length_mm, parse_mass_mg, parse_temperature_mc
from pitlogger.questions import Answers
from pitlogger.rules.messages import Units
from pitlogger.views.language import tr
from pitlogger.web.page.typed import moment_of

MOST_ROWS = 6
MOST_OF_A_CUT = 24
MOST_PITS = 6
_PRICE = re.compile(r"[^\d.,-]*(\d+(?:[.,]\d+)?)\s*(?:/|per)?\s*(lb|kg)?\s*", re.IGNORECASE)
_TEXTS = ("supplier", "grade", "lot", "wrap", "wrap_at", "pull_at")


def cook_text(form: Mapping[str, str], units: Units, taken: Container[str] = frozenset()) -> str:
    """Return the cook file that the form describes; its pieces get ids that are not taken.

    A row of the form is a cut and how many; each becomes a piece of its own, but poultry and
    sausage, which become one batch.

    Raises:
        FieldError: No piece, or a value that cannot be used, with its field.
    """
    lines = ["[cook]", f"name = {_text(form.get('name') or 'cook')}"]
    if form.get("serve_at"):
        answers = Answers.of(form.get("confirm", ""))
        lines.append(f"serve_at = {_text(moment_of(form, 'serve_at', answers))}")
    if form.get("guests"):
        lines.append(f"guests = {_whole(form['guests'], 'guests', 100_000)}")
    pits, tables = _pits(form)
    pieces: list[str] = []
    counts: dict[str, int] = {}
    for row in range(1, MOST_ROWS + 1):
        if form.get(f"cut-{row}"):
            pieces += _pieces(form, row, pits, units, counts, taken)
    if not pieces:
        raise UsageError("A cook needs a piece: choose a cut.", "cut-1")
    return "\n".join([*lines, *pieces, *tables, ""])


def _pits(form: Mapping[str, str]) -> tuple[list[str], list[str]]:
    """Return the pits of the form, and their tables."""
    names: list[str] = []
    lines: list[str] = []
    for row in range(1, MOST_PITS + 1):
        channel = form.get(f"pit_channel-{row}")
        if not channel or not form.get(f"is_pit-{row}"):
            continue
        names.append(channel)
        given = {field: form.get(f"{field}-{row}") for field in ("set_point", "low", "high")}
        check_band(form, f"{{}}-{row}")
        lines += ["", "[[channel]]", f"id = {_text(channel)}", 'site = "pit"']
        lines += [f"{field} = {_text(value)}" for field, value in given.items() if value]
    return names, lines


def check_band(form: Mapping[str, str | None], named: str) -> None:
    """Check that set point, lowest and highest of a pit, where given, follow each other.

    Args:
        named: What their fields are called, such as ``{}-1``.

    Raises:
        UsageError: They do not, with the field of the one at fault.
    """
    given = (form.get(named.format(field)) for field in ("low", "set_point", "high"))
    low, set_point, high = (parse_temperature_mc(text) if text else None for text in given)
    if low is not None and high is not None and low >= high:
        raise UsageError(tr("The lowest does not lie below the highest."), named.format("low"))
    if set_point is None:
        return
    if (low is not None and set_point <= low) or (high is not None and set_point >= high):
        reason = tr("The set point does not lie between the lowest and the highest.")
        raise UsageError(reason, named.format("set_point"))


def _pieces(
    form: Mapping[str, str], row: int, pits: list[str], units: Units, counts: dict[str, int],
    taken: Container[str],
) -> list[str]:  # fmt: skip
    cut = form[f"cut-{row}"]
    if cut not in CUTS:
        raise UsageError(f"'{cut}' is not one of the cuts listed.", f"cut-{row}")
    count = _whole(form.get(f"count-{row}", "1"), f"count-{row}", MOST_OF_A_CUT)
    stem = short_name(cut)
    is_batch = CUTS[cut] in ("chicken", "sausage") and count > 1
    shared = _shared(form, row, pits, units)
    lines = []
    for _ in range(1 if is_batch else count):
        counts[stem] = number = next(
            number
            for number in count_up(counts.get(stem, 0) + 1)
            if f"{stem}-{number}" not in taken
        )
        lines += ["", "[[piece]]", f"id = {_text(f'{stem}-{number}')}", f"cut = {_text(cut)}"]
        if is_batch:
            lines.append(f"count = {count}")
        lines += shared
    return lines


def _shared(form: Mapping[str, str], row: int, pits: list[str], units: Units) -> list[str]:
    """Return what all pieces of a row have in common."""
    _check_targets(form, row)
    lines = [f"{field} = {_text(form[f'{field}-{row}'])}"
             for field in _TEXTS if form.get(f"{field}-{row}")]  # fmt: skip
    if mass := form.get(f"mass-{row}"):
        if parse_mass_mg(mass) == 0:
            raise UsageError("A piece weighs more than nothing.", f"mass-{row}")
        lines.append(f"mass = {_text(mass)}")
    if thickness := form.get(f"thickness-{row}"):
        lines.append(f"thickness = {_text(_length(thickness, units, f'thickness-{row}'))}")
    if price := form.get(f"price-{row}"):
        lines.append(_price(price, units, f"price-{row}"))
    pit = form.get(f"pit-{row}") or (pits[0] if len(pits) == 1 else None)
    if pit is not None and pit not in pits:
        raise UsageError(f"{pit} was not marked as a pit above.", f"pit-{row}")
    return [*lines, f"pit = {_text(pit)}"] if pit is not None else lines


def _check_targets(form: Mapping[str, str], row: int) -> None:
    wrap_at, pull_at = form.get(f"wrap_at-{row}"), form.get(f"pull_at-{row}")
    for text, field in ((wrap_at, f"wrap_at-{row}"), (pull_at, f"pull_at-{row}")):
        try:
            core_target(text) if text and text.casefold() != "never" else None
        except ValueError as fault:
            raise UsageError(str(fault), field) from None
    if not wrap_at or not pull_at or wrap_at.casefold() == "never":
        return
    if parse_temperature_mc(pull_at) < max(NEVER, parse_temperature_mc(wrap_at)):
        raise UsageError("It comes off the pit cooler than it is wrapped.", f"pull_at-{row}")


def _text(value: str) -> str:
    """Return a TOML string; JSON's escapes are TOML's."""
    return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")


def _whole(text: str, field: str, most: int) -> int:
    if not text.isdecimal() or not 1 <= int(text) <= most:
        raise UsageError(f"'{text}' is not a whole number from 1 to {most}.", field)
    return int(text)


def _length(text: str, units: Units, field: str) -> str:
    made = text.replace(",", ".").strip()
    inches = units.mass in ("lb", "lb-oz")
    if re.fullmatch(r"\d+(\.\d+)?", made):
        made = f"{made} {'in' if inches else 'cm'}"
    try:
        parse_length_mm(made)
    except QuantityError:
        example = "2.75 in" if inches else "7 cm"
        raise UsageError(
            f"'{text}' is not a thickness. Write one such as {example}.", field
        ) from None
    return made


def _price(text: str, units: Units, field: str) -> str:
    match = _PRICE.fullmatch(text)
    if match is None:
        raise UsageError(f"'{text}' is not a price. Write one such as 5.49.", field)
    unit = (match[2] or ("lb" if units.mass in ("lb", "lb-oz") else "kg")).lower()
    return f"price_per_{unit} = {Decimal(match[1].replace(',', '.'))}"
