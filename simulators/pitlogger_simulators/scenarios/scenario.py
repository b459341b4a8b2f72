"""Scenarios read, checked and ready to be played."""

from __future__ import annotations

import json
import tomllib
from collections.abc import Iterable
from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from pitlogger.errors import UsageError, unknown
from pitlogger.formats.toml import explain
from pitlogger.model.cooks import Cook
from pitlogger_simulators.faults import Fault
from pitlogger_simulators.people.moments import moment_ms
from pitlogger_simulators.people.steps import ScriptStep, parse_step
from pitlogger_simulators.scenarios.form import ScenarioFile, ScriptTable

DEFAULT = "harvest-supper"
COOK_TABLES = ("cook", "service", "piece", "channel")
NATURE = "nature"
_NAMES = ("id", "channel", "piece", "name")


@dataclass(frozen=True, slots=True)
class ScriptLine:
    """The steps of one script with one piece."""

    by: str
    name: str
    piece: str
    steps: tuple[ScriptStep, ...]


@dataclass(frozen=True, slots=True)
class Scenario:
    """A scenario ready to be played.

    ``cook_text`` is its cook file.
    """

    name: str
    file: ScenarioFile
    cook: Cook
    cook_text: str
    lines: tuple[ScriptLine, ...]
    faults: tuple[Fault, ...]
    start_ms: int

    @property
    def end_ms(self) -> int:
        """When it ends at the latest."""
        return self.start_ms + self.file.limit


def names() -> list[str]:
    """Return the names of the scenarios that come with pitlogger."""
    found = [item.name for item in files(__package__).iterdir() if item.name.endswith(".toml")]
    return sorted(name.removesuffix(".toml") for name in found)


def read(name: str) -> tuple[str, str]:
    """Return where a scenario stands and its text; ``name`` is one of ours or a path.

    Raises:
        UsageError: There is no such scenario or file.
    """
    if name in names():
        place = files(__package__) / f"{name}.toml"
        return str(place), place.read_text(encoding="utf-8")
    path = Path(name)
    if path.suffix != ".toml":
        raise UsageError(unknown("scenario", name, names()))
    try:
        return name, path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as fault:
        raise UsageError(f"scenario '{name}' cannot be read: {fault}") from None


def load(name: str = DEFAULT, changes: Iterable[str] = ()) -> Scenario:
    """Return a scenario with some of its values changed.

    Args:
        changes: ``key=value`` as ``--set`` takes them: ``seed=3``, ``room.temperature=2 C``,
            ``pit.set=250F``, ``piece.butt.mass=4.1 kg``, ``fault.0.amount=2`` (counted from 0).

    Raises:
        UsageError: It cannot be read, with ``file:line``.
    """
    place, text = read(name)
    try:
        document = tomllib.loads(text)
    except tomllib.TOMLDecodeError as fault:
        raise UsageError(f"{place}: not valid TOML: {fault}") from None
    for change in changes:
        _change(document, change)
    try:
        file = ScenarioFile.model_validate(document)
    except ValidationError as fault:
        raise UsageError(explain(fault, ScenarioFile, text, place)) from None
    try:
        lines = _lines(file)
        faults = tuple(_faults(file))
    except UsageError as fault:
        raise UsageError(f"{place}: {fault}") from None
    return Scenario(
        name=Path(name).stem,
        file=file,
        cook=file.to_cook(),
        cook_text=dump_tables({key: document[key] for key in COOK_TABLES if key in document}),
        lines=lines,
        faults=faults,
        start_ms=round(file.start.timestamp() * 1000),
    )


def _lines(file: ScenarioFile) -> tuple[ScriptLine, ...]:
    lines = []
    for script in file.script:
        for piece in script.pieces or ("",):
            steps = tuple(
                parse_step(step.replace("{piece}", piece), file.start) for step in script.steps
            )
            _check(script, piece, steps)
            lines.append(ScriptLine(script.by or file.by, script.name or piece, piece, steps))
    lines += [
        ScriptLine(NATURE, NATURE, "", (parse_step(step, file.start),)) for step in file.nature
    ]
    return tuple(lines)


def _check(script: ScriptTable, piece: str, steps: tuple[ScriptStep, ...]) -> None:
    for step in steps:
        needs = step.verb.needs_piece or any(clause.kind == "core" for clause in step.clauses)
        if needs and not piece:
            raise UsageError(f"step '{step.text}' needs a piece: give its script 'pieces = [...]'")


def _faults(file: ScenarioFile) -> Iterable[Fault]:
    end_ms = round(file.start.timestamp() * 1000) + file.limit
    for table in file.fault:
        begin = moment_ms(table.begin, file.start)
        end = end_ms if table.end is None else moment_ms(table.end, file.start)
        yield Fault(table.on, table.kind, begin, end, table.amount, table.step)


def _change(document: dict[str, Any], change: str) -> None:
    key, equals, text = change.partition("=")
    if not equals:
        raise UsageError(f"--set '{change}': expected key=value, such as pit.set=250F")
    *path, last = key.strip().split(".")
    table: Any = document
    for part in path:
        table = _inside(table, part, change)
    if isinstance(table, list):
        table = _only(table, last, change)
    if not isinstance(table, dict):
        raise UsageError(f"--set '{change}': '{key}' is no key of a table")
    table[last] = _value(text.strip())


def _inside(table: Any, part: str, change: str) -> Any:
    if isinstance(table, list):
        for entry in table:
            if part in (entry.get(name) for name in _NAMES):
                return entry
        return _inside(_only(table, part, change), part, change)
    if part not in table:
        if part == "room":
            return table.setdefault(part, {})
        raise UsageError(f"--set '{change}': {unknown('table', part, table)}")
    return table[part]


def _only(table: list[Any], part: str, change: str) -> Any:
    if len(table) == 1:
        return table[0]
    if part.isdecimal() and int(part) < len(table):
        return table[int(part)]
    known = [
        str(next((entry[n] for n in _NAMES if n in entry), place))
        for place, entry in enumerate(table)
    ]
    raise UsageError(f"--set '{change}': {unknown('name', part, known)}")


def _value(text: str) -> Any:
    try:
        return tomllib.loads(f"value = {text}")["value"]
    except tomllib.TOMLDecodeError:
        return text


def dump_tables(tables: dict[str, Any]) -> str:
    """Return flat tables and arrays of flat tables as TOML text."""
    parts = []
    for name, table in tables.items():
        for entry in table if isinstance(table, list) else [table]:
            head = f"[[{name}]]" if isinstance(table, list) else f"[{name}]"
            rows = [f"{key} = {_toml(value)}" for key, value in entry.items()]
            parts.append("\n".join([head, *rows]))
    return "\n\n".join(parts) + "\n"


def _toml(value: Any) -> str:
    if isinstance(value, bool | int | float | str | list):
        # A JSON string, number, truth value or list of strings is a TOML one.
        return json.dumps(value, ensure_ascii=False)
    return json.dumps(value.isoformat())
