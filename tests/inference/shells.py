"""A cook by heat conducted through shells, with other habits and other instruments.

A third source of cooks beside the simulators' plant and ``made``: six shells of a sphere, a
surface that is held back by water until it is wrapped or dry, a pit that swings, burns out or
overshoots. Looks, spritzing, probes put in late, shallow dips, slow and lossy channels. Figures
are ours; shares of mass kept are common practice, no source.
"""

from __future__ import annotations

import random
from dataclasses import dataclass, field

SHELLS = 6
STEP_S = 10
BOILING_C = 99.5  # meat is mostly water


@dataclass(slots=True)
class Shells:
    """One cook; ``points`` are (seconds, pit, core) as read, ``truth`` seconds from the start."""

    seed: int
    every_s: int = 10
    noise_c: float = 0.1
    step_c: float = 0.1
    lost: float = 0.0
    points: list[tuple[float, float, float]] = field(default_factory=list)
    truth: dict[str, float] = field(default_factory=dict)
    wrap_at_c: float | None = None
    pull_at_c: float = 93.0
    kept: dict[str, float] = field(default_factory=dict)

    def run(self) -> Shells:
        """Cook it."""
        rng = random.Random(self.seed)
        self.every_s = rng.choice([2, 5, 10, 15, 30, 60])
        self.noise_c, self.step_c = rng.uniform(0.02, 0.5), rng.choice([0.1, 0.5, 0.5556, 1.0])
        self.lost = rng.choice([0.0, 0.0, 0.02, 0.1])
        self.wrap_at_c = rng.choice([None, 65.6, 71.0, 74.0, 74.0, 77.0])
        self.pull_at_c = rng.uniform(90.0, 96.0)
        self.kept = {"trimmed": rng.uniform(0.75, 0.9), "off-pit": rng.uniform(0.6, 0.72),
                     "carved": rng.uniform(0.88, 0.97)}  # fmt: skip
        _Cooking(self, rng).run()
        return self


class _Cooking:
    """The pit, the meat and the person of one cook, step by step."""

    def __init__(self, made: Shells, rng: random.Random) -> None:
        self.made, self.rng = made, rng
        self.set_c, self.air = rng.uniform(100, 145), rng.uniform(60, 120)
        self.swing_c, self.period_s = rng.uniform(0, 9), rng.uniform(900, 3600)
        self.dip_s, self.back_s = rng.uniform(15, 90), rng.uniform(60, 300)
        self.open_c = rng.uniform(30, 90)  # where the pit goes with its lid open
        self.shell = [rng.uniform(1, 9)] * SHELLS
        self.pace = 3.65 / (3600 * rng.uniform(0.8, 1.8))  # slowest of a sphere: R2 / (pi2 a)
        self.stall_c, self.dry_h = rng.uniform(62, 73), rng.uniform(5, 14)
        self.look_s = rng.choice([1e9, 1e9, 1800, 2700, 3600, 5400])
        self.spritzes = rng.random() < 0.3
        self.late_probe_s = rng.choice([-900.0, -300.0, 0.0, 0.0, 60.0])
        self.pulled, self.room_c = rng.random() < 0.3, rng.uniform(2, 32)
        self.rest_h, self.rest_s = rng.uniform(0.5, 1.6), rng.uniform(45, 200) * 60
        self.stage, self.since, self.lid_until, self.due = "raw", 0.0, -1.0, 0.0
        self.on_s = rng.uniform(25, 80) * 60
        self.box_s = rng.uniform(45, 80) * 60 if not self.pulled and rng.random() < 0.3 else 1e9
        self.rest_s += 5400.0 if self.box_s < 1e9 else 0.0
        self.out_s = self.on_s + rng.uniform(2, 8) * 3600 if rng.random() < 0.25 else 1e9

    def run(self) -> None:
        t, next_read, next_look = 0.0, 0.0, self.on_s + self.look_s
        rng, made = self.rng, self.made
        while self.stage != "carved" or t - self.since < 900:
            if t >= next_look and self.stage in ("smoking", "wrapped"):
                if self.stage == "smoking" or not self.spritzes:
                    self.lid_until = max(self.lid_until, t + rng.uniform(12, 48))
                next_look = t + self.look_s * rng.uniform(0.7, 1.4)
            self._act(t)
            self._heat(t)
            if t >= next_read:
                next_read += made.every_s
                if rng.random() >= made.lost:
                    made.points.append((t, self._read(self.air), self._read(self._felt(t))))
            t += STEP_S if made.every_s >= STEP_S else made.every_s
            if t > 30 * 3600:
                break

    def _felt(self, t: float) -> float:
        if self.stage == "raw" and t < self.on_s + min(0.0, self.late_probe_s):
            return self.room_c
        if self.stage == "smoking" and t < self.since + max(0.0, self.late_probe_s):
            return self.room_c
        if self.stage == "carved" or (self.stage in ("resting", "holding") and self.pulled):
            return self.room_c
        return self.shell[0]

    def _read(self, value: float) -> float:
        step = self.made.step_c
        return round(round((value + self.rng.gauss(0, self.made.noise_c)) / step) * step, 3)

    def _enter(self, stage: str, t: float) -> None:
        self.stage, self.since, self.due = stage, t, 0.0
        self.made.truth[stage] = t

    def _act(self, t: float) -> None:
        rng, made, core = self.rng, self.made, self.shell[0]
        if self.stage == "raw" and t >= self.on_s:
            self._enter("smoking", t)
            self.lid_until = t + rng.uniform(25, 150)
        elif self.stage == "smoking" and made.wrap_at_c is not None and core >= made.wrap_at_c:
            self.due = self.due or t + rng.uniform(0, 25) * 60
            if t >= self.due:
                self._enter("wrapped", t)
                self.lid_until = t + rng.uniform(70, 300)
        elif self.stage in ("smoking", "wrapped") and core >= made.pull_at_c:
            self.due = self.due or t + rng.uniform(0, 25) * 60
            if t >= self.due:
                self._enter("resting", t)
                self.lid_until = t + rng.uniform(15, 90)
        elif self.stage in ("resting", "holding") and t - made.truth["resting"] >= self.rest_s:
            self._enter("carved", t)
        elif self.stage == "resting" and t - self.since >= self.box_s:
            self._enter("holding", t)

    def _heat(self, t: float) -> None:
        swing = self.swing_c * (2 * abs(t / self.period_s % 1 - 0.5) - 0.5)
        opened = t < self.lid_until
        burns = not 0 <= t - self.out_s < 90 * 60  # left alone, it goes out for an hour and a half
        goal = self.open_c if opened else self.set_c + swing if burns else 55.0
        step = min(STEP_S, self.made.every_s)
        self.air += (goal - self.air) * step / (self.dip_s if opened else self.back_s)
        shell = self.shell
        if self.stage == "raw":
            return
        on_pit = self.stage in ("smoking", "wrapped")
        around = min(self.air, BOILING_C) if on_pit else self.room_c
        if self.stage == "smoking" and t - self.since < self.dry_h * 3600:
            around = min(around, self.stall_c + 0.12 * max(0.0, around - self.stall_c))
        hold = 1.0 if on_pit else 0.3 * self.rest_h
        if self.stage == "holding":
            hold *= 0.3  # in a box
        old = [shell[0], *shell, around]
        for at in range(SHELLS):
            share = hold if at + 1 == SHELLS else 1.0
            flow = share * (at + 1) ** 2 * (old[at + 2] - old[at + 1])
            flow -= at**2 * (old[at + 1] - old[at])
            shell[at] += self.pace * step * flow / (at * at + at + 1 / 3)
