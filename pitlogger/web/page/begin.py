"""Begin a cook from a form: its fields become the text of a cook file, read as any other."""

from __future__ import annotations

import json
from collections.abc import Mapping
from datetime import datetime

from pitlogger.errors import UsageError
from pitlogger.model.cooks import CUTS

MOST_ROWS = 6
MOST_OF_A_CUT = 24


def cook_text(form: Mapping[str, str]) -> str:
    """Return the cook file that the form describes.

    A row of the form is a cut and how many; each becomes a piece of its own, but poultry and
    sausage, which become one batch.

    Raises:
        UsageError: No piece, or a number that cannot be read.
    """
    lines = ["[cook]", f"name = {_text(form.get('name') or 'cook')}"]
    if form.get("serve_at"):
        lines.append(f"serve_at = {_text(_moment(form['serve_at']))}")
    if form.get("guests"):
        lines.append(f"guests = {_whole(form['guests'], 'guests', 100_000)}")
    pits = [line for line in form.get("pits", "").split(",") if line]
    pieces: list[str] = []
    for row in range(1, MOST_ROWS + 1):
        if form.get(f"cut-{row}"):
            pieces += _pieces(form, row, pits[0] if len(pits) == 1 else None)
    if not pieces:
        raise UsageError("a cook needs a piece: choose a cut")
    return "\n".join([*lines, *pieces, ""])


def _pieces(form: Mapping[str, str], row: int, pit: str | None) -> list[str]:
    cut = form[f"cut-{row}"]
    count = _whole(form.get(f"count-{row}", "1"), "how many", MOST_OF_A_CUT)
    stem = cut.removesuffix("-packer").removesuffix("-whole").removeprefix("pork-")
    is_batch = CUTS.get(cut) in ("chicken", "sausage") and count > 1
    lines = []
    for number in range(1, 2 if is_batch else count + 1):
        lines += ["", "[[piece]]", f"id = {_text(f'{stem}-{number}')}", f"cut = {_text(cut)}"]
        if is_batch:
            lines.append(f"count = {count}")
        lines += [
            f"{field} = {_text(value)}"
            for field in ("wrap", "pull_at")
            if (value := form.get(f"{field}-{row}"))
        ]
        if pit is not None:
            lines.append(f"pit = {_text(pit)}")
    return lines


def _text(value: str) -> str:
    """Return a TOML string; JSON's escapes are TOML's."""
    return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")


def _whole(text: str, name: str, most: int) -> int:
    if not text.isdecimal() or not 1 <= int(text) <= most:
        raise UsageError(f"{name}: '{text}' is not a whole number from 1 to {most}")
    return int(text)


def _moment(text: str) -> str:
    """Return a local time of the form with its offset."""
    try:
        return datetime.fromisoformat(text).astimezone().isoformat()
    except ValueError:
        raise UsageError(f"served at '{text}': expected a day and a time") from None
