"""A judgement of its own, from the published tables and from what truly happened.

Shares no code with the verdicts it checks. It goes along a grid of ten seconds and knows which
readings were of the probe's own place in the meat. ``met`` is true where the limit is shown to
be met, false where it is not or not shown, ``None`` where the case lies so near a limit that the
grid cannot tell.

Sources: FSIS-GD-2021 Table 2 (6.5 log), FDA Food Code 3-401.11(A)(3), 3-501.14(A), 3-501.16(A).
"""

from __future__ import annotations

import csv
from copy import copy
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np

from tests.safety.independent.kitchen import MIN, T0_MS, Meat, Probe, Scene

GRID_S = 10.0
MAX_GAP_S = 30 * MIN
SETTLE_S = 10 * MIN
HOT_C = (135 - 32) / 1.8
MIDDLE_C = (70 - 32) / 1.8
COLD_C = (41 - 32) / 1.8
NEAR_C = 0.12  # readings have a tenth of a degree
HELD = {"resting", "holding", "serving", "carved", "in-transit"}


@dataclass
class Truth:
    """Of one piece: true, false, ``None`` for too near to tell; absent where it is no matter."""

    lethality: bool | None
    holding: bool | None
    cooling: bool | None
    applies: dict[str, bool]


@cache
def table() -> list[tuple[float, float]]:
    path = Path(__file__).parents[2] / "data" / "fsis_appendix_a_meat.csv"
    with path.open(encoding="utf-8") as file:
        return [
            ((float(row["temp_f"]) - 32) / 1.8, float(row["seconds_6_5log"]))
            for row in csv.DictReader(file)
        ]


class _View:
    """One probe along the grid: its value, and whether it has something to show there."""

    def __init__(self, probe: Probe, meat: Meat, grid: np.ndarray) -> None:
        good = probe.own.copy()
        if probe.failed_s is not None:
            good &= probe.times_s < probe.failed_s[0]
        if probe.moved_s is not None:
            good &= np.abs(probe.times_s - probe.moved_s) > SETTLE_S
        if probe.ended_s is not None:
            good &= probe.times_s < probe.ended_s
        times, values = probe.times_s[good], probe.values_c[good]
        self.doubted = (probe.times_s[~good], probe.values_c[~good])
        edges = np.concatenate([[-1e12], times, [1e12]])
        extra = []
        for at_s, value, _ in meat.spots:
            k = int(np.searchsorted(edges, at_s))
            if edges[k] - edges[k - 1] > MAX_GAP_S:
                extra.append((at_s, value))
        if extra:
            times = np.concatenate([times, [t for t, _ in extra]])
            values = np.concatenate([values, [v for _, v in extra]])
            order = np.argsort(times)
            times, values = times[order], values[order]
        self.times, self.values = times, values
        self.shown = np.zeros(len(grid), bool)
        self.value = np.full(len(grid), np.nan)
        if len(times) > 1:
            after = np.searchsorted(times, grid, side="right")
            inside = (after > 0) & (after < len(times))
            before = np.clip(after - 1, 0, len(times) - 2)
            self.shown = inside & (times[before + 1] - times[before] <= MAX_GAP_S)
            self.value = np.where(self.shown, np.interp(grid, times, values), np.nan)

    def silent(self, from_s: float, to_s: float) -> bool:
        inside = self.times[(self.times >= from_s) & (self.times <= to_s)]
        edges = np.concatenate([[from_s], inside, [to_s]])
        return bool(np.diff(edges).max() > MAX_GAP_S)


def judge(meat: Meat, scene: Scene, until_s: float | None = None) -> Truth:
    """Return what is shown of one piece, up to a time if one is given."""
    end_s = max((entry.t_ms - T0_MS) / 1000 for entry in scene.entries)
    end_s = max([end_s, *((reading.t_ms - T0_MS) / 1000 for reading in scene.readings)])
    end_s = end_s if until_s is None else until_s
    grid = np.arange(0, end_s, GRID_S)
    views = [_View(probe, meat, grid) for probe in meat.probes]
    told, known = _stages(meat, grid, entered=False), _stages(meat, grid, entered=True)
    cooked, cooked_at = _lethality(meat, views, grid, told)
    holding, held = _holding(meat, views, grid, told, known, cooked_at, end_s)
    cooling, cooled = _cooling(meat, views, told, grid)
    return Truth(cooked, holding, cooling, {"lethality": True, "holding": held, "cooling": cooled})


def _stages(meat: Meat, grid: np.ndarray, entered: bool) -> list[str]:
    edges = sorted({0.0, *(m[1] for m in meat.marks), *(m[2] for m in meat.marks)})
    found = np.full(len(grid), "raw", dtype=object)
    for edge in edges:
        marks = [m for m in meat.marks if m[1] <= edge and (not entered or m[2] <= edge)]
        if marks:
            found[int(np.ceil(edge / GRID_S)) :] = max(marks, key=lambda mark: mark[1])[0]
    return list(found)


def _row_times(views: list[_View], allowed: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    lowest = np.min([view.value for view in views], axis=0)
    counts = allowed & np.all([view.shown for view in views], axis=0)
    return lowest, counts


def _lethality(
    meat: Meat, views: list[_View], grid: np.ndarray, told: list[str]
) -> tuple[bool | None, float | None]:
    ended = [s for s in ("cooling", "served", "chilled") if s in told]
    stop = min((told.index(s) for s in ended), default=len(grid))
    allowed = np.zeros(len(grid), bool)
    allowed[:stop] = True
    answers = [
        _answered(meat, views, grid, allowed, excused)
        for excused in ((True,), (True, None))  # those surely shown by themselves; those perhaps
    ]
    found, when = answers[0]
    return (found, when) if found is answers[1][0] else (None, None)


def _answered(
    meat: Meat,
    views: list[_View],
    grid: np.ndarray,
    allowed: np.ndarray,
    excused: tuple[bool | None, ...],
) -> tuple[bool | None, float | None]:
    """Return what is shown where a probe that was taken out counts no more once it had shown it."""
    left = []
    for probe, view in zip(meat.probes, views, strict=True):
        mine = copy(view)
        if probe.ended_s is not None and _reached([view], meat, grid, allowed)[0] in excused:
            after = grid >= probe.ended_s
            mine.shown = mine.shown | after
            mine.value = np.where(after, 999.0, mine.value)
        left.append(mine)
    found, when = _reached(left, meat, grid, allowed)
    if any(probe.moved_s is not None for probe in meat.probes):
        return False if found is False else None, None
    return found, when


def _reached(
    views: list[_View], meat: Meat, grid: np.ndarray, allowed: np.ndarray
) -> tuple[bool | None, float | None]:
    lowest, counts = _row_times(views, allowed)
    near, when = False, None
    is_poultry = meat.cut.startswith("chicken")
    rows = [((165 - 32) / 1.8, 0.0)] if is_poultry else table()
    for row_c, needed_s in rows:
        sure = np.cumsum(counts & (lowest >= row_c + NEAR_C)) * GRID_S
        maybe = (counts & (lowest >= row_c - NEAR_C)).sum() * GRID_S
        wanted = needed_s * 1.03 + 240
        if sure[-1] >= wanted:
            at = float(grid[int(np.argmax(sure >= wanted))])
            when = at if when is None else min(when, at)
        near = near or maybe >= max(GRID_S, needed_s * 0.97 - 30)
        near = near or (needed_s == 0 and any(v >= row_c - NEAR_C for _, v, _ in meat.spots))
    if when is not None:
        return True, when
    return (None, None) if near else (False, None)


def _holding(
    meat: Meat,
    views: list[_View],
    grid: np.ndarray,
    told: list[str],
    known: list[str],
    cooked_at: float | None,
    end_s: float,
) -> tuple[bool | None, bool]:
    held = np.array([a in HELD or b in HELD for a, b in zip(told, known, strict=True)])
    lowest = np.nanmin(
        np.array([np.where(view.shown, view.value, 999.0) for view in views]), axis=0
    )
    if cooked_at is not None:
        on_fire = np.array(
            [a == "smoking" or b == "smoking" for a, b in zip(told, known, strict=True)]
        )
        hot = np.cumsum((grid >= cooked_at) & (lowest >= HOT_C) & (lowest < 900)) > 0
        held = held | (on_fire & hot & (lowest < HOT_C - NEAR_C))
    if not held.any():
        return None, False
    if _longest(held & (lowest < HOT_C - NEAR_C)) >= 60 + 2 * GRID_S:
        return False, True
    unsure = _longest(held & (lowest < HOT_C + NEAR_C)) >= 30
    spans = _spans(grid, np.array([stage in HELD for stage in told]), end_s)
    for at_s, value in [*((t, v) for t, v, _ in meat.spots), *_not_replaced(meat)]:
        stage = held[min(len(grid) - 1, int(at_s // GRID_S))]
        if stage and value < HOT_C - NEAR_C:
            return False, True
        unsure = unsure or (bool(stage) and value < HOT_C + NEAR_C)
    for view in views:
        times, values = view.doubted
        for t_s, value in zip(times, values, strict=True):
            if held[min(len(grid) - 1, int(t_s // GRID_S))] and value < HOT_C - NEAR_C:
                unsure = True  # doubted and unfavourable: not shown
        if any(view.silent(from_s, to_s) for from_s, to_s in spans):
            return False, True
    if any(
        probe.moved_s is not None and any(a <= probe.moved_s <= b for a, b in spans)
        for probe in meat.probes
    ):
        return False, True
    return (None if unsure else True), True


def _not_replaced(meat: Meat) -> list[tuple[float, float]]:
    """Return struck hand readings, but for those after which a fresh one was soon taken."""
    return [
        (at_s, value)
        for at_s, value, until_s in meat.struck
        if not any(until_s <= fresh_s <= at_s + MAX_GAP_S for fresh_s, _, _ in meat.spots)
    ]


def _longest(where: np.ndarray) -> float:
    edges = np.flatnonzero(np.diff(np.concatenate([[0], where.astype(int), [0]])))
    return float((edges[1::2] - edges[::2]).max(initial=0)) * GRID_S


def _spans(grid: np.ndarray, where: np.ndarray, end_s: float) -> list[tuple[float, float]]:
    found = []
    edges = np.flatnonzero(np.diff(np.concatenate([[0], where.astype(int), [0]])))
    for first, last in zip(edges[::2], edges[1::2], strict=True):
        found.append((float(grid[first]), float(grid[last]) if last < len(grid) else end_s))
    return found


def _cooling(
    meat: Meat, views: list[_View], told: list[str], grid: np.ndarray
) -> tuple[bool | None, bool]:
    if "cooling" not in told and "chilled" not in told:
        return None, False
    verdicts: list[bool | None] = []
    for probe, view in zip(meat.probes, views, strict=True):
        for mark_c, limit_s in ((MIDDLE_C, 7200.0), (COLD_C, 21600.0)):
            sooner, later = (_took(view, mark_c + d, limit_s) for d in (NEAR_C, -NEAR_C))
            verdicts.append(sooner if sooner is later else None)
        if probe.moved_s is not None:
            verdicts.append(None)
    for at_s, value in [*((a, v) for a, v, _ in meat.spots), *_not_replaced(meat)]:
        if told[min(len(grid) - 1, int(at_s // GRID_S))] in ("cooling", "chilled", *HELD):
            verdicts.append(None if value > COLD_C - 1 else True)
    return (False if False in verdicts else None if None in verdicts else True), True


def _took(view: _View, mark_c: float, limit_s: float) -> bool | None:
    """Return whether a probe fell from the hot limit to a mark in time, and showed it."""
    times, values = view.times, view.values
    hot = np.flatnonzero(values >= HOT_C)
    if not len(hot) or hot[-1] + 1 >= len(times):
        return False
    first = int(hot[-1])
    below = np.flatnonzero(values[first:] <= mark_c)
    if not len(below):
        return False
    last = first + int(below[0])
    if np.diff(times[first : last + 1]).max() > MAX_GAP_S:
        return False
    start = _cross(times, values, first, HOT_C)
    end = _cross(times, values, last - 1, mark_c)
    took = end - start
    if abs(took - limit_s) < 240:
        return None
    return bool(took <= limit_s)


def _cross(times: np.ndarray, values: np.ndarray, at: int, mark_c: float) -> float:
    a, b = values[at], values[at + 1]
    share = 0.0 if a == b else min(1.0, max(0.0, (a - mark_c) / (a - b)))
    return float(times[at] + share * (times[at + 1] - times[at]))
