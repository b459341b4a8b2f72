"""Builders of histories and the reader of the published vectors in ``tests/data``."""

from __future__ import annotations

import csv
from itertools import pairwise
from pathlib import Path
from typing import Any

from pitlogger.model.book import Span
from pitlogger.model.cooks import CUTS, Stage
from pitlogger.model.quantities import milli_c_from_fahrenheit
from pitlogger.safety.history import PieceHistory, ProbeSeries
from pitlogger.safety.policy import shipped_policy

DATA = Path(__file__).parent.parent / "data"
MIN = 60_000
HOUR = 3_600_000
RETAIL = shipped_policy("retail-food-code")
PLANT = shipped_policy("inspected-plant")
HOME = shipped_policy("home")
Readings = tuple[tuple[int, int], ...]  # t_ms, milli-degC


def vectors(name: str) -> list[dict[str, str]]:
    """Return the rows of a published vector file."""
    with (DATA / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def line(*points: tuple[float, float], every_s: float = 60) -> Readings:
    """Return readings on straight lines between (minutes, F) points."""
    made: list[tuple[int, int]] = []
    for (t0, f0), (t1, f1) in pairwise(points):
        steps = max(1, round((t1 - t0) * 60 / every_s))
        made += [
            (
                round((t0 + (t1 - t0) * step / steps) * MIN),
                milli_c_from_fahrenheit(f0 + (f1 - f0) * step / steps),
            )
            for step in range(steps)
        ]
    last_min, last_f = points[-1]
    return (*made, (round(last_min * MIN), milli_c_from_fahrenheit(last_f)))


def without(readings: Readings, from_min: float, to_min: float) -> Readings:
    """Return readings with those between two times left out, the edges kept."""
    return tuple(p for p in readings if not from_min * MIN < p[0] < to_min * MIN)


def history(
    *cores: Readings,
    stages: tuple[tuple[float, str], ...] = (),
    spots: tuple[tuple[float, float], ...] = (),
    moves: tuple[float, ...] = (),
    end_min: float | None = None,
    cut: str = "brisket-packer",
    **more: Any,
) -> PieceHistory:
    """Return a piece's history: stages as (minutes, stage), spots as (minutes, F)."""
    times = [t_ms for core in cores for t_ms, _ in core]
    times += [round(t * MIN) for t, _ in (*spots, *stages)]
    end_ms = max(times) if end_min is None else round(end_min * MIN)
    starts = [round(t * MIN) for t, _ in stages]
    spans = tuple(
        Span(Stage(name), start, end)
        for (_, name), start, end in zip(stages, starts, [*starts[1:], None], strict=False)
    )
    return PieceHistory(
        piece="brisket-1",
        cut=cut,
        family=CUTS[cut],
        spans=spans,
        cores=tuple(ProbeSeries(f"brisket-1/core{n}", core) for n, core in enumerate(cores)),
        spots=tuple((round(t * MIN), milli_c_from_fahrenheit(f)) for t, f in spots),
        moves=tuple((round(t * MIN), "brisket-1/core0") for t in moves),
        end_ms=end_ms,
        **more,
    )
