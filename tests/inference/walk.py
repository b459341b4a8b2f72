"""A piece walked at random through its stages: what its pit and probes read, and when it moved.

Shares nothing with the engine, the simulators' plant or the other made cooks: a core behind two
layers that follow whatever air the piece lies in. Stages come in likely and unlikely orders and
often go wrong: taken off raw, a fire that dies, a lukewarm cabinet, a warm cold store, a slow oven,
probes that are pulled, silent or in the air, a second probe in a thin end. Figures are ours.
"""

from __future__ import annotations

import random
from collections.abc import Iterator
from dataclasses import dataclass, field

START_S = 1_700_000_000
STEP_S = 30
RAW_C = 4.0
LONGEST_H = 26.0
ICE_C = 1.0
COOK = """
[cook]
name = "walk"
[[piece]]
id = "piece"
cut = "{cut}"
wrap = "{wrap}"
wrap_at = "{wrap_at}"
pull_at = "{pull_at:.1f} C"
pit = "pit"
[[channel]]
id = "pit"
site = "pit"
set_point = "{set_c:.0f} C"
low = "{low_c:.0f} C"
[[channel]]
id = "core"
site = "core"
piece = "piece"
"""
SECOND = '[[channel]]\nid = "thin"\nsite = "core"\npiece = "piece"\n'


@dataclass(frozen=True, slots=True)
class Step:
    """A stage, the air it is in, how fast that is felt, and how it ends.

    ``air_c`` is ``None`` for the pit; ``pace`` is a share of how fast the pit is felt. It ends
    after ``most_h``, or once the core has passed ``until_c``.
    """

    stage: str
    air_c: float | None
    pace: float
    most_h: float
    until_c: float | None = None


@dataclass(slots=True)
class Walk:
    """One walk. ``points`` are (seconds, channel, degC), ``marks`` (seconds, stage)."""

    seed: int
    points: list[tuple[int, str, float]] = field(default_factory=list)
    marks: list[tuple[int, str]] = field(default_factory=list)
    cook: str = ""

    def walked(self) -> Walk:
        """Walk it."""
        _Walking(self, random.Random(self.seed)).run()
        return self


class _Walking:
    """The person, the pit and the meat, step by step."""

    def __init__(self, walk: Walk, rng: random.Random) -> None:
        self.walk, self.rng = walk, rng
        self.room_c = rng.uniform(8.0, 32.0)
        self.wrap_c = rng.choice([None, 66.0, 71.0, 74.0, 74.0])
        self.pull_c = rng.uniform(88.0, 96.0)
        self.set_c = rng.uniform(102.0, 140.0)
        self.pit_c = self.set_c
        self.core_c = self.middle_c = self.outer_c = RAW_C
        self.outer_h, self.inner_h = rng.uniform(0.4, 1.1), rng.uniform(0.5, 1.4)
        self.stall_c = rng.uniform(66.0, 76.0)
        self.lid_until = -1.0
        self.dead = _span(rng, 0.2, (2.0, 9.0), (0.5, 3.0))  # hours: the fire is out
        self.silent = _span(rng, 0.2, (2.0, 20.0), (0.1, 3.0))
        self.pulled = _span(rng, 0.2, (5.0, 20.0), (0.1, 2.0))
        self.has_second = rng.random() < 0.3
        self.is_in_early = rng.random() < 0.5
        self.noise_c = rng.uniform(0.02, 0.25)
        self.every_s = rng.choice([30, 30, 60])
        wraps = self.wrap_c is not None
        self.walk.cook = COOK.format(
            cut=rng.choice(["brisket-packer", "pork-butt", "beef-chuck", "chicken-whole"]),
            wrap="paper" if wraps else "none", wrap_at=f"{self.wrap_c} C" if wraps else "never",
            pull_at=self.pull_c, set_c=self.set_c, low_c=self.set_c - 30,
        ) + (SECOND if self.has_second else "")  # fmt: skip

    def run(self) -> None:
        t = 0
        for step in self._steps():
            if t >= LONGEST_H * 3600:
                return
            if step.stage != "raw":
                self.walk.marks.append((START_S + t, step.stage))
                if step.air_c is None or self.was_on_pit:
                    self.lid_until = t + self.rng.uniform(25, 150)
            self.was_on_pit = step.air_c is None
            began, from_c, until = t, self.core_c, 0
            while t < (until or began + step.most_h * 3600) and t < LONGEST_H * 3600:
                self._heat(step, t)
                if t % self.every_s == 0:
                    self._read(step, t)
                t += STEP_S
                goal = step.until_c
                if goal is not None and not until and (self.core_c >= goal) == (goal >= from_c):
                    until = t + STEP_S * self.rng.randrange(1, 27)  # hands are elsewhere

    was_on_pit = False

    def _steps(self) -> Iterator[Step]:
        rng = self.rng
        yield Step("raw", RAW_C, 0.0, rng.uniform(0.3, 1.5))
        is_early = rng.random() < 0.15  # off while it is raw inside
        if self.wrap_c is not None and not is_early:
            yield Step("smoking", None, 0.8, 14.0, self.wrap_c + rng.gauss(0.5, 2.0))
            yield Step("wrapped", None, 1.0, 14.0, self.pull_c + rng.uniform(-0.5, 2.0))
        else:
            done_c = rng.uniform(35.0, 66.0) if is_early else self.pull_c + rng.uniform(-0.5, 2.0)
            yield Step("smoking", None, 0.9, 16.0, done_c)
        pace = rng.uniform(0.12, 0.5)
        yield Step("resting", self.room_c, pace, rng.uniform(0.3, 4.0))
        for _ in range(rng.choice([0, 1, 1, 2, 3])):
            yield from self._next(pace)
        if rng.random() < 0.6:
            yield Step("carved", self.room_c, 2 * pace, rng.uniform(0.2, 3.0))
            if rng.random() < 0.5:
                yield Step("served", self.room_c, 2 * pace, rng.uniform(0.1, 1.0))

    def _next(self, pace: float) -> Iterator[Step]:
        rng = self.rng
        match rng.choice(["box", "cabinet", "pit", "cold", "cold", "counter", "serving"]):
            case "box":
                yield Step("holding", self.room_c, 0.35 * pace, rng.uniform(0.5, 6.0))
            case "cabinet":
                yield Step("holding", rng.uniform(45.0, 75.0), pace, rng.uniform(0.5, 5.0))
            case "pit":
                yield Step("wrapped", None, 1.0, rng.uniform(0.4, 2.0))
                yield Step("resting", self.room_c, pace, rng.uniform(0.3, 2.0))
            case "counter":
                yield Step("cooling", self.room_c, 1.5 * pace, rng.uniform(1.0, 8.0))
            case "serving":
                yield Step("serving", rng.uniform(40.0, 80.0), pace, rng.uniform(0.5, 4.0))
            case _:
                cold_c, fast = rng.choice([(ICE_C, 3.0), (3.5, 1.2), (8.0, 0.8)])
                yield Step("cooling", cold_c, fast * max(pace, 0.25), 9.0, 5.0)
                yield Step("chilled", rng.choice([cold_c, 3.0, 12.0]), 0.5, rng.uniform(0.5, 4.0))
                if rng.random() < 0.6:
                    hot_c, most_h = rng.choice([(150.0, 4.0), (90.0, 5.0), (65.0, 5.0)])
                    yield Step("reheating", hot_c, 0.6, most_h, 74.5)
                    yield Step("holding", rng.uniform(48.0, 72.0), pace, rng.uniform(0.3, 3.0))

    def _heat(self, step: Step, t: int) -> None:
        goal = 45.0 if t < self.lid_until else 40.0 if _within(self.dead, t) else self.set_c
        hours = 0.01 if t < self.lid_until else 0.5 if _within(self.dead, t) else 0.06
        self.pit_c += (goal - self.pit_c + self.rng.gauss(0, 2.0)) * STEP_S / 3600 / hours
        if step.stage == "raw":
            return
        air_c = self.pit_c if step.air_c is None else step.air_c
        if step.stage == "smoking" and self.wrap_c is not None:
            air_c = min(air_c, self.stall_c + 0.1 * max(0.0, air_c - self.stall_c))
        else:
            air_c = min(air_c, 99.0)
        share = STEP_S / 3600
        self.outer_c += (air_c - self.outer_c) * step.pace * share / self.outer_h
        self.outer_c += 0.6 * (self.middle_c - self.outer_c) * share / self.inner_h
        self.middle_c += (self.outer_c + self.core_c - 2 * self.middle_c) * share / self.inner_h
        self.core_c += (self.middle_c - self.core_c) * share / (0.6 * self.inner_h)

    def _read(self, step: Step, t: int) -> None:
        is_out = step.stage == "raw" and not self.is_in_early
        is_out = is_out or _within(self.pulled, t) or step.stage == "served"
        shown = {"pit": self.pit_c, "core": self.room_c if is_out else self.core_c}
        if self.has_second:
            thin_c = 0.5 * (self.core_c + self.middle_c)
            shown["thin"] = self.room_c if step.stage in ("raw", "served") else thin_c
        for channel, value_c in shown.items():
            if channel == "core" and _within(self.silent, t):
                continue
            told = round(value_c + self.rng.gauss(0, self.noise_c), 1)
            self.walk.points.append((START_S + t, channel, told))


Span = tuple[float, float]


def _span(rng: random.Random, chance: float, at_h: Span, for_h: Span) -> Span:
    """Return a span of seconds, an empty one but for a share of ``chance``."""
    from_s, for_s = 3600 * rng.uniform(*at_h), 3600 * rng.uniform(*for_h)
    return (from_s, from_s + for_s) if rng.random() < chance else (0.0, 0.0)


def _within(span: Span, t: int) -> bool:
    return span[0] <= t < span[1]
