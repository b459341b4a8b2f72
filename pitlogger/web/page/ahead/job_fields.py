"""The form of a job: which keys of the file it shows, by what label, and what was typed in them."""

from __future__ import annotations

import itertools
import re
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import date, datetime
from decimal import Decimal, InvalidOperation
from importlib.resources import files
from typing import Any, Literal, cast

from pitlogger.errors import FieldError
from pitlogger.formats.toml_text import toml_document
from pitlogger.model.cooks import CUTS
from pitlogger.web.page.typed import decimal_point, may_be_thousands

Kind = Literal[
    "text", "whole", "number", "measure", "day", "moment", "choice", "tick", "lines", "list"
]
MOST_ROWS = 6
_LONGEST = 2000


@dataclass(frozen=True, slots=True)
class Key:
    """A key of the job file as the form shows it; ``path`` such as ``meat.0.price``."""

    path: str
    label: str
    kind: Kind = "text"
    hint: str = ""
    options: tuple[str, ...] = ()


def _key(path: str, label: str, kind: str = "text", **more: Any) -> Key:
    options = ("", *CUTS) if kind == "cut" else tuple(more.pop("options", ()))
    return Key(path, label, "choice" if options else cast(Kind, kind), options=options, **more)


_FORM = tomllib.loads((files(__package__) / "job_form.toml").read_text(encoding="utf-8"))
# Keys of a table that may stand several times; the first one makes the row.
_ROWS = {table: tuple(_key(**key) for key in keys) for table, keys in _FORM["row"].items()}
TABLES = (*_ROWS, "fuel", "shortage", "actual", "job")
# What each group of the form holds: single keys, and tables by their name.
GROUPS: tuple[tuple[str, tuple[Key | str, ...]], ...] = tuple(
    (group["heading"], tuple(x if isinstance(x, str) else _key(**x) for x in group["fields"]))
    for group in _FORM["group"]
)


@dataclass(frozen=True, slots=True)
class ShownKey:
    """A key with what stands in it."""

    key: Key
    value: str


@dataclass(frozen=True, slots=True)
class Group:
    """A group of the form: single keys, and rows of keys."""

    heading: str
    single: tuple[ShownKey, ...]
    rows: tuple[tuple[ShownKey, ...], ...]

    is_changed: bool = False

    @property
    def keys(self) -> Iterator[ShownKey]:
        yield from self.single
        for row in self.rows:
            yield from row


def groups(text: str, typed: Mapping[str, str] | None = None) -> list[Group]:
    """Return the form of a job's text; ``typed`` stands over it where it was refused."""
    raw, found, typed = tomllib.loads(text), [], typed or {}
    for heading, content in GROUPS:
        single = [one for one in content if isinstance(one, Key)]
        tables = [one for one in content if isinstance(one, str)]
        rows = [row for table in tables for row in _rows(table, raw, typed)]
        group = Group(
            heading,
            tuple(ShownKey(key, _value(key, raw, typed)) for key in single),
            tuple(tuple(ShownKey(key, _value(key, raw, typed)) for key in row) for row in rows),
        )
        found.append(replace(group, is_changed=any(_is_new(one, raw) for one in group.keys)))
    return found


def _is_new(shown: ShownKey, raw: Mapping[str, Any]) -> bool:
    """Return whether a value is another than the job's; the first choice is what goes unsaid."""
    before = _value(shown.key, raw, {})
    unsaid = shown.key.options[0] if shown.key.options else ""
    return shown.value != before and (before or shown.value) != unsaid


def _rows(table: str, raw: Mapping[str, Any], typed: Mapping[str, str]) -> Iterator[list[Key]]:
    """Yield the keys of each row there is, and of one more."""
    there = len(raw.get(table, ()))
    while there < MOST_ROWS and any(name.startswith(f"{table}.{there}.") for name in typed):
        there += 1
    for number in range(min(MOST_ROWS, there + 1)):
        yield [
            Key(f"{table}.{number}.{key.path}", key.label, key.kind, key.hint, key.options)
            for key in _ROWS[table]
        ]


def _value(key: Key, raw: Mapping[str, Any], typed: Mapping[str, str]) -> str:
    if key.path in typed:
        return typed[key.path]
    held: Any = raw
    for part in key.path.split("."):
        if isinstance(held, list):
            held = held[int(part)] if int(part) < len(held) else None
        else:
            held = held.get(part) if isinstance(held, dict) else None
    match held:
        case None | False:
            return ""
        case True:
            return "yes"
        case list():
            return ("\n" if key.kind == "lines" else ", ").join(map(str, held))
        case datetime():
            return held.strftime("%Y-%m-%dT%H:%M")
        case str() if key.kind == "moment":
            return held[:16]
    return str(held)


def edited(text: str, typed: Mapping[str, str]) -> str:
    """Return a job's text after the form; keys that the form did not send stay as they were.

    Raises:
        FieldError: Something typed cannot be read.
    """
    raw: dict[str, Any] = tomllib.loads(text)
    for group in groups(text, typed):
        for shown in group.keys:
            if _is_new(shown, raw):
                value = shown.value.strip()[:_LONGEST]
                _put(raw, shown.key, _read(shown.key, value, _offset(raw)))
    for name in TABLES:
        _prune(raw, name, tomllib.loads(text).get(name, ()))
    _first_sitting(raw)
    return toml_document(raw)


def _first_sitting(raw: dict[str, Any]) -> None:
    """Let a job that had one time and gets further sittings have its first as a row like them."""
    rows, job = raw.get("sitting"), raw.get("job", {})
    if not rows or "serve_at" not in job:
        return
    first = {"at": job.pop("serve_at")} | ({"place": job["place"]} if "place" in job else {})
    further = [row.get("guests") for row in rows]
    if None not in further and isinstance(job.get("guests"), int):
        first["guests"] = job["guests"] - sum(further)
        if first["guests"] < 1:
            why = f"'{job['guests']}' are not more than the {sum(further)} of further sittings"
            raise FieldError("job.guests", why)
    rows.insert(0, first)


def _put(raw: dict[str, Any], key: Key, value: Any) -> None:
    """Set a value by its path, or take it out where nothing was typed."""
    *way, last = key.path.split(".")
    held: Any = raw
    for part, then in itertools.pairwise([*way, last]):
        if part.isdigit():
            held.extend({} for _ in range(int(part) + 1 - len(held)))
            held = held[int(part)]
        else:
            held = held.setdefault(part, [] if then.isdigit() else {})
    if value is None:
        held.pop(last, None)
    else:
        held[last] = value


def _prune(raw: dict[str, Any], name: str, before: Any) -> None:
    """Take out rows without what makes them, and tables without anything.

    Raises:
        FieldError: A new row has something, and not what makes it.
    """
    held = raw.get(name)
    if isinstance(held, list):
        first = _ROWS[name][0].path
        for number, row in enumerate(held[len(before) :], start=len(before)):
            beside = [value for value in row.values() if isinstance(value, str | int | Decimal)]
            if first not in row and beside:
                why = f"nothing stands here beside '{beside[0]}'"
                raise FieldError(f"{name}.{number}.{first}", why)
        raw[name] = [row for row in held if first in row]
        for row in raw[name]:
            others = [one for one in row.pop("or_else", ()) if "cut" in one]
            if others:
                row["or_else"] = others
    if name in raw and not raw[name]:
        del raw[name]


def _offset(raw: Mapping[str, Any]) -> Any:
    """Return the offset from UTC that the job's times are written with, ``None`` for none yet."""
    told = [raw.get("job", {}).get("serve_at"), *(s.get("at") for s in raw.get("sitting", ()))]
    for at in told:
        if at is not None:
            return (datetime.fromisoformat(at) if isinstance(at, str) else at).tzinfo
    return None


def _read(key: Key, text: str, offset: Any) -> Any:
    if not text:
        return None
    try:
        match key.kind:
            case "whole":
                return int(text)
            case "number":
                return Decimal(_with_point(key, text))
            case "measure":
                return _with_point(key, text)
            case "day":
                return date.fromisoformat(text)
            case "moment":
                at = datetime.fromisoformat(text)
                at = at if at.tzinfo else at.replace(tzinfo=offset) if offset else at.astimezone()
                return at.isoformat(timespec="seconds")
            case "tick":
                return True
            case "lines":
                return [line.strip() for line in text.splitlines() if line.strip()]
            case "list":
                return [part.strip() for part in text.split(",") if part.strip()]
    except (ValueError, InvalidOperation):
        wanted = {"whole": "a whole number", "number": "a number", "day": "a day"}
        said = wanted.get(key.kind, "a day and a time")
        raise FieldError(key.path, f"'{text}' is not {said}") from None
    return text


def _with_point(key: Key, text: str) -> str:
    """Return a number, a mass or a price with a decimal point; 1,500 may be either."""
    if may_be_thousands(text, alone=key.kind == "number"):
        either = f"write {text.replace(',', '')} or {text.replace(',', '.')}"
        raise FieldError(key.path, f"'{text}' can be read two ways: {either}")
    return decimal_point(text)


def label_of(path: str) -> str:
    """Return the label of a key by its path, else the path in words.

    A plan names its fields alone: what the job's own table has of that name is meant.
    """
    table, *middle, last = re.sub(r"\.\d+$", "", path).split(".") if "." in path else ("job", path)
    known = {key.path: key.label for _, content in GROUPS for key in content
             if isinstance(key, Key)}  # fmt: skip
    if middle and table in _ROWS:
        for key in _ROWS[table]:
            if key.path == ".".join([*middle[1:], last]):
                return key.label
    return known.get(f"{table}.{last}", path.replace("_", " "))
