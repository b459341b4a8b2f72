"""What is believed of each cut before anything of it was cooked here: the figures of cuts.toml."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files


@dataclass(frozen=True, slots=True)
class CutFigures:
    """Figures of one piece of a cut; what each is stands at the head of ``cuts.toml``."""

    bought_kg: tuple[float, float, float]
    hours: tuple[float, float, float]
    thick_mm: float
    grate_cm2: float
    servable: float
    source: str


@cache
def figures() -> dict[str, CutFigures]:
    """Return the figures of each cut."""
    text = (files("pitlogger.yields") / "cuts.toml").read_text(encoding="utf-8")
    return {
        cut: CutFigures(tuple(row.pop("bought_kg")), tuple(row.pop("hours")), **row)
        for cut, row in tomllib.loads(text).items()
    }
