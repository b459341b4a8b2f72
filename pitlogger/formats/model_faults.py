"""What a model found wrong with a value, in words a person would use."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

_WORDS = {
    "too_short": "at least {min_length} are needed, not {actual_length}",
    "too_long": "at most {max_length} can be given, not {actual_length}",
    "string_pattern_mismatch": "'{given}' has a space, a comma or a sign that cannot be there",
    "string_too_short": "an empty text says nothing",
    "string_too_long": "at most {max_length} characters can be given",
    "greater_than_equal": "{given} is less than {ge}",
    "greater_than": "{given} is not more than {gt}",
    "less_than_equal": "{given} is more than {le}",
    "less_than": "{given} is not less than {lt}",
    "int_parsing": "'{given}' is no whole number",
    "int_type": "'{given}' is no whole number",
    "int_from_float": "'{given}' is no whole number",
    "float_parsing": "'{given}' is no number",
    "float_type": "'{given}' is no number",
    "finite_number": "'{given}' is no number",
    "string_type": "'{given}' is no text: put it in quotes",
    "bool_parsing": "'{given}' is neither true nor false",
    "bool_type": "'{given}' is neither true nor false",
    "literal_error": "expected {expected}",
    "missing": "is missing",
}
SHOWN = 40  # characters of what was given


def fault_reason(item: Mapping[str, Any]) -> str:
    """Return why a value cannot be used; ``item`` is one of the errors of a model."""
    words = _WORDS.get(str(item.get("type")))
    if words is None:
        return str(item.get("msg", "")).removeprefix("Value error, ")
    given = str(item.get("input", ""))[:SHOWN]
    return words.format(**{**item.get("ctx", {}), "given": given})
