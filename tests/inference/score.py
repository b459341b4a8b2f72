"""How well stages are recognised: simulated cooks with every mark withheld.

``python -m tests.inference.score [N [FIRST [M]]] [slabs]`` draws N cooks (500 unless said): a third
on the plant of the simulators, a third on the plain heat flow of ``made``, a third on the shells of
``shells``, which share nothing; or, where it ends in ``slabs``, all on those of ``slabs``. Pits,
cuts, wraps, probes, instruments and people differ. What is
carved is weighed on the scale, and nobody names a weighing. The first M cooks (all unless said)
are run a second time with all stages marked and nothing recognised, to compare their alarms.
Prints the tables of docs/recognition.md.
"""

from __future__ import annotations

import random
import sys
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from multiprocessing import Pool

from pitlogger.bootstrap.policies import load_policy
from pitlogger.engine.feed import feed, ticks_until
from pitlogger.engine.inputs import Command, Input, Output
from pitlogger.engine.state import EngineState
from pitlogger.engine.step import Engine
from pitlogger.engine.watch.weights import LIKELY, weighing
from pitlogger.formats.capture import parse_capture
from pitlogger.formats.cook_file import parse_cook
from pitlogger.model.alerts import ACTIVE, ALARMS, AlertState
from pitlogger.model.cooks import Channel, Stage
from pitlogger.model.journal import AlertChanged, CookStarted, Entry, StageSet, Weighed
from pitlogger.model.quantities import Quantity
from pitlogger.model.readings import Reading, Site
from pitlogger.rules.policies import StageFrom
from pitlogger_simulators.plant.cuts import PieceSpec
from pitlogger_simulators.plant.live import LiveSmoker
from pitlogger_simulators.plant.pits import Pit
from tests.inference.made import Made
from tests.inference.shells import Shells
from tests.inference.slabs import Slabs
from tests.inference.tally import WITHIN_MS, Found, Tally, Tried, alarms, rows

START_MS = 1_700_000_000_000
STEP_S = 20
SCALE = Channel("bench", Site.BENCH, quantity=Quantity.MASS, settled=True)
ROOM_C = 22.0
USUAL_G = {"brisket-packer": 4200, "brisket-flat": 2200, "pork-butt": 3800, "beef-chuck": 2000}
COOK = """
[cook]
name = "scored"
[[piece]]
id = "piece"
cut = "{cut}"
mass = "{mass_kg:.3f} kg"
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


@dataclass(slots=True)
class Drawn:
    """A cook: its cook file, its readings in order, when each stage truly began."""

    name: str
    cook: str
    readings: list[Reading]
    truth: dict[str, int] = field(default_factory=dict)
    loads: list[tuple[int, str]] = field(default_factory=list)  # when, at which checkpoint

    def weighed(self, seed: int, mass_g: float) -> Drawn:
        """Return it with what the scale shows: as it comes in, mostly off the pit, carved."""
        rng = random.Random(-seed)
        off_g = mass_g * rng.uniform(0.52, 0.62)
        loads = [(self.readings[0].t_ms + 90_000, mass_g, "purchased")]
        if rng.random() < 0.7 and "resting" in self.truth:  # one that stalls long is given up
            loads.append((self.truth["resting"] + 60_000, off_g, "off-pit"))
        carved_g = off_g * rng.uniform(0.86, 0.95)
        if "carved" in self.truth:
            loads.append((self.truth["carved"] + 30_000, carved_g, "carved"))
        for at_ms, load_g, checkpoint in loads:
            self.loads.append((at_ms, checkpoint))
            level_mg = round(load_g / 5) * 5000
            self.readings.append(Reading("bench", at_ms, level_mg, stable=True))
            self.readings.append(Reading("bench", at_ms + 20_000, 0, stable=True))
        self.readings.sort(key=lambda one: one.t_ms)
        return self


class Cooked:
    """One piece on the plant, by a person of their own habits: see ``drawn``."""

    def __init__(self, seed: int) -> None:
        self.seed, self.rng = seed, random.Random(seed)
        rng = self.rng
        self.cut = rng.choice([*USUAL_G, "brisket-packer"])
        self.kind = rng.choice(["charcoal", "pellet", "gas", "wood"])
        self.wrap = rng.choice(["paper", "foil", "boat", "none", "paper", "foil"])
        self.wrap_c, self.pull_c = rng.gauss(73.9, 2.5), rng.gauss(94.5, 1.2)
        self.smoker = LiveSmoker(seed, room_c=rng.uniform(5.0, 30.0))
        self.smoker.add_pit(
            "pit", Pit(kind=self.kind, set_c=rng.choice([107.0, 115.0, 121.0, 135.0]))
        )
        self.mass_g = rng.lognormvariate(0.0, 0.2) * USUAL_G[self.cut]
        self.spec = PieceSpec(self.cut, mass_g=self.mass_g, start_c=rng.uniform(2, 12))
        self.on_s = rng.uniform(20, 70) * 60
        self.probe_early, self.pulls_probe = rng.random() < 0.3, rng.random() < 0.3
        self.looks_every_s = rng.choice([0, 0, 45 * 60, 75 * 60])
        self.next_look_s = self.on_s + 2 * 3600
        self.step_c = rng.choice([0.1, 0.1, 0.5556])
        self.boxed = rng.random() < 0.3  # straight into a box
        self.rest_s = rng.uniform(1, 3) * 3600
        self.place = rng.choice(["box", "cabinet"])
        moves = not self.boxed and not self.pulls_probe and rng.random() < 0.3
        self.box_s = rng.uniform(45, 80) * 60 if moves else 1e9
        self.rest_s += 5400.0 if moves else 0.0
        self.stage, self.due_s, self.felt_c = "raw", 0.0, ROOM_C
        self.truth: dict[str, int] = {}

    def drawn(self) -> Drawn:
        """Cook it and return what was read."""
        readings: list[Reading] = []
        t = 0.0
        while t < 40 * 3600 and not (self._is_off() and t - self.due_s > self.rest_s):
            self._act(t)
            self.felt_c += self._true_c() - self.felt_c
            at_ms = START_MS + round(t * 1000)
            for channel, value in (("pit", self.smoker.pit_c("pit")), ("piece/core", self.felt_c)):
                steps = round((value + self.rng.gauss(0, 0.08)) / self.step_c)
                readings.append(Reading(channel, at_ms, round(steps * self.step_c * 1000)))
            self.smoker.advance(STEP_S)
            t += STEP_S
        self.truth["carved"] = START_MS + round(t * 1000)
        for after_s in range(0, 600, STEP_S):
            at_ms = self.truth["carved"] + after_s * 1000
            readings += [Reading("pit", at_ms, round(self.smoker.pit_c("pit") * 1000)),
                         Reading("piece/core", at_ms, round(ROOM_C * 1000))]  # fmt: skip
            self.smoker.advance(STEP_S)
        # The cook file says what was meant, not when it was done.
        wrap_at = "never" if self.wrap == "none" else "74 C"
        text = COOK.format(
            cut=self.cut, wrap=self.wrap, wrap_at=wrap_at, pull_at=self.rng.gauss(95.0, 0.8),
            mass_kg=self.mass_g / 1000,
        )  # fmt: skip
        return Drawn(f"plant, {self.kind}, {self.wrap}", text, readings, self.truth).weighed(
            self.seed, self.mass_g
        )

    def _is_off(self) -> bool:
        return self.stage in ("resting", "holding")

    def _true_c(self) -> float:
        if self.stage == "raw":
            return self.spec.start_c if self.probe_early else ROOM_C
        if self._is_off() and self.pulls_probe:
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
        if self._is_off():
            if self.stage == "resting" and t - self.due_s >= self.box_s:
                off_s = self.due_s
                smoker.place("piece", self.place)
                self._enter("holding", t)
                self.due_s = off_s
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
    truth["carved"] = records[-1].t_ms - 60_000
    mass_g = 1000 * rng.uniform(4.5, 7.5)
    cut = 'cut = "brisket-packer"'
    cook = made.cook().replace(cut, f'{cut}\nmass = "{mass_g / 1000:.3f} kg"')
    return Drawn("heat flow", cook, records, truth).weighed(seed, mass_g)


def read(
    points: list[tuple[float, float, float]], began: dict[str, float]
) -> tuple[list[Reading], dict[str, int]]:
    """Return readings and true beginnings of what was read at seconds from the start."""
    readings = [
        Reading(channel, START_MS + round(t * 1000), round(value * 1000))
        for t, pit_c, core_c in points
        for channel, value in (("pit", pit_c), ("piece/core", core_c))
    ]
    return readings, {stage: START_MS + round(t * 1000) for stage, t in began.items()}


def by_slabs(seed: int) -> Drawn:
    """Return a cook on a slab whose lids look alike."""
    made = Slabs(seed).run()
    rng = random.Random(seed + 2)
    readings, truth = read(made.points, made.truth)
    mass_g = 1000 * rng.uniform(3.0, 7.0)
    text = COOK.format(
        cut=rng.choice(["brisket-packer", "pork-butt"]), mass_kg=mass_g / 1000, wrap=made.wrap,
        wrap_at="never" if made.wrap == "none" else f"{made.wrap_at_c} C", pull_at=made.pull_at_c,
    )  # fmt: skip
    return Drawn(f"slabs, {made.every_s} s", text, readings, truth).weighed(seed, mass_g)


def by_shells(seed: int) -> Drawn:
    """Return a cook on shells, as other instruments read it."""
    made = Shells(seed).run()
    rng = random.Random(seed + 1)
    readings, truth = read(made.points, made.truth)
    wrap_at = "never" if made.wrap_at_c is None else f"{made.wrap_at_c} C"
    mass_g = 1000 * rng.uniform(3.0, 8.0)
    text = COOK.format(
        cut=rng.choice(["brisket-packer", "pork-butt"]), mass_kg=mass_g / 1000, wrap_at=wrap_at,
        wrap="none" if made.wrap_at_c is None else "paper", pull_at=made.pull_at_c,
    )  # fmt: skip
    return Drawn(f"shells, {made.every_s} s", text, readings, truth).weighed(seed, mass_g)


class Followed:
    """A cook before the product: what it finds, what it asks, which alarms it raises."""

    def __init__(self, one: Drawn, stage_from: StageFrom) -> None:
        policy = replace(load_policy(), stage_from=stage_from)
        self.engine = Engine(EngineState("score"), policy, channels=(SCALE,))
        self.one = one
        self.found: Found = {}
        self.alarms: list[tuple[str, int]] = []
        self.questions: list[str] = []  # each costs the person a tap
        self.step(Command(one.readings[0].t_ms, CookStarted(parse_cook(one.cook))))

    def step(self, given: Input) -> None:
        self._take(feed(self.engine, given), given.t_ms)

    def wait(self, t_ms: int) -> None:
        """Let time pass without a reading."""
        self._take(ticks_until(self.engine, t_ms), t_ms)

    def _take(self, outs: Iterator[tuple[Output, ...]], t_ms: int) -> None:
        for out in outs:
            for output in out:
                if isinstance(output, Entry):
                    self._entry(output)
        for proposal in self.engine.recognition.proposals.get("piece", ()):
            now_ms = self.engine.state.t_ms
            told = (proposal.at_ms, proposal.p, now_ms, proposal.between_ms)
            self.found.setdefault(proposal.stage.value, told)
        watch = self.engine.state.watches.get(f"{LIKELY}/bench")
        asked = self.engine.weights.asked("bench")
        if watch is not None and watch.state in ACTIVE and asked is not None:
            load, guesses = asked
            true = min(self.one.loads, key=lambda one: abs(one[0] - load.at_ms))[1]
            right = [weighing(load, one) for one in guesses if one.checkpoint == true]
            by_hand = Weighed("piece", true, load.net_mg, 0, load.at_ms)
            said = replace(right[0], confirmed=True) if right else by_hand
            self.step(Command(t_ms, said))

    def _entry(self, entry: Entry) -> None:
        body = entry.body
        if isinstance(body, StageSet):
            self.found.setdefault(body.stage.value, (body.at_ms, body.p or 0.0, entry.t_ms, None))
        elif isinstance(body, AlertChanged) and body.now is AlertState.UNACKNOWLEDGED:
            kind = body.alert.partition("/")[0]
            if kind in ALARMS:
                self.alarms.append((kind, entry.t_ms))
            elif kind in (LIKELY, "stage-likely"):
                self.questions.append(body.message)


def followed(one: Drawn, stage_from: StageFrom) -> Followed:
    """Run a cook through the product, all stages marked where ``stage_from`` is the person."""
    run = Followed(one, stage_from)
    marks = sorted((at_ms, Stage(stage)) for stage, at_ms in one.truth.items())
    for reading in one.readings:
        while stage_from == "person" and marks and marks[0][0] <= reading.t_ms:
            at_ms, stage = marks.pop(0)
            run.step(Command(reading.t_ms, StageSet("piece", stage, at_ms)))
        run.step(reading)
    for minute in range(1, 8):
        run.wait(one.readings[-1].t_ms + minute * 60_000)
    return run


def tried(seed: int, is_marked: bool = True, is_slab: bool = False) -> Tried:
    """Draw one cook and recognise it; run it with its marks as well where ``is_marked``."""
    draw = (by_heat_flow, lambda seed: Cooked(seed).drawn(), by_shells)[seed % 3]
    one = by_slabs(seed) if is_slab else draw(seed)
    unmarked = followed(one, "taken")
    name = f"{one.name}, {seed}"
    if not is_marked:
        return Tried(name, one.truth, unmarked.found, [], [])
    marked = followed(one, "person")
    return Tried(name, one.truth, unmarked.found, marked.alarms, unmarked.alarms)


def main(n: int, first: int, marked: int, *, slabs: bool) -> None:
    kinds = {kind: {stage: Tally() for stage in WITHIN_MS}
             for kind in ("all", "plant", "heat flow", "shells", "slabs")}  # fmt: skip
    counts = dict.fromkeys(kinds, 0)
    cooks = []
    with Pool(2) as pool:
        runs = [(first + at, at < marked, slabs) for at in range(n)]
        for one in pool.starmap(tried, runs, chunksize=1):
            cooks.append(one)
            for kind in ("all", one.name.partition(",")[0]):
                counts[kind] += 1
                for stage, tally in kinds[kind].items():
                    tally.take(one.truth.get(stage), one.found.get(stage), WITHIN_MS[stage])
            for stage, within_ms in WITHIN_MS.items():
                real, seen = one.truth.get(stage), one.found.get(stage)
                off = None if real is None or seen is None else round((seen[0] - real) / 60_000, 1)
                if (real is None) != (seen is None) or abs(off or 0) > within_ms / 60_000:
                    print(f"{one.name}: {stage} off by {off} min", file=sys.stderr)
    for kind, tallies in kinds.items():
        if not counts[kind]:
            continue
        print(f"{kind}: " + "\n".join(rows(tallies, counts[kind])) + "\n")
    print("\n".join(alarms(cooks)))


if __name__ == "__main__":
    numbers = [int(one) for one in sys.argv[1:] if one != "slabs"]
    main(*numbers, *(500, 0, 500)[len(numbers) :], slabs="slabs" in sys.argv)
