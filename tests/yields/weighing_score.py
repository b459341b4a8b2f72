"""How well weights are matched without a tap: simulated kitchens, one table.

    python -m tests.yields.weighing_score 2000

A kitchen weighs one to eight alike pieces on the way from the bag to the table, in ``taken``.
Nothing here comes from the product's own figures: steps, spreads, habits and slips are drawn
anew for each kitchen (ours, common practice, no source). Slips: a tray not tared, a weighing
left out or done twice, pieces in any order, a cat, a pot, two pieces on one tray.
"""

from __future__ import annotations

import random
import sys
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, replace

from pitlogger.bootstrap.policies import load_policy
from pitlogger.engine.feed import feed, ticks_until
from pitlogger.engine.inputs import Command
from pitlogger.engine.state import EngineState
from pitlogger.engine.step import Engine
from pitlogger.engine.watch.weights import ASK_AFTER_MS, NEITHER, weighing
from pitlogger.model.alerts import ACTIVE
from pitlogger.model.cooks import Channel, Cook, Piece, Stage
from pitlogger.model.journal import AlertActed, Body, CookStarted, StageSet, Tared, Weighed
from pitlogger.model.quantities import Quantity
from pitlogger.model.readings import Reading, Site

CUTS = {"brisket-packer": 6.2, "pork-butt": 3.7, "pork-belly": 4.4, "brisket-flat": 2.9}
# Step: chance that it is weighed, common share kept from .. to, spread of each piece's own.
STEPS: tuple[tuple[str, float, float, float, float], ...] = (
    ("trimmed", 0.93, 0.70, 0.92, 0.03),
    ("seasoned", 0.3, 1.008, 1.025, 0.004),
    ("at-wrap", 0.45, 0.68, 0.82, 0.025),
    ("off-pit", 0.85, 0.82, 0.93, 0.02),
    ("rested", 0.4, 0.955, 0.99, 0.006),
    ("carved", 0.75, 0.84, 0.97, 0.02),
)
# The stage that is marked about when a step is weighed, and whether it mostly is.
MARKS = {"trimmed": (Stage.TRIMMED, 0.25), "seasoned": (Stage.SEASONED, 0.25),
         "at-wrap": (Stage.WRAPPED, 0.97), "off-pit": (Stage.RESTING, 0.97),
         "carved": (Stage.CARVED, 0.3)}  # fmt: skip
MINUTE_MS = 60_000


@dataclass(frozen=True, slots=True)
class Told:
    """What became of one load: kept, asked or nothing, and whether that was right."""

    how: str
    right: bool


class Kitchen:
    """One kitchen, weighing as people do."""

    def __init__(self, seed: int, chance: float = 0.9) -> None:
        self.rng = rng = random.Random(seed)
        cut = rng.choice(list(CUTS))
        self.n = rng.randint(1, 8)
        self.names = [f"p{at + 1}" for at in range(self.n)]
        self.mass_g = {
            name: 1000 * CUTS[cut] * rng.lognormvariate(0.0, 0.12) for name in self.names
        }
        self.has_labels = rng.random() < 0.6
        self.tray_g = rng.uniform(300, 1500)
        self.knows_tray = rng.random() < 0.5
        pieces = tuple(
            Piece(name, cut, mass_mg=self._label_mg(name), wrap="paper") for name in self.names
        )
        policy = replace(load_policy(), stage_from="taken", stage_chance=chance)
        scale = Channel("bench", Site.BENCH, quantity=Quantity.MASS, settled=True)
        self.engine = Engine(EngineState("r"), policy, channels=(scale,))
        self.t_ms = 1_700_000_000_000
        self.told: list[Told] = []
        self.true: dict[int, tuple[str, str]] = {}  # what each load is, by its time
        self.known: set[int] = set()
        self.level_g = 0.0
        self._say(CookStarted(Cook("supper", pieces=pieces, channels=(scale,), id="c")))
        if self.knows_tray:
            self._say(Tared("bench", round(self.tray_g * 1000), "tray"))
            self._say(Tared("bench", 0))
        self.order = list(self.names)

    def _label_mg(self, name: str) -> int | None:
        if not self.has_labels:
            return None
        return round(1000 * self.mass_g[name] * self.rng.gauss(1.0, 0.006))

    def run(self) -> list[Told]:
        """Weigh through the whole cook; return what became of each load."""
        rng = self.rng
        if self.has_labels:
            rng.shuffle(self.order)
        one_by_one = rng.random() < 0.4
        steps = [step for step in STEPS if rng.random() < step[1]]
        shares = {step[0]: rng.uniform(step[2], step[3]) for step in STEPS}
        first = steps[:1] if steps and steps[0][0] == "trimmed" and one_by_one else []
        for name in list(self.order):
            self._weigh(name, "purchased")
            for step in first:
                self._wait(rng.uniform(5, 12))
                self._change(name, step, shares)
                self._weigh(name, step[0])
        done = {step[0] for step in first}
        for step in STEPS:
            if step[0] in done:
                continue
            self._wait(rng.uniform(20, 200))
            self._reorder()
            if step[0] == "at-wrap":
                for name in self.order:
                    self._mark(name, Stage.SMOKING)
                self._wait(240)
            for name in list(self.order):
                self._change(name, step, shares)
                if step in steps and rng.random() > 0.04:
                    self._weigh(name, step[0])
                if step[0] in MARKS and rng.random() < MARKS[step[0]][1]:
                    self._mark(name, MARKS[step[0]][0])
            self._settle()
        return self.told

    def _change(self, name: str, step: tuple[str, float, float, float, float],
                shares: dict[str, float]) -> None:  # fmt: skip
        self.mass_g[name] *= shares[step[0]] * self.rng.lognormvariate(0.0, step[4])

    def _reorder(self) -> None:
        """Take the pieces as before, with two neighbours swapped, or in any order."""
        habit = self.rng.random()
        if habit > 0.85:
            self.rng.shuffle(self.order)
        elif habit > 0.65 and self.n > 1:
            at = self.rng.randrange(self.n - 1)
            self.order[at : at + 2] = reversed(self.order[at : at + 2])

    def _weigh(self, name: str, checkpoint: str) -> None:
        """Put a piece on the scale as people do; slips and visitors between."""
        rng = self.rng
        self._wait(rng.uniform(0.7, 3.0))
        if rng.random() < 0.01:
            self._visitor()
        self.level_g = 0.0
        slip = rng.random()
        if slip < 0.04:
            self._put(self.tray_g + self.mass_g[name], name, checkpoint)  # the tray not tared
        elif slip < 0.19:
            self._put(self.tray_g)  # the tray first, empty
            self._wait(0.3)
            self._put(self.tray_g + self.mass_g[name], name, checkpoint)
        else:
            self._put(self.mass_g[name], name, checkpoint)
        if rng.random() < 0.04:  # lifted and put back
            before_g = self.level_g
            self._level(0.0)
            self._level(before_g)
        self._wait(0.2)
        self._level(0.0)

    def _visitor(self) -> None:
        """Let something lie there that is no piece: a cat, a pot, a bag."""
        self._put(self.rng.choice([self.rng.uniform(2800, 6000), self.rng.uniform(200, 3000)]))
        self._wait(0.2)
        self._level(0.0)

    def _put(self, level_g: float, name: str = "", checkpoint: str = "") -> None:
        """Let a level come to rest and remember what it truly is."""
        self._level(level_g)
        load = next((one for one in self.engine.state.loads if one.at_ms == self.t_ms), None)
        if load is not None:
            self.true[self.t_ms] = (name, checkpoint)
        elif name:
            self.told.append(Told("nothing", False))
        self._pass(3_000)

    def _level(self, level_g: float) -> None:
        self.level_g = level_g
        self.t_ms += 1000
        self._feed(Reading("bench", self.t_ms, round(level_g / 5) * 5_000, stable=True))

    def _mark(self, name: str, stage: Stage) -> None:
        self._say(StageSet(name, stage, self.t_ms))

    def _wait(self, minutes: float) -> None:
        self._pass(round(minutes * MINUTE_MS))

    def _settle(self) -> None:
        """Let what waits be asked about and answered."""
        for _ in range(self.n + 2):
            self._pass(ASK_AFTER_MS + 2_000)

    def _pass(self, ms: int) -> None:
        end_ms = self.t_ms + ms
        while self.t_ms < end_ms:
            self.t_ms = min(end_ms, self.t_ms + 30_000)
            for _ in ticks_until(self.engine, self.t_ms):
                pass
            self._look()

    def _say(self, body: Body) -> None:
        self._feed(Command(self.t_ms, body))

    def _feed(self, given: Reading | Command) -> None:
        for _ in feed(self.engine, given):
            pass
        self._look()

    def _look(self) -> None:
        """Take note of what was kept by itself, and answer what is asked."""
        for held in self.engine.book.pieces.values():
            for one in held.weighings:
                body = one.weighed
                if body.is_unconfirmed and body.at_ms not in self.known:
                    self.known.add(body.at_ms)
                    true = self.true.pop(body.at_ms, ("", ""))
                    self.told.append(Told("kept", true == (body.piece, body.checkpoint)))
                    if not self.told[-1].right and "-v" in sys.argv:
                        print(self.n, body.piece, body.checkpoint, body.p, true)
        watch = self.engine.state.watches.get("weight-likely/bench")
        found = self.engine.weights.asked("bench")
        if watch is None or watch.state not in ACTIVE or found is None:
            return
        load, guesses = found
        true = self.true.pop(load.at_ms, ("", ""))
        right = next((one for one in guesses if (one.piece, one.checkpoint) == true), None)
        if true[0]:
            self.told.append(Told("asked", right is not None))
        else:
            self.told.append(Told("asked of nothing", True))
        if right is not None:
            self._say(replace(weighing(load, right), confirmed=True))
            return
        self._say(AlertActed("weight-likely/bench", "answer", reason=NEITHER))
        if true[0]:
            self._say(Weighed(*true, round(load.net_mg), 0, load.at_ms))

    def finish(self) -> list[Told]:
        """Return what became of each load, those that nobody spoke of included."""
        self.told += [Told("nothing", False) for name, _ in self.true.values() if name]
        return self.told


def score(kitchens: int, first: int = 0, chance: float = 0.9) -> Counter[tuple[str, bool]]:
    """Return how many loads were kept, asked about or passed over, rightly or not."""
    found: Counter[tuple[str, bool]] = Counter()
    for seed in range(first, first + kitchens):
        kitchen = Kitchen(seed, chance)
        kitchen.run()
        found.update((told.how, told.right) for told in kitchen.finish())
    return found


def table(found: Counter[tuple[str, bool]], kitchens: int) -> Iterator[str]:
    """Yield the lines of the table."""
    loads = sum(count for (how, _), count in found.items() if how != "asked of nothing")
    kept_wrong, asked = found["kept", False], found["asked", True] + found["asked", False]
    right = found["kept", True] + found["asked", True]
    yield f"{kitchens} kitchens, {loads} loads\n"
    yield "| | loads | share |"
    yield "| --- | --- | --- |"
    rows = [
        ("right: kept, or asked with it among the two", right),
        ("asked", asked),
        ("asked, and it was neither", found["asked", False]),
        ("kept for the wrong piece or checkpoint", kept_wrong),
        ("nothing said", found["nothing", False]),
    ]
    for name, count in rows:
        yield f"| {name} | {count} | {100 * count / max(1, loads):.2f}% |"
    yield f"\nAsked about what was no piece: {found['asked of nothing', True]} times."


if __name__ == "__main__":
    number = int(sys.argv[1]) if len(sys.argv) > 1 else 100
    since = int(sys.argv[2]) if len(sys.argv) > 2 else 0
    print("\n".join(table(score(number, since), number)))
