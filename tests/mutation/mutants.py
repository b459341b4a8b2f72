"""Which mutants there are: drawn evenly over rooms and kinds of fault, by a seed."""

from __future__ import annotations

import random
import tomllib
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import cosmic_ray.plugins
from cosmic_ray.ast import ast_nodes, get_ast
from cosmic_ray.mutating import mutate_code

# Kinds of fault: one operator is drawn of those that fit a place. ``|`` stands in annotations,
# which nothing evaluates, and a decorator taken away breaks on import.
KINDS = {
    "arithmetic": "ReplaceBinaryOperator_",
    "comparison": "ReplaceComparisonOperator_",
    "sign": "ReplaceUnaryOperator_",
    "not": "AddNot",
    "true": "ReplaceTrueWithFalse",
    "false": "ReplaceFalseWithTrue",
    "and": "ReplaceAndWithOr",
    "or": "ReplaceOrWithAnd",
    "break": "ReplaceBreakWithContinue",
    "continue": "ReplaceContinueWithBreak",
    "number": "NumberReplacer",
    "loop": "ZeroIterationForLoop",
}
LEFT_OUT = ("BitOr", "_Is", "Shift", "BitXor", "BitAnd", "Invert", "_Pow", "UAdd")


@dataclass(frozen=True, slots=True)
class Mutant:
    """One small fault: an operator at one place of a file."""

    room: str
    file: str
    line: int
    operator: str
    occurrence: int
    change: str

    @property
    def key(self) -> str:
        """Name it by what it does, not by its line, which moves."""
        return f"{self.file}: {self.change}"


@cache
def _operators() -> dict[str, list[tuple[str, Any]]]:
    found: dict[str, list[tuple[str, Any]]] = defaultdict(list)
    for name in cosmic_ray.plugins.operator_names():
        short = name.removeprefix("core/")
        if any(part in short for part in LEFT_OUT):
            continue
        for kind, prefix in KINDS.items():
            if short.startswith(prefix):
                found[kind].append((name, cosmic_ray.plugins.get_operator(name)()))
    return found


def _places(file: Path) -> dict[str, list[tuple[str, int, int]]]:
    """Return (operator, occurrence, line) of each place in a file, by kind of fault."""
    tree = get_ast(file.read_text())
    found: dict[str, list[tuple[str, int, int]]] = defaultdict(list)
    for kind, operators in _operators().items():
        for name, operator in operators:
            positions = (
                start for node in ast_nodes(tree) for start, _ in operator.mutation_positions(node)
            )
            found[kind] += [(name, at, start[0]) for at, start in enumerate(positions)]
    return found


def mutated(source: str, mutant: Mutant) -> str:
    """Return the source with the fault in it."""
    operator = cosmic_ray.plugins.get_operator(mutant.operator)()
    changed: str = mutate_code(source, operator, mutant.occurrence)
    return changed


def _change(source: str, changed: str) -> str:
    pairs = zip(source.splitlines(), changed.splitlines(), strict=False)
    return next((f"{a.strip()}  ->  {b.strip()}" for a, b in pairs if a != b), "")


def mutants_of(tree: Path, rooms: Iterable[str], count: int, rng: random.Random) -> list[Mutant]:
    """Draw mutants: rooms alike by their size, kinds of fault alike within a room."""
    files = {
        room: sorted((tree / "pitlogger" / room).rglob("*.py"))
        for room in rooms
        if (tree / "pitlogger" / room).is_dir()
    }
    sizes = {room: sum(len(file.read_bytes()) for file in found) for room, found in files.items()}
    drawn: dict[str, Mutant] = {}
    places = {file: _places(file) for found in files.values() for file in found}
    while len(drawn) < count:
        room = rng.choices(list(sizes), weights=list(sizes.values()))[0]
        file = rng.choices(files[room], weights=[f.stat().st_size for f in files[room]])[0]
        fitting = [kind for kind, found in places[file].items() if found]
        if not fitting:
            continue
        operator, occurrence, line = rng.choice(places[file][rng.choice(fitting)])
        source = file.read_text()
        name = str(file.relative_to(tree))
        mutant = Mutant(room, name, line, operator, occurrence, "")
        changed = mutated(source, mutant)
        if changed is None or changed == source:
            continue
        mutant = Mutant(room, name, line, operator, occurrence, _change(source, changed))
        # How a value is kept, frozen and slotted, is nothing that anybody sees.
        if mutant.change.startswith(("#", '"""', "@dataclass(")):
            continue
        drawn.setdefault(mutant.key, mutant)
    return list(drawn.values())


def listed_equivalents() -> dict[str, str]:
    """Return the mutants that change nothing anybody could see, each with its reason."""
    rows = tomllib.loads((Path(__file__).parent / "equivalent.toml").read_text())["equivalent"]
    return {row["mutant"]: row["reason"] for row in rows}
