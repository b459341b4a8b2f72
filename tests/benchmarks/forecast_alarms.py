"""The prompts that hang on the forecast: how early they come, how often in vain.

Cooks of each plant are answered by a library that never saw it. Each gets a service at random,
from two hours before to seven hours after the meat is truly off the pit; every half hour the
forecast is held against it as the engine does. A prompt counts once it has held for two looks.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from pitlogger.forecast.finish import forecast
from pitlogger.forecast.library import Library
from tools.forecast_library.population import Cooks
from tools.forecast_library.snapshots import passage_h, snapshot

EVERY_MIN = 30
EARLY_H = 4.0
WORTH_H = 0.5  # a service missed by less is no miss
SERVICE_H = (-2.0, 7.0)


@dataclass(frozen=True, slots=True)
class Kept:
    """How one prompt did: how often it was called for, told ahead, hours ahead, in vain."""

    prompt: str
    called_for: int
    told: int
    ahead_h: float
    raised: int
    in_vain: int

    def row(self) -> str:
        """Return a row of the table of the docs."""
        told = 100 * self.told / max(self.called_for, 1)
        vain = 100 * self.in_vain / max(self.raised, 1)
        return (
            f"| `{self.prompt}` | {self.called_for} | {told:.0f} % | {self.ahead_h:.1f} h | "
            f"{vain:.0f} % |"
        )


def prompts(held: Library, cooks: Cooks, seed: int = 3) -> list[tuple[str, bool, float | None]]:
    """Return prompt, whether it was called for, and hours before the service it was first told.

    ``None`` where it was not told.
    """
    dice, found = np.random.default_rng(seed), []
    for column in range(len(cooks)):
        target_c, end_h = 93.0, passage_h(cooks, column, 93.0)
        needed_h = end_h + dice.uniform(*SERVICE_H)
        if not np.isfinite(end_h) or end_h < 3.0:
            continue
        first: dict[str, float | None] = {"finish-late": None, "finish-early": None}
        holds = {"finish-late": 0, "finish-early": 0}
        for minute in range(60, int(60 * min(end_h, needed_h)), EVERY_MIN):
            made = snapshot(cooks, column, minute, "pull", target_c, "any", 7)
            if made is None:
                continue
            answer = forecast(replace(made.request, full=False), held=held)
            if answer.p50_s is None or answer.p90_s is None:
                continue
            left_h = needed_h - minute / 60.0
            says = {
                "finish-late": answer.p50_s / 3600.0 > left_h,
                "finish-early": answer.p90_s / 3600.0 < left_h - EARLY_H,
            }
            for prompt, now in says.items():
                holds[prompt] = holds[prompt] + 1 if now else 0
                if holds[prompt] == 2 and first[prompt] is None:
                    first[prompt] = left_h
        found.append(("finish-late", end_h > needed_h + WORTH_H, first["finish-late"]))
        found.append(("finish-early", end_h < needed_h - EARLY_H, first["finish-early"]))
    return found


def kept(seen: Sequence[tuple[str, bool, float | None]]) -> list[Kept]:
    """Return how each prompt did over all cooks."""
    rows = []
    for prompt in dict.fromkeys(name for name, *_ in seen):
        own = [(called, first) for name, called, first in seen if name == prompt]
        right = [first for called, first in own if called and first is not None]
        raised = sum(first is not None for _, first in own)
        rows.append(
            Kept(
                prompt, sum(called for called, _ in own), len(right),
                float(np.median(right)) if right else 0.0, raised, raised - len(right),
            )
        )  # fmt: skip
    return rows
