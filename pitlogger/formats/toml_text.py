"""Writing TOML tables that a person will go on editing: one key a line, comments kept apart."""

from __future__ import annotations

import json
from collections.abc import Mapping
from decimal import Decimal
from typing import Any


def toml_table(header: str, entries: Mapping[str, Any]) -> str:
    """Return a table with its header, such as ``[node]`` or ``[[device]]``; none for the root."""
    lines = [f"{key} = {toml_value(value)}" for key, value in entries.items()]
    return "\n".join([header, *lines] if header else lines) + "\n"


def toml_value(value: Any) -> str:
    """Return a value; a text with backslashes is written literally, as patterns are read best."""
    match value:
        case bool():
            return "true" if value else "false"
        case Decimal():
            return format(value, "f")
        case int() | float():
            return repr(value)
        case str() if "\\" in value and "'" not in value and value.isprintable():
            return f"'{value}'"
        case str():
            return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
        case list() | tuple():
            return f"[{', '.join(toml_value(one) for one in value)}]"
        case dict():
            return f"{{{', '.join(f'{key} = {toml_value(one)}' for key, one in value.items())}}}"
    raise TypeError(f"{type(value).__name__} has no TOML form here")
