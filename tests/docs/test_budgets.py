"""The limits and goals that docs/budgets.md names are those the benchmarks are held to."""

from __future__ import annotations

import re
from pathlib import Path

from tests.benchmarks.__main__ import BUDGETS

PAGE = Path(__file__).parents[2] / "docs" / "budgets.md"
ROW = re.compile(r"^\| `([a-z-]+)` \|.*\| ([\d.]+)[^|]*\| ([\d.]+)[^|]*\|$", re.MULTILINE)


def test_limits_and_goals_are_those_of_the_bench() -> None:
    told = {
        name: (float(limit), float(goal)) for name, limit, goal in ROW.findall(PAGE.read_text())
    }
    known = {name: (limit, goal) for name, (limit, goal, _) in BUDGETS.items()}
    shared = told.keys() & known.keys()
    assert len(shared) > 12
    assert {name: told[name] for name in shared} == {name: known[name] for name in shared}
