"""Typed answers as plain values for JSON."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import MISSING, fields, is_dataclass
from datetime import date, datetime
from typing import Any

from pitlogger.clock import ms_of, rfc3339


def as_fields(answer: Any) -> dict[str, Any]:
    """Return a whole answer, a dataclass, by the names of its fields; see ``as_document``."""
    return {
        field.name.rstrip("_"): as_document(held)
        for field in fields(answer)
        if (held := getattr(answer, field.name)) is not None or field.default is MISSING
    }


def as_document(value: Any) -> Any:
    """Return an answer as dicts, lists and plain values; its keys are the names of its fields.

    Times become RFC 3339 text; a trailing ``_`` of a name that Python keeps for itself falls away.
    A field whose default is ``None`` is left out while it has it: it stands only where asked for.
    """
    if is_dataclass(value) and not isinstance(value, type):
        return as_fields(value)
    if isinstance(value, Mapping):
        return {key: as_document(held) for key, held in value.items()}
    if isinstance(value, list | tuple):
        return [as_document(held) for held in value]
    if isinstance(value, datetime):
        return rfc3339(ms_of(value))
    if isinstance(value, date):
        return value.isoformat()
    return value
