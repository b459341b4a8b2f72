"""Moments of simulated cooks as requests, with the truth: what was asked and what came."""

from __future__ import annotations

from dataclasses import dataclass
from typing import cast

import numpy as np
import numpy.typing as npt

from pitlogger.forecast.doubts import cannot_say
from pitlogger.forecast.features import features
from pitlogger.forecast.history import History, history
from pitlogger.forecast.request import Request, Series, Target
from pitlogger.model.cooks import Wrap
from tools.forecast_library.population import Cooks

Array = npt.NDArray[np.float64]

STALL_C_PER_H = 4.0
MOMENTS_H = {"6h": 6.0, "4h": 4.0, "2h": 2.0, "1h": 1.0}


@dataclass(frozen=True, slots=True)
class Snapshot:
    """One question about one cook, and the answer that time gave.

    ``left_h`` is ``inf`` where the target was never reached in the simulated time.
    """

    cook: int
    moment: str
    request: Request
    past: History
    left_h: float

    def features(self) -> Array:
        return features(self.request, self.past)


def ask(
    cooks: Cooks, column: int, minute: int, target: Target, target_c: float, *, told: int = 7
) -> Request:
    """Return the request as it stood at a minute.

    Args:
        told: What the person said, as bits: 1 mass, 2 thickness, 4 plan.
    """
    first = max(0, minute - 36 * 60)
    minutes = np.arange(first, minute + 1, dtype=np.float64)
    read = cooks.read_c[first : minute + 1, column]
    kept = np.isfinite(read)
    core = Series(minutes[kept] * 60.0, read[kept])
    pit = Series(minutes * 60.0, cooks.pit_c[first : minute + 1, column])
    wrapped_min = int(cooks.wrapped_min[column])
    wrap = cast(Wrap, cooks.wrap[column])
    on = 0 <= wrapped_min <= minute
    at_c = float(cooks.wrap_at_c[column])
    planned = bool(told & 4)
    return Request(
        piece="p", target=target, target_c=target_c, now_s=minute * 60.0, core=core, pit=pit,
        on_pit_s=0.0, set_point_c=float(cooks.set_point_c[minute, column]),
        mass_g=float(cooks.mass_g[column]) if told & 1 else None,
        thickness_mm=float(cooks.thickness_mm[column]) if told & 2 else None,
        family=cooks.family[column], wrap=wrap if on else None,
        wrapped_s=wrapped_min * 60.0 if on else None,
        wrap_plan=wrap if planned else None,
        wrap_at_c=at_c if planned and np.isfinite(at_c) else None,
        wrap_at_s=wrapped_min * 60.0 if planned and not np.isfinite(at_c) and not on
        and wrapped_min >= 0 else None,
    )  # fmt: skip


def passage_h(cooks: Cooks, column: int, target_c: float) -> float:
    """Return when the probe first shows the target, hours; ``inf`` for never."""
    above = cooks.core_c[:, column] >= target_c
    if not above.any():
        return float("inf")
    return float(above.argmax()) / 60.0


def snapshot(
    cooks: Cooks, column: int, minute: int, target: Target, target_c: float, moment: str, told: int
) -> Snapshot | None:
    """Return the moment as a snapshot, ``None`` where the forecast would not answer."""
    request = ask(cooks, column, minute, target, target_c, told=told)
    past = history(request)
    if past is None or cannot_say(request, past) or past.level_c >= target_c - 0.3:
        return None
    left = passage_h(cooks, column, target_c) - minute / 60.0
    if left < 0.05:
        return None
    return Snapshot(column, moment, request, past, left)


def training(cooks: Cooks, seed: int, each: int) -> list[Snapshot]:
    """Return random moments of every cook, with random targets and things told."""
    dice = np.random.default_rng(seed)
    found = []
    for column in range(len(cooks)):
        hottest = float(cooks.core_c[:, column].max())
        for _ in range(each):
            target, target_c = _target(dice, cooks, column)
            end_h = passage_h(cooks, column, target_c)
            if not np.isfinite(end_h) or end_h < 1.0 or target_c > hottest:
                continue
            minute = int(60 * dice.uniform(0.4, max(end_h - 0.1, 0.5)))
            told = int(dice.choice((7, 7, 7, 5, 6, 4, 3, 1, 0)))
            made = snapshot(cooks, column, minute, target, target_c, "any", told)
            if made is not None:
                found.append(made)
    return found


def scoring(cooks: Cooks, seed: int) -> list[Snapshot]:
    """Return the moments that are scored: 6, 4, 2, 1 h before the pull, and in mid-stall."""
    dice = np.random.default_rng(seed)
    found = []
    for column in range(len(cooks)):
        target_c = float(dice.uniform(90.6, 96.1))
        told = int(dice.choice((7, 7, 7, 5, 6, 4)))
        end_h = passage_h(cooks, column, target_c)
        stall = mid_stall_min(cooks.core_c[:, column])
        minutes = (
            {name: round(60 * (end_h - h)) for name, h in MOMENTS_H.items()}
            if np.isfinite(end_h)
            else {}
        )
        if stall is not None and stall / 60.0 < end_h:
            minutes["stall"] = stall
        for name, minute in minutes.items():
            if minute < 45:
                continue
            made = snapshot(cooks, column, minute, "pull", target_c, name, told)
            if made is not None:
                found.append(made)
    return found


def arriving(cooks: Cooks, seed: int) -> list[Snapshot]:
    """Return one random late moment of every cook, whether it ever gets there or not."""
    dice = np.random.default_rng(seed)
    found = []
    for column in range(len(cooks)):
        target_c = float(dice.uniform(88.0, 98.0))
        last_h = min(passage_h(cooks, column, target_c), 20.0)
        minute = int(60 * dice.uniform(min(2.0, 0.5 * last_h), last_h))
        made = snapshot(cooks, column, minute, "pull", target_c, "arrival", 7)
        if made is not None:
            found.append(made)
    return found


def mid_stall_min(core_c: Array) -> int | None:
    """Return the middle of the longest stall of a noise-free core, minutes; ``None`` if none."""
    hourly = np.full(len(core_c), np.inf)
    hourly[30:-30] = core_c[60:] - core_c[:-60]
    slow = (hourly < STALL_C_PER_H) & (core_c > 55.0) & (core_c < 80.0)
    edges = np.flatnonzero(np.diff(np.concatenate([[0], slow.view(np.int8), [0]])))
    if not len(edges):
        return None
    spans = edges.reshape(-1, 2)
    start, end = spans[np.argmax(spans[:, 1] - spans[:, 0])]
    return int(start + end) // 2 if end - start >= 30 else None


def _target(dice: np.random.Generator, cooks: Cooks, column: int) -> tuple[Target, float]:
    kind = dice.random()
    if kind < 0.15:
        wrap_at = float(cooks.wrap_at_c[column])
        # A wrap target only means something before the piece is wrapped.
        if cooks.wrap[column] == "none" or not np.isfinite(wrap_at):
            return "pull", float(dice.uniform(65.0, 97.0))
        return "wrap", wrap_at - 3.0
    if kind < 0.45:
        return "pull", float(dice.uniform(65.0, 97.0))
    return "pull", float(dice.uniform(90.0, 96.5))
