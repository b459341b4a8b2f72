"""TOML files read into pydantic models, with errors that name file and line.

``tomllib`` forgets where a value stood, so the source is scanned once more for table
headers and keys, and pydantic's location is looked up in that map.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError

from pitlogger.errors import UsageError, nearest
from pitlogger.files import refuse_device
from pitlogger.formats.model_faults import fault_reason

M = TypeVar("M", bound=BaseModel)
MOST_BYTES = 4_000_000
_HEADER = re.compile(r"\s*(\[\[?)\s*([^\]]+?)\s*\]\]?\s*(?:#.*)?$")
_KEY = re.compile(r"\s*([A-Za-z0-9_\-\"'.]+?)\s*=")
Location = tuple[str | int, ...]
Rewrite = Callable[[dict[str, Any], str], dict[str, Any]]  # tables, name of the file


def read_toml(
    path: Path, model: type[M], error: type[UsageError], rewrite: Rewrite | None = None
) -> M:
    """Return the file at ``path`` as ``model``; ``rewrite`` sees its tables before.

    Raises:
        UsageError: (as ``error``) Missing file, broken TOML, unknown key, wrong value; the
            message starts with ``file:line``.
    """
    text = read_toml_text(path, error)
    return parse_toml(text, model, error, str(path), rewrite)


def read_toml_text(path: Path, error: type[UsageError]) -> str:
    """Return the text of the file at ``path``.

    Raises:
        UsageError: (as ``error``) It is missing, a device, too large, or no UTF-8 text.
    """
    try:
        refuse_device(path)
        if path.stat().st_size > MOST_BYTES:
            raise error(f"{path}: larger than {MOST_BYTES / 1e6:.0f} MB: is it the right file?")
        text = path.read_text(encoding="utf-8")
    except OSError as fault:
        raise error(f"{path}: cannot be read: {fault.strerror}") from None
    except UnicodeDecodeError:
        raise error(f"{path}: is not UTF-8 text") from None
    return text


def parse_toml(
    text: str,
    model: type[M],
    error: type[UsageError],
    name: str,
    rewrite: Rewrite | None = None,
) -> M:
    """Return TOML text as ``model``; ``name`` stands for the file in messages."""
    try:
        document = tomllib.loads(text)
    except tomllib.TOMLDecodeError as fault:
        line = re.search(r"line (\d+)", str(fault))
        place = f"{name}:{line[1]}" if line else name
        raise error(f"{place}: not valid TOML: {fault}") from None
    except RecursionError:
        raise error(f"{name}: not a file of ours: nested too deeply") from None
    except ValueError as fault:  # a number of thousands of digits
        raise error(f"{name}: not valid TOML: {fault}") from None
    if _holds_nul(document):
        raise error(f"{name}: a text in it holds the character \\u0000, which no name or path can")
    try:
        return model.model_validate(rewrite(document, name) if rewrite else document)
    except ValidationError as fault:
        known = _known_keys(model, ())
        if len(document) > 1 and not {*document} & {*known}:
            held, here = (", ".join(list(names)[:4]) for names in (document, known))
            raise error(f"{name}: another kind of file: it has {held}; expected {here}") from None
        raise error(explain(fault, model, text, name)) from None


def _holds_nul(document: Any) -> bool:
    """Return whether any text holds a NUL; a path of thousands of keys is no recursion here."""
    waiting = [document]
    while waiting:
        value = waiting.pop()
        if isinstance(value, dict):
            waiting += [*value, *value.values()]
        elif isinstance(value, list):
            waiting += value
        elif isinstance(value, str) and "\0" in value:
            return True
    return False


def explain(fault: ValidationError, model: type[BaseModel], text: str, name: str) -> str:
    """Return the first faults of a validation, a line each, with ``file:line``."""
    lines = key_lines(text)
    told = []
    for item in fault.errors()[:5]:
        location: Location = item["loc"]
        place = f"{name}:{_line_of(location, lines)}"
        shown = ".".join(str(part) for part in location) or "file"
        if item["type"] == "extra_forbidden":
            known = _known_keys(model, location[:-1])
            told.append(f"{place}: unknown key '{shown}'{nearest(str(location[-1]), known)}")
        elif item["type"] == "missing":
            told.append(f"{place}: '{shown}' is missing")
        else:
            message = fault_reason(item)
            given = item["input"]
            if isinstance(given, dict):  # of a whole table, its name says more than its content
                told.append(f"{place}: {shown}: {message}" if location else f"{place}: {message}")
            else:
                told.append(f"{place}: {shown} = {_shorten(given)}: {message}")
    return "\n".join(told)


def key_lines(text: str) -> dict[Location, int]:
    """Return the line of each table header and key by its pydantic location."""
    lines: dict[Location, int] = {}
    table: Location = ()
    counts: dict[Location, int] = {}
    for number, line in enumerate(text.splitlines(), start=1):
        if header := _HEADER.match(line):
            table = _enter(header[2], header[1] == "[[", counts)
            lines.setdefault(table, number)
        elif key := _KEY.match(line):
            path = tuple(part.strip("\"' ") for part in key[1].split("."))
            lines.setdefault((*table, *path), number)
    return lines


def _enter(name: str, is_array: bool, counts: dict[Location, int]) -> Location:
    """Return the location of a table header, counting the entries of arrays of tables."""
    parts = [part.strip("\"' ") for part in name.split(".")]
    location: Location = ()
    for depth, part in enumerate(parts, start=1):
        location = (*location, part)
        if depth == len(parts) and is_array:
            counts[location] = counts.get(location, -1) + 1
        if location in counts:
            location = (*location, counts[location])
    return location


def _line_of(location: Location, lines: dict[Location, int]) -> int:
    """Return the line of a location, or of the nearest table around it."""
    while location:
        if location in lines:
            return lines[location]
        location = location[:-1]
    return 1


def _known_keys(model: type[BaseModel], location: Location) -> list[str]:
    """Return the keys a table may hold, following ``location`` down the model."""
    current: Any = model
    for part in location:
        if isinstance(part, int):
            continue
        if hasattr(current, "model_fields") and list(current.model_fields) == ["root"]:
            current = _inner_model(current.model_fields["root"].annotation)  # a table by name
            continue
        field = current.model_fields.get(part) if hasattr(current, "model_fields") else None
        current = _inner_model(field.annotation) if field else None
    if current is None or not hasattr(current, "model_fields"):
        return []
    return [field.alias or name for name, field in current.model_fields.items()]


def _inner_model(annotation: Any) -> Any:
    """Return the model inside ``list[M]``, ``M | None`` and the like."""
    if hasattr(annotation, "model_fields"):
        return annotation
    for argument in getattr(annotation, "__args__", ()):
        if (found := _inner_model(argument)) is not None:
            return found
    return None


def _shorten(value: Any) -> str:
    shown = repr(value)
    return shown if len(shown) <= 60 else shown[:57] + "..."
