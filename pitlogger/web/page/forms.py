"""Forms: what the page's forms send, as the asks they stand for.

Fields come as text; an empty one counts as not given. ``ago_min`` says how many minutes ago
something happened, ``late_s`` how long the phone kept it (``late``).
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any, TypeVar
from urllib.parse import parse_qsl

from pydantic import ValidationError

from pitlogger.clock import rfc3339
from pitlogger.errors import UsageError, unknown
from pitlogger.formats.model_faults import fault_reason
from pitlogger.views.language import tr
from pitlogger.web import requests
from pitlogger.web.actions import ACTIONS

Body = TypeVar("Body", bound=requests.Ask)
MOST_FIELDS = 200
WEEK_S = 7 * 86_400
MOST_NAME, MOST_PARTS = 60, 4  # characters, and dots, of the name of a field
_STEERING = re.compile("[\u202a-\u202e\u2066-\u2069]")  # turns the words that follow around
_PAGE_ONLY = ("ago_min", "late_s", "back", "seen")


def parse_form(body: bytes) -> dict[str, str]:
    """Return the fields of an ``application/x-www-form-urlencoded`` body that hold anything."""
    try:
        pairs = parse_qsl(body.decode("utf-8"), max_num_fields=MOST_FIELDS)
    except ValueError:
        raise UsageError("the form cannot be read") from None
    plain = ((name, _STEERING.sub("", value).strip()) for name, value in pairs)
    return {name: value for name, value in plain if value}


def ask_of(name: str, form: Mapping[str, str], utc_ms: int, by: str) -> requests.Ask:
    """Return the ask that a form stands for.

    Args:
        name: Of the action.
        utc_ms: Wall time now.
        by: Initials of the phone, where the form names nobody.

    Raises:
        UsageError: An unknown action or field, or a value that cannot be read.
    """
    if name not in ACTIONS:
        raise UsageError(unknown("action", name, ACTIONS))
    return filled(ACTIONS[name].ask, form, utc_ms, by)


def filled(model: type[Body], form: Mapping[str, str], utc_ms: int, by: str) -> Body:
    """Return the model of a body filled from a form; arguments as for ``ask_of``."""
    values = nested({k: v for k, v in form.items() if k not in _PAGE_ONLY})
    values.setdefault("by", by)
    passed_s = _number(form, "ago_min", "minutes", WEEK_S // 60) * 60.0
    passed_s += _number(form, "late_s", "seconds", WEEK_S)
    if passed_s and "at" in model.model_fields and "at" not in values:
        values["at"] = rfc3339(utc_ms - round(passed_s * 1000))
    try:
        return model.model_validate(values)
    except ValidationError as fault:
        raise field_fault(fault) from None


def field_fault(fault: ValidationError) -> UsageError:
    """Return the first fault of a form with the field it is in; the words name no field."""
    first = fault.errors()[0]
    name = ".".join(str(part) for part in first.get("loc", ()))
    is_missing = first["type"] == "missing"
    return UsageError(
        tr("Nothing stands here.") if is_missing else fault_text({**first, "loc": ()}), name
    )


def nested(fields: Mapping[str, str]) -> dict[str, Any]:
    """Return fields with dots in their names as tables, with numbers as lists.

    ``channel.id`` is the key ``id`` of ``channel``; ``into.0.id`` that of the first ``into``.
    """
    made: dict[str, Any] = {}
    for name, value in fields.items():
        *path, last = name.split(".")
        if len(name) > MOST_NAME or len(path) > MOST_PARTS:
            raise UsageError(f"field '{name[:MOST_NAME]}' is none of ours")
        table = made
        for part in path:
            held = table.setdefault(part, {})
            if not isinstance(held, dict):
                raise UsageError(f"field '{name}' cannot stand beside '{part}'")
            table = held
        table[last] = value
    return {name: _listed(value) for name, value in made.items()}


def _listed(value: Any) -> Any:
    if not isinstance(value, dict):
        return value
    inner = {name: _listed(held) for name, held in value.items()}
    if inner and all(name.isdecimal() for name in inner):
        return [inner[name] for name in sorted(inner, key=int)]
    return inner


def _number(form: Mapping[str, str], name: str, of: str, most: int) -> float:
    text = form.get(name, "0")
    try:
        value = float(text.replace(",", "."))
    except ValueError:
        value = -1.0
    if not 0 <= value <= most:
        raise UsageError(f"'{text}' is no number of {of} from 0 to {most}, which is a week", name)
    return value


def fault_text(item: Mapping[str, Any]) -> str:
    """Return one fault that a model found, as a person reads it."""
    location = item.get("loc", ())
    parts = [str(part) for part in location if part != "body"]
    message = fault_reason(item)
    return f"{'.'.join(parts)}: {message}" if parts else message
