"""The lock holds what the project asks for, each part with the hashes of its files."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

from packaging.requirements import Requirement

ROOT = Path(__file__).parents[2]
LOCK = (ROOT / "packaging" / "requirements.lock").read_text(encoding="utf-8")
PARTS = re.findall(r"^([a-z0-9.-]+)==(\S+)((?:.*\n(?: {4}.*\n?)+))", LOCK, re.MULTILINE)


def test_every_part_has_hashes_and_none_comes_from_a_named_place() -> None:
    assert len(PARTS) == len(re.findall(r"^[a-z0-9].*==", LOCK, re.MULTILINE)) > 20
    assert all("--hash=sha256:" in rest for _, _, rest in PARTS)
    assert "://" not in LOCK


def test_what_the_project_asks_for_is_pinned_to_a_version_that_fits() -> None:
    pinned: dict[str, set[str]] = {}
    for name, version, _ in PARTS:
        pinned.setdefault(name, set()).add(version)
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    for text in project["dependencies"]:
        asked = Requirement(text)
        name = re.sub(r"[-_.]+", "-", asked.name).lower()
        assert pinned.get(name), f"{text} is not in the lock: run 'make lock'"
        assert all(asked.specifier.contains(version) for version in pinned[name]), text
