"""How well stages are recognised: simulated cooks with every mark withheld.

``python -m tests.inference.score [N]`` draws N cooks (500 unless said), half on the plant of the
simulators, half on the plain heat flow of ``made``, which shares nothing with it; pits, cuts,
wraps, probes and people differ. It prints the table of docs/recognition.md.
"""

from __future__ import annotations

import random
import sys
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from multiprocessing import Pool

from pitlogger.bootstrap.policies import load_policy
from pitlogger.engine.feed import feed, ticks_until
from pitlogger.engine.inputs import Command, Input
from pitlogger.engine.state import EngineState
from pitlogger.engine.step import Engine
from pitlogger.formats.capture import parse_capture
from pitlogger.formats.cook_file import parse_cook
from pitlogger.model.journal import CookStarted, Entry, StageSet
from pitlogger.model.readings import Reading
from pitlogger_simulators.plant import LiveSmoker, PieceSpec, Pit
from tests.inference.made import Made

START_MS = 1_700_000_000_000
STEP_S = 20
WITHIN_MS = 300_000
STAGES = ("smoking", "wrapped", "resting")
ROOM_C = 22.0
USUAL_G = {"brisket-packer": 4200, "brisket-flat": 2200, "pork-butt": 3800, "beef-chuck": 2000}
COOK = """
[cook]
name = "scored"
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
[[channel]]
id = "piece/core"
site = "core"
piece = "piece"
"""
Found = dict[str, tuple[int, float, int]]  # by stage: when, how likely, when it was told


@dataclass(slots=True)
class Drawn:
    """A cook: its cook file, its readings in order, when each stage truly began."""

    name: str
    cook: str
    readings: list[Reading]
    truth: dict[str, int] = field(default_factory=dict)


class Cooked:
    """One piece on the plant, by a person of their own habits: see ``drawn``."""

    def __init__(self, seed: int) -> None:
        self.rng = rng = random.Random(seed)
        self.cut = rng.choice([*USUAL_G, "brisket-packer"])
        self.kind = rng.choice(["charcoal", "pellet", "gas", "wood"])
        self.wrap = rng.choice(["paper", "foil", "boat", "none", "paper", "foil"])
        self.wrap_c, self.pull_c = rng.gauss(73.9, 2.5), rng.gauss(94.5, 1.2)
        self.smoker = LiveSmoker(seed, room_c=rng.uniform(5.0, 30.0))
        self.smoker.add_pit(
            "pit", Pit(kind=self.kind, set_c=rng.choice([107.0, 115.0, 121.0, 135.0]))
        )
        mass_g = rng.lognormvariate(0.0, 0.2) * USUAL_G[self.cut]
        self.spec = PieceSpec(self.cut, mass_g=mass_g, start_c=rng.uniform(2, 12))
        self.on_s = rng.uniform(20, 70) * 60
        self.probe_early, self.pulls_probe = rng.random() < 0.3, rng.random() < 0.3
        self.looks_every_s = rng.choice([0, 0, 45 * 60, 75 * 60])
        self.next_look_s = self.on_s + 2 * 3600
        self.step_c = rng.choice([0.1, 0.1, 0.5556])
        self.boxed = rng.random() < 0.3  # straight into a box
        self.stage, self.due_s, self.felt_c = "raw", 0.0, ROOM_C
        self.truth: dict[str, int] = {}

    def drawn(self) -> Drawn:
        """Cook it and return what was read."""
        readings: list[Reading] = []
        t = 0.0
        while t < 40 * 3600 and not (self.stage == "resting" and t - self.due_s > 2 * 3600):
            self._act(t)
            self.felt_c += self._true_c() - self.felt_c
            at_ms = START_MS + round(t * 1000)
            for channel, value in (("pit", self.smoker.pit_c("pit")), ("piece/core", self.felt_c)):
                steps = round((value + self.rng.gauss(0, 0.08)) / self.step_c)
                readings.append(Reading(channel, at_ms, round(steps * self.step_c * 1000)))
            self.smoker.advance(STEP_S)
            t += STEP_S
        # The cook file says what was meant, not when it was done.
        wrap_at = "never" if self.wrap == "none" else "74 C"
        text = COOK.format(
            cut=self.cut, wrap=self.wrap, wrap_at=wrap_at, pull_at=self.rng.gauss(95.0, 0.8)
        )
        return Drawn(f"plant, {self.kind}, {self.wrap}", text, readings, self.truth)

    def _true_c(self) -> float:
        if self.stage == "raw":
            return self.spec.start_c if self.probe_early else ROOM_C
        if self.stage == "resting" and self.pulls_probe:
            return ROOM_C
        return self.smoker.core_c("piece")

    def _enter(self, stage: str, t: float) -> None:
        self.stage, self.due_s = stage, 0.0 if stage != "resting" else t
        self.truth[stage] = START_MS + round(t * 1000)

    def _act(self, t: float) -> None:
        rng, smoker = self.rng, self.smoker
        if self.stage == "raw":
            if t >= self.on_s:
                smoker.put_on("piece", self.spec, pit="pit", lid_s=rng.uniform(30, 100))
                self._enter("smoking", t)
            return
        if self.stage == "resting":
            return
        if self.looks_every_s and t > self.next_look_s:
            smoker.fire("pit").open_lid(rng.uniform(15, 45))
            self.next_look_s = t + self.looks_every_s * rng.uniform(0.7, 1.3)
        core_c = smoker.core_c("piece")
        if self.stage == "smoking" and self.wrap != "none" and core_c >= self.wrap_c:
            self.due_s = self.due_s or t + rng.uniform(1, 15) * 60
            if t >= self.due_s:
                smoker.fire("pit").open_lid(rng.uniform(30, 60))
                smoker.wrap("piece", self.wrap)
                smoker.put_back("piece", "pit", lid_s=rng.uniform(60, 120))
                self._enter("wrapped", t)
        elif core_c >= self.pull_c:
            self.due_s = self.due_s or t + rng.uniform(1, 20) * 60
            if t >= self.due_s:
                smoker.fire("pit").open_lid(rng.uniform(20, 50))
                smoker.pull("piece", "box" if self.boxed else "counter")
                self._enter("resting", t)


def by_heat_flow(seed: int) -> Drawn:
    """Return a cook on the plain heat flow."""
    rng = random.Random(seed)
    looks = tuple(sorted(rng.uniform(40, 500) for _ in range(rng.choice([0, 1, 3, 6]))))
    made = Made(
        seed=seed, pit_c=rng.uniform(105, 140), bare_h=rng.uniform(1.8, 5.5),
        stall_c=rng.uniform(70, 78), pull_c=rng.uniform(91, 96), looks=looks,
        wrap_c=rng.choice([None, 68.0, 72.0, 74.0, 76.0]), inserted_c=rng.choice([19.0, 5.0, 30.0]),
        rest_min=rng.uniform(60, 240), resting_h=rng.uniform(2, 6), lid_s=rng.uniform(30, 120),
        noise_c=rng.uniform(0.03, 0.4), step_c=rng.choice([0.1, 0.1, 0.5, 0.5556]),
        piece="piece",
    )  # fmt: skip
    lines = [line.encode() for line in made.lines()]
    records = [one for one in parse_capture(lines) if isinstance(one, Reading)]
    truth = {stage: round(at * 1000) for stage, at in made.truth.items()}
    return Drawn("heat flow", made.cook(), records, truth)


def recognised(one: Drawn) -> Found:
    """Return when each stage seems to have begun, its chance, and when that was told."""
    engine = Engine(EngineState("score"), replace(load_policy(), stage_from="taken"))
    found: Found = {}

    def step(given: Input) -> None:
        for out in feed(engine, given):
            for output in out:
                if isinstance(output, Entry) and isinstance((body := output.body), StageSet):
                    found.setdefault(body.stage.value, (body.at_ms, body.p or 0.0, output.t_ms))
        for proposal in engine.recognition.proposals.get("piece", []):
            told = (proposal.at_ms, proposal.p, engine.state.t_ms)
            found.setdefault(proposal.stage.value, told)

    step(Command(one.readings[0].t_ms, CookStarted(parse_cook(one.cook))))
    for reading in one.readings:
        step(reading)
    for _ in ticks_until(engine, one.readings[-1].t_ms + 120_000):
        pass
    return found


def tried(seed: int) -> tuple[str, dict[str, int], Found]:
    """Draw one cook and recognise it."""
    one = Cooked(seed).drawn() if seed % 2 else by_heat_flow(seed)
    return one.name, one.truth, recognised(one)


@dataclass(slots=True)
class Tally:
    """What became of one stage over all cooks."""

    real: int = 0
    right: int = 0
    late: int = 0
    missed: int = 0
    vain: int = 0
    told_min: list[float] = field(default_factory=list)

    def take(self, real_ms: int | None, seen: tuple[int, float, int] | None) -> None:
        self.real += real_ms is not None
        if seen is None:
            self.missed += real_ms is not None
        elif real_ms is None:
            self.vain += 1
        else:
            self.told_min.append((seen[2] - real_ms) / 60_000)
            is_right = abs(seen[0] - real_ms) <= WITHIN_MS
            self.right += is_right
            self.late += not is_right

    def row(self, stage: str) -> str:
        told = sorted(self.told_min)
        after = f"{told[len(told) // 2]:.0f}, {told[len(told) * 9 // 10]:.0f} min" if told else "-"
        return (
            f"| {stage} | {self.real} | {self.right / max(1, self.real):.1%} | {self.late} |"
            f" {self.missed} | {self.vain} | {after} |"
        )


def rows(tallies: dict[str, Tally], n: int) -> Iterator[str]:
    wrong = sum(tally.late + tally.vain for tally in tallies.values())
    yield f"{n} cooks, {wrong} wrong proposals: one in {n / max(1, wrong):.0f} cooks\n"
    yield "| stage | cooks | within 5 min | other time | not seen | in vain | told (50, 90 %) |"
    yield "|---|---|---|---|---|---|---|"
    for stage, tally in tallies.items():
        yield tally.row(stage)


def main(n: int) -> None:
    kinds = {kind: {stage: Tally() for stage in STAGES} for kind in ("all", "plant", "heat flow")}
    counts = dict.fromkeys(kinds, 0)
    with Pool(2) as pool:
        for name, truth, found in pool.imap_unordered(tried, range(n)):
            for kind in ("all", name.partition(",")[0]):
                counts[kind] += 1
                for stage, tally in kinds[kind].items():
                    tally.take(truth.get(stage), found.get(stage))
            for stage in STAGES:
                real, seen = truth.get(stage), found.get(stage)
                off = None if real is None or seen is None else round((seen[0] - real) / 60_000, 1)
                if (real is None) != (seen is None) or (off is not None and abs(off) > 5):
                    print(f"{name}: {stage} off by {off} min", file=sys.stderr)
    for kind, tallies in kinds.items():
        print(f"{kind}: " + "\n".join(rows(tallies, counts[kind])))


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 500)
