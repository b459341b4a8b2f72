"""Lines of code, room by room, without blanks, comments and docstrings: a cost like any other.

python -m tests.benchmarks.code
"""

from __future__ import annotations

import ast
import io
import tokenize
from collections import Counter
from pathlib import Path

from tests.benchmarks.row import Row

ROOT = Path(__file__).parents[2]
PACKAGES = ("pitlogger", "drivers/pitlogger_drivers", "simulators/pitlogger_simulators")
_NOT_CODE = frozenset((
    tokenize.COMMENT, tokenize.NL, tokenize.NEWLINE, tokenize.INDENT, tokenize.DEDENT,
    tokenize.ENDMARKER,
))  # fmt: skip
_WITH_DOCSTRING = (ast.Module, ast.ClassDef, ast.FunctionDef, ast.AsyncFunctionDef)


def lines_of(source: str) -> int:
    """Return how many lines of a module hold code."""
    held: set[int] = set()
    for token in tokenize.generate_tokens(io.StringIO(source).readline):
        if token.type not in _NOT_CODE:
            held.update(range(token.start[0], token.end[0] + 1))
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, _WITH_DOCSTRING) and ast.get_docstring(node) is not None:
            first = node.body[0]
            held.difference_update(range(first.lineno, (first.end_lineno or first.lineno) + 1))
    return len(held)


def rooms(root: Path = ROOT) -> Counter[str]:
    """Return the lines of each room; of drivers and simulators those of the whole package."""
    found: Counter[str] = Counter()
    for package in PACKAGES:
        for path in sorted((root / package).rglob("*.py")):
            room = "/".join(path.relative_to(root).parts[:2])
            found[room] += lines_of(path.read_text(encoding="utf-8"))
    return found


def rows() -> list[Row]:
    """Return the row ``code``."""
    return [Row("code", rooms().total(), "lines")]


if __name__ == "__main__":
    for room, count in [*rooms().most_common(), ("all", rooms().total())]:
        print(f"{count:7} {room}")
