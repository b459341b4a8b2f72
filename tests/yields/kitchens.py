"""Kitchens that weigh one to eight alike pieces on the way from the bag to the table.

Nothing here comes from the product's own figures: steps, spreads, habits and slips are drawn
anew for each kitchen (ours, common practice, no source). Slips: a tray not tared, a weighing
left out or done twice, pieces in any order, a cat, a pot. What happens does not depend on what
anybody makes of it, so that the product and an oracle are given the same kitchens.
"""

from __future__ import annotations

import random
from dataclasses import dataclass, field
from typing import NamedTuple

from pitlogger.model.cooks import Stage

CUTS = {"brisket-packer": 6.2, "pork-butt": 3.7, "pork-belly": 4.4, "brisket-flat": 2.9}
ALIKE_LOG_SD = 0.12
LABEL_SD = 0.006
SKIPPED = 0.04


class Step(NamedTuple):
    """A step of the way: how often it is weighed, the common share it keeps, from .. to, and
    the spread of each piece's own, as standard deviation of its logarithm."""

    name: str
    weighed: float
    least: float
    most: float
    own_sd: float


STEPS = (
    Step("trimmed", 0.93, 0.70, 0.92, 0.03),
    Step("seasoned", 0.3, 1.008, 1.025, 0.004),
    Step("at-wrap", 0.45, 0.68, 0.82, 0.025),
    Step("off-pit", 0.85, 0.82, 0.93, 0.02),
    Step("rested", 0.4, 0.955, 0.99, 0.006),
    Step("carved", 0.75, 0.84, 0.97, 0.02),
)
# The stage that is marked about when a step is weighed, and whether it mostly is.
MARKS = {"trimmed": (Stage.TRIMMED, 0.25), "seasoned": (Stage.SEASONED, 0.25),
         "at-wrap": (Stage.WRAPPED, 0.97), "off-pit": (Stage.RESTING, 0.97),
         "carved": (Stage.CARVED, 0.3)}  # fmt: skip
AS_BEFORE, NEIGHBOURS_SWAPPED = 0.65, 0.2  # else in any order
MINUTE_MS = 60_000


class Happening(NamedTuple):
    """What happens at a time: a level on the scale, of a piece at a step if any, or a mark."""

    t_ms: int
    level_g: float | None = None
    piece: str = ""
    step: str = ""
    mark: Stage | None = None


class Weighing(NamedTuple):
    """A piece truly weighed: what the scale shows, without a tray, and the session."""

    session: int
    piece: str
    step: str
    shown_g: float
    one_by_one: bool


@dataclass(slots=True)
class Kitchen:
    """One kitchen; ``drawn`` fills what happens."""

    seed: int
    cut: str = ""
    mass_g: dict[str, float] = field(default_factory=dict)
    label_g: dict[str, float] = field(default_factory=dict)
    tray_g: float = 0.0
    knows_tray: bool = False
    happenings: list[Happening] = field(default_factory=list)
    weighings: list[Weighing] = field(default_factory=list)
    end_ms: int = 0
    rng: random.Random = field(default_factory=random.Random)
    t_ms: int = 1_700_000_000_000
    session: int = 0
    level_g: float = 0.0

    @property
    def names(self) -> list[str]:
        return list(self.mass_g)

    def _run(self) -> None:
        rng = self.rng
        order = self.names
        if self.label_g:
            rng.shuffle(order)
        one_by_one = rng.random() < 0.4
        steps = [step for step in STEPS if rng.random() < step.weighed]
        shares = {step.name: rng.uniform(step.least, step.most) for step in STEPS}
        first = steps[:1] if steps and steps[0].name == "trimmed" and one_by_one else []
        for name in order:
            self._weigh(name, "purchased", bool(first))
            for step in first:
                self._wait(rng.uniform(5, 12))
                self._change(name, step, shares)
                self._weigh(name, step.name, True)
        for step in STEPS:
            if step in first:
                continue
            self.session += 1
            self._wait(rng.uniform(20, 200))
            self._reorder(order)
            if step.name == "at-wrap":
                for name in order:
                    self._mark(name, Stage.SMOKING)
                self._wait(240)
            for name in order:
                self._change(name, step, shares)
                if step in steps and rng.random() > SKIPPED:
                    self._weigh(name, step.name)
                if step.name in MARKS and rng.random() < MARKS[step.name][1]:
                    self._mark(name, MARKS[step.name][0])
            self._wait(4.1 * (len(order) + 2))
        self.end_ms = self.t_ms

    def _change(self, name: str, step: Step, shares: dict[str, float]) -> None:
        self.mass_g[name] *= shares[step.name] * self.rng.lognormvariate(0.0, step.own_sd)

    def _reorder(self, order: list[str]) -> None:
        """Take the pieces as before, with two neighbours swapped, or in any order."""
        habit = self.rng.random()
        if habit > AS_BEFORE + NEIGHBOURS_SWAPPED:
            self.rng.shuffle(order)
        elif habit > AS_BEFORE and len(order) > 1:
            at = self.rng.randrange(len(order) - 1)
            order[at : at + 2] = reversed(order[at : at + 2])

    def _weigh(self, name: str, step: str, one_by_one: bool = False) -> None:
        """Put a piece on the scale as people do; slips and visitors between."""
        rng = self.rng
        self._wait(rng.uniform(0.7, 3.0))
        if rng.random() < 0.01:
            self._visitor()
        slip = rng.random()
        tray_g = self.tray_g if slip < 0.19 else 0.0
        if 0.04 <= slip < 0.19:  # the tray first, empty; else, with a tray, it was not tared
            self._level(tray_g)
            self._wait(0.3)
        self._level(tray_g + self.mass_g[name], name, step)
        shown_g = _shown(self.level_g) - _shown(tray_g)
        self.weighings.append(Weighing(self.session, name, step, shown_g, one_by_one))
        self._wait(0.05)
        if rng.random() < 0.04:  # lifted and put back
            before_g = self.level_g
            self._level(0.0)
            self._level(before_g)
        self._wait(0.2)
        self._level(0.0)

    def _visitor(self) -> None:
        """Let something lie there that is no piece: a cat, a pot, a bag."""
        self._level(self.rng.choice([self.rng.uniform(2800, 6000), self.rng.uniform(200, 3000)]))
        self._wait(0.25)
        self._level(0.0)

    def _level(self, level_g: float, piece: str = "", step: str = "") -> None:
        self.t_ms += 1000
        self.level_g = level_g
        self.happenings.append(Happening(self.t_ms, _shown(level_g), piece, step))

    def _mark(self, piece: str, stage: Stage) -> None:
        self.happenings.append(Happening(self.t_ms, piece=piece, mark=stage))

    def _wait(self, minutes: float) -> None:
        self.t_ms += round(minutes * MINUTE_MS)


def _shown(level_g: float) -> float:
    return round(level_g / 5) * 5.0


def drawn(seed: int, kind: type[Kitchen] = Kitchen) -> Kitchen:
    """Return a kitchen and all that happens in it."""
    rng = random.Random(seed)
    cut = rng.choice(list(CUTS))
    made = kind(seed, cut, rng=rng)
    for at in range(rng.randint(1, 8)):
        made.mass_g[f"p{at + 1}"] = 1000 * CUTS[cut] * rng.lognormvariate(0.0, ALIKE_LOG_SD)
    if rng.random() < 0.6:
        for name, mass_g in made.mass_g.items():
            made.label_g[name] = round(mass_g * rng.gauss(1.0, LABEL_SD), 3)
    made.tray_g = rng.uniform(300, 1500)
    made.knows_tray = rng.random() < 0.5
    made._run()
    return made
