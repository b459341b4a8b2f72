"""Vendored files are those the locks name, with their licences."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tools.vendor import LOCKS, check


@pytest.mark.parametrize("lock", LOCKS, ids=lambda lock: lock.parent.parent.name)
def test_vendored_files_are_as_the_lock_says(lock: Path) -> None:
    assert check(lock) == []


@pytest.mark.parametrize("lock", LOCKS, ids=lambda lock: lock.parent.parent.name)
def test_each_package_comes_with_its_licence(lock: Path) -> None:
    for package in json.loads(lock.read_text())["packages"]:
        assert package["licence"]
        assert any(taken["to"].endswith(".LICENSE") for taken in package["files"])
