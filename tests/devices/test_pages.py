"""The pages about devices name what there is."""

from __future__ import annotations

import re
from pathlib import Path

ROOT = Path(__file__).parents[2]


def test_every_test_named_for_a_bluetooth_trouble_exists() -> None:
    page = (ROOT / "docs" / "bluetooth-troubles.md").read_text(encoding="utf-8")
    tests = "".join(path.read_text("utf-8") for path in (ROOT / "tests/devices").glob("*.py"))
    named = set(re.findall(r"`(test_\w+)`", page))
    assert len(named) > 20
    assert [name for name in sorted(named) if f"def {name}(" not in tests] == []


def test_every_class_named_for_driver_authors_exists() -> None:
    page = (ROOT / "docs" / "writing-a-driver.md").read_text(encoding="utf-8")
    sources = "".join(
        path.read_text("utf-8")
        for folder in ("pitlogger/devices", "pitlogger/testing", "pitlogger/errors.py")
        for path in ([ROOT / folder] if folder.endswith(".py") else (ROOT / folder).rglob("*.py"))
    )
    named = set(re.findall(r"`(?:pitlogger\.testing\.)?([A-Z][A-Za-z]+[a-z])`", page))
    known = {"TeaKettle", "Quality"}
    assert [n for n in sorted(named - known) if f"class {n}" not in sources] == []
