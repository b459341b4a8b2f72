"""Journal entries as JSON objects, for the store, captures, the API and exports.

An entry is one flat object: the envelope (``run``, ``seq``, ``t_ms``, ``by``, ``key``) and
the fields of its body, distinguished by ``kind``. What is empty is left out.
"""

from __future__ import annotations

from typing import Annotated, Any

from pydantic import Field, TypeAdapter, ValidationError

from pitlogger.errors import UsageError, unknown
from pitlogger.model.journal import Body, Entry

_ENVELOPE = ("run", "seq", "t_ms", "by", "key")
BODY: TypeAdapter[Body] = TypeAdapter(Annotated[Body, Field(discriminator="kind")])
KINDS: tuple[str, ...] = tuple(
    member.__dataclass_fields__["kind"].default for member in Body.__args__
)
# Fields that came later, by kind, with what they say where they are not given. They are left
# out then: an entry written before reads the same for ever, and its signed chain holds.
_TIMED = {"confirmed": False, "timed": "live"}
_LATER: dict[str, dict[str, object]] = {
    "cook-finished": {"cook": ""},
    "noted": {"cook": ""},
    "piece-added": {"cook": ""},
    "stage-set": {**_TIMED, "reason": "", "source": "person"},
    "weighed": {**_TIMED, "reason": ""},
    "spot-read": _TIMED,
    "undone": {"reason": ""},
    "signed-off": {"name": ""},
    "corrective-taken": {"reason": ""},
}


def dump_body(body: Body) -> dict[str, Any]:
    """Return a body as a JSON object with its ``kind`` first."""
    dumped: dict[str, Any] = BODY.dump_python(body, mode="json", exclude_none=True)
    _leave_out_later(dumped)
    return {"kind": dumped.pop("kind"), **dumped}


def _leave_out_later(dumped: dict[str, Any]) -> None:
    kind = dumped["kind"]
    for name, unsaid in _LATER.get(kind, {}).items():
        if dumped.get(name) == unsaid:
            del dumped[name]
    if kind == "cook-started" and not dumped["cook"]["id"]:
        del dumped["cook"]["id"]
    if kind == "corrected":
        _leave_out_later(dumped["body"])


def dump_entry(entry: Entry) -> dict[str, Any]:
    """Return an entry as one flat JSON object."""
    envelope = {"run": entry.run, "seq": entry.seq, "t_ms": entry.t_ms}
    if entry.by:
        envelope["by"] = entry.by
    if entry.key:
        envelope["key"] = entry.key
    return {**envelope, **dump_body(entry.body)}


def load_body(document: dict[str, Any]) -> Body:
    """Return the body of a JSON object.

    Raises:
        UsageError: Unknown kind, or a field that is missing or of the wrong type.
    """
    kind = document.get("kind")
    if kind not in KINDS:
        raise UsageError(unknown("journal entry", str(kind), KINDS))
    try:
        return BODY.validate_python(document)
    except ValidationError as error:
        first = error.errors()[0]
        field = ".".join(str(part) for part in first["loc"][1:])
        raise UsageError(f"journal entry '{kind}', field '{field}': {first['msg']}") from None


def load_entry(document: dict[str, Any]) -> Entry:
    """Return the entry of a flat JSON object; the inverse of ``dump_entry``."""
    body = load_body({key: value for key, value in document.items() if key not in _ENVELOPE})
    return Entry(
        run=document["run"],
        seq=document["seq"],
        t_ms=document["t_ms"],
        body=body,
        by=document.get("by", ""),
        key=document.get("key", ""),
    )
