"""Modules that a document names by their path are there."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
PAGES = sorted([*ROOT.glob("*.md"), *ROOT.glob("docs/**/*.md")])
ROOMS = ("pitlogger", "drivers", "simulators", "tests", "tools")
MODULES = [path.as_posix() for room in ROOMS for path in (ROOT / room).rglob("*.py")]
_NAMED = re.compile(r"`([\w./-]+/[\w-]+\.py)`")


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_each_module_that_it_names_is_there(page: Path) -> None:
    if page.name == "CHANGELOG.md":  # tells of what was
        return
    named = set(_NAMED.findall(page.read_text(encoding="utf-8")))
    assert [one for one in named if not any(path.endswith(f"/{one}") for path in MODULES)] == []
