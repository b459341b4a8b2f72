"""Food is never given a good name: one word never appears, in code, data, policies or pages."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent.parent
WORD = re.compile(r"\b" + "sa" + r"fe\b", re.IGNORECASE)
PLACES = (
    "pitlogger/safety/**/*.py", "pitlogger/safety/**/*.csv", "pitlogger/safety/**/*.toml",
    "pitlogger/cli/records/safety.py", "pitlogger/cli/instruments/check.py", "docs/food-safety.md",
)  # fmt: skip


@pytest.mark.parametrize("place", PLACES)
def test_the_word_never_appears(place: str) -> None:
    files = sorted(ROOT.glob(place))
    assert files
    for file in files:
        for number, line in enumerate(file.read_text(encoding="utf-8").splitlines(), start=1):
            assert not WORD.search(line), f"{file}:{number}: {line.strip()}"


def test_the_page_carries_the_cautions() -> None:
    page = (ROOT / "docs/food-safety.md").read_text(encoding="utf-8")
    for words in ("record and a reminder", "local code", "calibrated probe in the coldest spot",
                  "thrown away"):  # fmt: skip
        assert words in page


def test_the_page_names_every_limit_of_the_policies() -> None:
    from dataclasses import fields

    from pitlogger.safety.policy import Policy

    page = (ROOT / "docs/food-safety.md").read_text(encoding="utf-8")
    missing = [
        field.name
        for field in fields(Policy)
        if field.name not in ("name", "version", "title") and f"`{field.name}`" not in page
    ]
    assert missing == []
