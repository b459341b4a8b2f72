"""Days of pieces on the simulators' plant: from step to step, over a night and back again."""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import dataclass, field

from pitlogger.model.readings import Reading
from pitlogger_simulators.plant.cuts import PieceSpec
from pitlogger_simulators.plant.live import LiveSmoker
from pitlogger_simulators.plant.pits import Pit

START_MS = 1_700_000_000_000
STEP_S = 20
PIT_C = 121.0
Until = float | Callable[[float], bool]  # minutes, or what its core has to have reached

PIECE = """
[[piece]]
id = "{piece}"
cut = "brisket-flat"
mass = "{kg:.3f} kg"
wrap = "paper"
wrap_at = "{wrap_at}"
pull_at = "94 C"
pit = "pit"
"""
CHANNEL = """
[[channel]]
id = "{piece}/core"
site = "core"
piece = "{piece}"
"""
PIT = '[[channel]]\nid = "pit"\nsite = "pit"\n'


@dataclass(frozen=True, slots=True)
class Step:
    """What a piece is in, where it lies then, and until when."""

    stage: str
    where: str
    until: Until


def above(core_c: float) -> Callable[[float], bool]:
    return lambda core: core >= core_c


def below(core_c: float) -> Callable[[float], bool]:
    return lambda core: core <= core_c


SMOKED = (Step("raw", "counter", 45), Step("smoking", "pit", above(74.5)))
COOKED = (*SMOKED, Step("wrapped", "pit", above(94.5)))


@dataclass(slots=True)
class Day:
    """One piece and its steps; ``truth`` is what it was in, from when, milliseconds."""

    piece: str
    steps: tuple[Step, ...]
    kg: float = 2.1
    has_probe: bool = True
    wraps: bool = True
    at: int = 0
    since_s: float = 0.0
    truth: list[tuple[str, int]] = field(default_factory=list)

    def text(self) -> str:
        """Return it as a part of a cook file."""
        wrap_at = "74 C" if self.wraps else "never"
        piece = PIECE.format(piece=self.piece, kg=self.kg, wrap_at=wrap_at)
        return piece + (CHANNEL.format(piece=self.piece) if self.has_probe else "")


def cook_of(*days: Day) -> str:
    """Return the cook file of pieces that share a pit."""
    return f'[cook]\nname = "day"\n{"".join(day.text() for day in days)}{PIT}'


def lived(seed: int, *days: Day, noise_c: float = 0.06) -> list[Reading]:
    """Return what pit and cores read while the days go by; fills their truth."""
    rng, smoker = random.Random(seed), LiveSmoker(seed, room_c=random.Random(seed).uniform(15, 26))
    smoker.add_pit("pit", Pit(kind=rng.choice(["gas", "pellet", "charcoal"]), set_c=PIT_C))
    readings: list[Reading] = []
    t = 0.0
    while any(day.at < len(day.steps) for day in days):
        at_ms = START_MS + round(t * 1000)
        shown = {"pit": smoker.pit_c("pit")}
        for day in days:
            _live(day, smoker, rng, t)
            if day.has_probe:
                is_raw = day.steps[min(day.at, len(day.steps) - 1)].stage == "raw"
                shown[f"{day.piece}/core"] = 4.0 if is_raw else smoker.core_c(day.piece)
        readings += [
            Reading(channel, at_ms, round(round(value + rng.gauss(0, noise_c), 1) * 1000))
            for channel, value in shown.items()
        ]
        smoker.advance(STEP_S)
        t += STEP_S
    return readings


def _live(day: Day, smoker: LiveSmoker, rng: random.Random, t: float) -> None:
    if day.at >= len(day.steps):
        return
    step = day.steps[day.at]
    if day.truth:
        is_raw = step.stage == "raw"
        core_c = 4.0 if is_raw else smoker.core_c(day.piece)
        due = step.until(core_c) if callable(step.until) else t - day.since_s >= step.until * 60
        if not due:
            return
        day.at += 1
        if day.at >= len(day.steps):
            return
    step, was = day.steps[day.at], day.steps[max(0, day.at - 1)]
    day.since_s = t
    day.truth.append((step.stage, START_MS + round(t * 1000)))
    if step.stage == "raw":
        return
    if step.where != "pit":
        if was.where == "pit":
            smoker.fire("pit").open_lid(rng.uniform(20, 50))
            smoker.pull(day.piece, step.where)
        else:
            smoker.place(day.piece, step.where)
    elif was.stage == "raw":
        spec = PieceSpec("brisket-flat", mass_g=day.kg * 1000, start_c=4.0)
        smoker.put_on(day.piece, spec, pit="pit", lid_s=rng.uniform(40, 90))
    else:
        if step.stage == "wrapped" and was.stage == "smoking":
            smoker.fire("pit").open_lid(rng.uniform(20, 40))
            smoker.wrap(day.piece, "paper")
        smoker.put_back(day.piece, "pit", lid_s=rng.uniform(60, 110))
