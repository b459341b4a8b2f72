"""The page on the plant names what there is and shows the pictures it speaks of."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from pitlogger_simulators.plant.boundary import PLACES, WRAPS
from pitlogger_simulators.plant.pits import KINDS

DOCS = Path(__file__).parents[2] / "docs"
PAGE = (DOCS / "plant.md").read_text(encoding="utf-8")


@pytest.mark.parametrize("name", [*WRAPS, *PLACES, *KINDS])
def test_the_page_names_every_wrap_place_and_pit(name: str) -> None:
    assert f"`{name}`" in PAGE


def test_every_picture_is_there_and_small() -> None:
    pictures = re.findall(r"\((pictures/[^)]+)\)", PAGE)
    assert len(pictures) == 4
    for picture in pictures:
        assert 1_000 < (DOCS / picture).stat().st_size < 60_000, picture
