"""Tables and policies that ship inside the package: part of the code, read once."""

from __future__ import annotations

import csv
from functools import cache
from importlib.resources import files

_ROOT = files("pitlogger.safety")


@cache
def text(folder: str, name: str) -> str:
    """Return a shipped text; ``folder`` is ``data`` or ``policies``."""
    return _ROOT.joinpath(folder, name).read_text(encoding="utf-8")


@cache
def rows(name: str) -> tuple[dict[str, str], ...]:
    """Return the rows of a shipped CSV table, as text."""
    return tuple(csv.DictReader(text("data", name).splitlines()))


def names(folder: str, suffix: str) -> list[str]:
    """Return the names of the shipped files with a suffix, without it."""
    return sorted(
        entry.name.removesuffix(suffix)
        for entry in _ROOT.joinpath(folder).iterdir()
        if entry.name.endswith(suffix)
    )
