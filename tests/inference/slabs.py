"""A cook on a slab in layers with a wet surface, by people who add fuel and wrap on the table.

A fourth source of cooks, with lids that look alike: fuel is added with the lid open for as long
as a wrap takes, every wrap of some is two short lids, others do all they have to do at their next
look; probes and pits are slow or restless. Figures are ours, no source.
"""

from __future__ import annotations

import math
import random

LAYERS = 12
STEP_S = 10.0
NEVER_S = 1e12
DIFFUSIVITY, CONDUCTIVITY = 1.35e-7, 0.48  # m2/s and W/(m K) of meat
BOILING_C = 99.5


class Slabs:
    """One cook; ``points`` are (seconds, pit, core) as read, ``truth`` seconds from the start."""

    def __init__(self, seed: int) -> None:
        self.rng = rng = random.Random(seed * 7 + 3)
        self.points: list[tuple[float, float, float]] = []
        self.truth: dict[str, float] = {}
        self.half_m, self.to_air = rng.uniform(0.03, 0.055), rng.uniform(12, 30)  # W/(m2 K)
        self.set_c, self.damp = rng.uniform(104, 150), rng.uniform(0.0, 0.4)
        self.swing_c, self.period_s = rng.choice([0, 1, 3, 6, 10]), rng.uniform(600, 2400)
        self.room_c, self.probe_s = rng.uniform(5, 34), rng.uniform(3, 60)
        self.dip_s, self.back_s = rng.uniform(20, 120), rng.uniform(60, 420)
        self.open_c = rng.uniform(self.room_c + 10, 85)
        self.over_c = rng.choice([0, 0, 5, 12])  # after a lid the pit comes back too hot
        self.layers = [rng.uniform(2, 10)] * (LAYERS + 1)  # from the core to the surface
        self.every_s = rng.choice([10, 10, 10, 20, 30, 60])
        self.step_c, self.noise_c = rng.choice([0.1, 0.1, 0.5556, 1.0, 0.5]), rng.uniform(0.05, 0.4)
        self.wrap = rng.choice(["paper", "foil", "paper", "foil", "none"])
        self.wrap_at_c = rng.choice([65.0, 68.0, 71.0, 74.0, 77.0])
        self.pull_at_c = rng.uniform(90, 96)
        self.wrap_c = rng.gauss(self.wrap_at_c, 1.8)
        self.pull_c = self.pull_at_c + rng.gauss(0.3, 1.0)
        self.look_s = rng.choice([NEVER_S, 1800, 2700, 3600, 5400])
        self.at_looks = rng.random() < 0.4 and self.look_s < NEVER_S  # all is done at a look
        self.fuel_s = rng.choice([NEVER_S, NEVER_S, 5400, 9000])
        self.on_table, self.pulls = rng.random() < 0.5, rng.random() < 0.3
        self.early = rng.random() < 0.4  # the probe is in before
        self.on_s, self.rest_s = rng.uniform(20, 80) * 60, rng.uniform(50, 200) * 60
        self.out_s = rng.uniform(3, 9) * 3600 if rng.random() < 0.1 else NEVER_S
        self.dry_s, self.cooler = rng.uniform(4, 10) * 3600, rng.random() < 0.4
        self.stage, self.is_on, self.lid_s, self.due_s = "raw", False, -1.0, NEVER_S
        self.table_s = self.next_look_s = self.next_fuel_s = NEVER_S
        self.air = self.shown = self.set_c
        self.boost_c = 0.0

    def run(self) -> Slabs:
        """Cook it, for 32 hours at most."""
        t, next_s = 0.0, 0.0
        while t < 32 * 3600 and not ("carved" in self.truth and t - self.truth["carved"] > 900):
            self._act(t)
            self._burn(t)
            if self.stage != "raw":
                self._heat(t)
            if t >= next_s:
                next_s = t + self.every_s
                self.points.append((t, self._read(self.shown), self._read(self._felt(t))))
            t += STEP_S
        return self

    def _enter(self, stage: str, t: float, least_s: float, most_s: float) -> None:
        self.stage, self.truth[stage], self.due_s = stage, t, NEVER_S
        self.lid_s = max(self.lid_s, t + self.rng.uniform(least_s, most_s))

    def _is_done(self, t: float, usual_s: float, *, looks: bool) -> bool:
        """Return whether what is due is done now: at a look, or some minutes later."""
        if self.at_looks:
            return looks
        if self.due_s == NEVER_S:
            self.due_s = t + min(self.rng.expovariate(1 / usual_s), 4 * usual_s)
        return t >= self.due_s

    def _act(self, t: float) -> None:
        rng, core = self.rng, self.layers[0]
        if self.stage == "raw" and t >= self.on_s:
            self._enter("smoking", t, 30, 180)
            self.is_on = True
            self.next_look_s = t + self.look_s * rng.uniform(1.2, 2.5)
            self.next_fuel_s = t + self.fuel_s
        looks = False
        if self.stage in ("smoking", "wrapped"):
            if t >= self.next_look_s:
                looks, self.next_look_s = True, t + self.look_s * rng.uniform(0.8, 1.25)
                self.lid_s = max(self.lid_s, t + rng.uniform(10, 50))
            if t >= self.next_fuel_s:
                looks, self.next_fuel_s = True, t + self.fuel_s * rng.uniform(0.8, 1.3)
                self.lid_s = max(self.lid_s, t + rng.uniform(60, 200))
        if t >= self.table_s:
            self.is_on, self.lid_s, self.table_s = True, t + rng.uniform(15, 40), NEVER_S
        if self.stage == "smoking" and self.wrap != "none" and core >= self.wrap_c:
            if self._is_done(t, 420, looks=looks):
                if self.on_table:
                    self._enter("wrapped", t, 15, 40)
                    self.table_s, self.is_on = t + rng.uniform(120, 360), False
                else:
                    self._enter("wrapped", t, 60, 240)
        elif self.stage in ("smoking", "wrapped") and self.is_on and core >= self.pull_c:
            if self._is_done(t, 480, looks=looks):
                self._enter("resting", t, 15, 80)
                self.is_on = False
        elif self.stage == "resting" and t - self.truth["resting"] >= self.rest_s:
            self.stage, self.truth["carved"] = "carved", t

    def _burn(self, t: float) -> None:
        goal = self.set_c + self.swing_c * math.sin(2 * math.pi * t / self.period_s) + self.boost_c
        if 0 <= t - self.out_s < 5400:
            goal = self.room_c + 25
        if t < self.lid_s:
            self.air += (self.open_c - self.air) * STEP_S / self.dip_s
            self.boost_c = self.over_c
        else:
            self.air += (goal - self.air) * STEP_S / self.back_s
            self.boost_c *= math.exp(-STEP_S / 600)
        self.shown += (self.air - self.shown) * min(1.0, STEP_S / self.probe_s)

    def _heat(self, t: float) -> None:
        surface = self.layers[-1]
        if self.is_on:
            bare = self.stage == "smoking"
            flow = self.to_air * (1.0 if bare else 0.75) * (self.air - surface)
            if bare:
                wet_c = 0.9 * (self.air * (0.36 + 0.25 * self.damp) + 8)
                dry = min(1.0, (t - self.truth["smoking"]) / self.dry_s)
                flow -= self.to_air * 2.2 * (1 - 0.85 * dry) * max(0.0, surface - wet_c)
        else:
            flow = 6 * (0.35 if self.cooler else 1.0) * (self.room_c - surface)
        deep_m = self.half_m / LAYERS
        share = DIFFUSIVITY * STEP_S / deep_m**2
        parts = int(share / 0.3) + 1
        into = 2 * flow * STEP_S / parts * DIFFUSIVITY / (CONDUCTIVITY * deep_m)
        share /= parts
        layers = self.layers
        layers[-1] = min(layers[-1], BOILING_C)
        for _ in range(parts):
            old = layers[:]
            layers[0] += 2 * share * (old[1] - old[0])
            for at in range(1, LAYERS):
                layers[at] += share * (old[at + 1] - 2 * old[at] + old[at - 1])
            layers[-1] += 2 * share * (old[-2] - old[-1]) + into

    def _felt(self, t: float) -> float:
        """Return what the probe feels: meat, or the room."""
        raw = self.stage == "raw" and not (self.early and t > self.on_s - 600)
        out = self.stage == "carved" or (self.stage == "resting" and self.pulls)
        return self.room_c if raw or out else self.layers[0]

    def _read(self, value: float) -> float:
        return round((value + self.rng.gauss(0, self.noise_c)) / self.step_c) * self.step_c
