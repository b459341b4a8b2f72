"""Measured cooks as requests: sparse published points, joined by a smooth rising curve.

Source of the points: ``tests/data/measured_cooks.csv`` (public records; each row names its
own). Start temperatures and, where not stated, masses are left out or assumed as marked.
"""

from __future__ import annotations

import csv
import re
from dataclasses import dataclass
from pathlib import Path
from typing import cast

import numpy as np

from pitlogger.forecast.request import Request, Series
from pitlogger.model.cooks import Wrap

FILE = Path(__file__).parent.parent / "data" / "measured_cooks.csv"
ASSUMED_START_C = 6.0
LEAST_POINTS = 3  # start included
LEAST_RISE_C = 0.5  # still to come
WHOLE_POINTS = 4  # with fewer, only what comes after the first measured point is asked about
FIRST_H, EVERY_H, LAST_H = 2.0, 1.0, 0.5


@dataclass(frozen=True, slots=True)
class Moment:
    """One question about one record and the hours that were really left.

    ``whole``: the record says how the core came there, not only where it was twice.
    """

    record: str
    request: Request
    left_h: float
    whole: bool = True


def moments(path: Path = FILE) -> list[Moment]:
    """Return hourly moments of every record with at least three points, start included.

    The target is the last temperature recorded. A record of two measured points says nothing of
    the way to the first: its moments begin there.
    """
    found = []
    for record, rows in _records(path).items():
        points = {float(row["hours"]): float(row["core_C"]) for row in rows}
        points.setdefault(0.0, ASSUMED_START_C)
        hours = np.array(sorted(points))
        cores = np.array([points[h] for h in hours])
        if len(hours) < LEAST_POINTS or not rows[0]["pit_or_ambient_C"]:
            continue
        if not rows[0]["cut"].startswith(("brisket", "pork")):
            continue
        found += _of_record(record, rows[0], hours, cores)
    return found


def _records(path: Path) -> dict[str, list[dict[str, str]]]:
    held: dict[str, list[dict[str, str]]] = {}
    with path.open(newline="") as file:
        for row in csv.DictReader(file):
            held.setdefault(row["id"], []).append(row)
    return held


def _of_record(
    record: str, row: dict[str, str], hours: np.ndarray, cores: np.ndarray
) -> list[Moment]:
    wrap, wrapped_h = _wrap(row["wrap"])
    pit_c = float(row["pit_or_ambient_C"])
    mass = re.findall(r"[\d.]+", row["mass_kg"])
    times = np.arange(0.0, hours[-1] * 3600.0, 60.0)
    curve = _joined(times / 3600.0, hours, cores)
    found = []
    first_h = FIRST_H if len(hours) >= WHOLE_POINTS else float(hours[1])
    for now_h in np.arange(first_h, hours[-1] - LAST_H + 1e-9, EVERY_H):
        kept = times <= now_h * 3600.0
        if curve[kept][-1] > cores[-1] - LEAST_RISE_C:
            continue
        on = wrapped_h is not None and wrapped_h <= now_h
        request = Request(
            piece=record, target="pull", target_c=float(cores[-1]), now_s=now_h * 3600.0,
            core=Series(times[kept], curve[kept]),
            pit=Series(times[kept], np.full(kept.sum(), pit_c)), on_pit_s=0.0, set_point_c=pit_c,
            mass_g=1000.0 * float(np.mean([float(m) for m in mass])) if mass else None,
            family="brisket" if row["cut"].startswith("brisket") else "pork-shoulder",
            wrap=wrap if on else None, wrapped_s=wrapped_h * 3600.0 if on and wrapped_h else None,
            wrap_plan=wrap, wrap_at_s=wrapped_h * 3600.0 if wrapped_h and not on else None,
        )  # fmt: skip
        whole = len(hours) >= WHOLE_POINTS
        found.append(Moment(record, request, float(hours[-1] - now_h), whole))
    return found


def _wrap(text: str) -> tuple[Wrap, float | None]:
    """Return the kind and the hour in ``foil at 4.0 h``; an unnamed wrap counts as paper."""
    match = re.search(r"at ([\d.]+) h", text)
    if match is None:
        return "none", None
    kind = "pan" if "pan" in text else "foil" if "foil" in text else "paper"
    return cast(Wrap, kind), float(match[1])


def _joined(at: np.ndarray, hours: np.ndarray, cores: np.ndarray) -> np.ndarray:
    """Return a monotone cubic curve through the points (Fritsch and Carlson 1980)."""
    from scipy.interpolate import PchipInterpolator

    return np.asarray(PchipInterpolator(hours, cores)(at))
