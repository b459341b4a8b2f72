"""Fields of a question in the words of the command line: an error names the option."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from contextlib import contextmanager

from pitlogger.errors import FieldError, UsageError

_OF: Mapping[str, str] = {
    "dishes": "--menu",
    "masses_g": "--weights",
    "credits_per_g": "--credit",
    "parts": "--part",
    "paid": "--profile",
    "pits": "--pit",
    "count": "--pieces",
    "cook": "--cook",
}
_UNIT = re.compile(r"_(?:per_g|g|h|ms|pct)$")


def option(field: str) -> str:
    """Return the option that a field is filled in with: ``--portion-sd`` for ``portion_sd_g``."""
    if "." in field:  # a key of a file
        return field
    if field in ("target_pct", "prime_cost_pct"):
        return f"--{field.replace('_', '-')}"
    return _OF.get(field) or f"--{_UNIT.sub('', field).replace('_', '-')}"


@contextmanager
def named_as_options() -> Iterator[None]:
    """Let errors of fields name the options they were given with."""
    try:
        yield
    except FieldError as fault:
        raise UsageError(fault.worded(option)) from None
