"""Writing TOML tables that a person will go on editing: one key a line, comments kept apart."""

from __future__ import annotations

import json
from collections.abc import Mapping
from datetime import date
from decimal import Decimal
from typing import Any


def toml_table(header: str, entries: Mapping[str, Any]) -> str:
    """Return a table with its header, such as ``[node]`` or ``[[device]]``; none for the root."""
    lines = [f"{key} = {toml_value(value)}" for key, value in entries.items()]
    return "\n".join([header, *lines] if header else lines) + "\n"


def toml_document(document: Mapping[str, Any]) -> str:
    """Return a document: its own values, its tables, its lists of tables; deeper ones inline."""
    own = {key: value for key, value in document.items() if not _is_table(value)}
    parts = [toml_table("", own)] if own else []
    for key, value in document.items():
        if isinstance(value, dict):
            parts.append(toml_table(f"[{key}]", value))
        elif _is_table(value):
            parts += [toml_table(f"[[{key}]]", one) for one in value]
    return "\n".join(parts)


def _is_table(value: Any) -> bool:
    in_list = isinstance(value, list) and bool(value) and all(isinstance(v, dict) for v in value)
    return isinstance(value, dict) or in_list


def toml_value(value: Any) -> str:
    """Return a value; a text with backslashes is written literally, as patterns are read best."""
    match value:
        case bool():
            return "true" if value else "false"
        case Decimal():
            return format(value, "f")
        case int() | float():
            return repr(value)
        case date():  # a moment too
            return value.isoformat()
        case str() if "\\" in value and "'" not in value and value.isprintable():
            return f"'{value}'"
        case str():
            return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
        case list() | tuple():
            return f"[{', '.join(toml_value(one) for one in value)}]"
        case dict():
            return f"{{{', '.join(f'{key} = {toml_value(one)}' for key, one in value.items())}}}"
    raise TypeError(f"{type(value).__name__} has no TOML form here")
