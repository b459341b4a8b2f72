"""A cook as a capture, made by plain heat flow: one body with a surface, one pit, a lid.

Shares nothing with the plant of the simulators. Two lumps in a row (surface and core) follow the
pit; water at the surface holds the surface back until it is wrapped or dry.
"""

from __future__ import annotations

import json
import random
from dataclasses import dataclass, field

START_S = 1_700_000_000
STEP_S = 10

COOK = """
[cook]
name = "made"
[[piece]]
id = "{piece}"
cut = "brisket-packer"
wrap = "{wrap}"
wrap_at = "{wrap_at}"
pull_at = "{pull_at} C"
pit = "pit"
[[channel]]
id = "pit"
site = "pit"
[[channel]]
id = "{piece}/core"
site = "core"
piece = "{piece}"
"""


@dataclass(slots=True)
class Made:
    """A cook and its capture; ``truth`` is when each stage began, seconds.

    Attributes:
        bare_h, wrapped_h: Hours in which the core follows what is around it.
        stall_c: Where water holds a bare surface.
        looks: Lid openings without a change, minutes after it went on.
        inserted_c: What the probe reads before it is put in.
    """

    seed: int = 1
    pit_c: float = 120.0
    bare_h: float = 3.2
    stall_c: float = 74.0
    wrap_c: float | None = 74.0
    pull_c: float = 94.5
    looks: tuple[float, ...] = (95.0, 210.0)
    inserted_c: float = 19.0
    rest_min: float = 70.0
    resting_h: float = 3.5
    lid_s: float = 70.0
    noise_c: float = 0.1
    step_c: float = 0.1
    piece: str = "brisket-1"
    truth: dict[str, float] = field(default_factory=dict)

    def lines(self) -> list[str]:
        """Return the capture, one pack a line; fills ``truth``."""
        rng = random.Random(self.seed)
        on_s = 45 * 60.0 + rng.uniform(0, 600)
        core = surface = 5.0
        air, t, stage = self.pit_c, 0.0, "raw"
        lid_until = -1.0
        looks = [on_s + minutes * 60 for minutes in self.looks]
        lines = []
        after_wrap = rng.uniform(1, 12) * 60
        wrap_due = pull_due = None
        while stage != "done":
            if stage == "raw" and t >= on_s:
                stage, lid_until = "smoking", t + self.lid_s
                self.truth["smoking"] = START_S + t
            if looks and t >= looks[0]:
                looks.pop(0)
                lid_until = max(lid_until, t + 30)
            if stage == "smoking" and self.wrap_c is not None and core >= self.wrap_c:
                wrap_due = wrap_due or t + after_wrap
                if t >= wrap_due:
                    stage, lid_until = "wrapped", t + self.lid_s + 40
                    self.truth["wrapped"] = START_S + t
            if stage in ("smoking", "wrapped") and core >= self.pull_c:
                pull_due = pull_due or t + rng.uniform(2, 20) * 60
                if t >= pull_due:
                    stage, lid_until = "resting", t + self.lid_s
                    self.truth["resting"] = START_S + t
            if stage == "resting" and t + START_S - self.truth["resting"] > self.rest_min * 60:
                stage = "done"
            goal = 60.0 if t < lid_until else self.pit_c + 3.0 * rng.gauss(0, 1)
            air += (goal - air) * STEP_S / (25.0 if t < lid_until else 200.0)
            around, hours = self._around(stage, air, core)
            surface += (around - surface) * STEP_S / 900.0
            if stage != "raw":
                core += (surface - core) * STEP_S / (hours * 3600.0)
            shown = core if stage != "raw" else self.inserted_c
            lines.append(self._pack(t, air, shown, rng))
            t += STEP_S
        return lines

    def _around(self, stage: str, air: float, core: float) -> tuple[float, float]:
        if stage == "raw":
            return 5.0, self.bare_h
        if stage == "resting":
            return 22.0, self.resting_h
        held = stage == "smoking" and self.wrap_c is not None
        return (min(air, self.stall_c + 6.0) if held else air), self.bare_h

    def _pack(self, t: float, air: float, core: float, rng: random.Random) -> str:
        def shown(value: float) -> float:
            value += rng.gauss(0, self.noise_c)
            return round(round(value / self.step_c) * self.step_c, 3)

        at = START_S + t
        return json.dumps(
            [
                {"n": "pit", "u": "Cel", "v": shown(air), "t": at},
                {"n": f"{self.piece}/core", "u": "Cel", "v": shown(core), "t": at},
            ]
        )

    def cook(self) -> str:
        """Return its cook file."""
        bare = self.wrap_c is None
        return COOK.format(
            piece=self.piece,
            wrap="none" if bare else "paper",
            wrap_at="never" if bare else f"{self.wrap_c} C",
            pull_at=self.pull_c,
        )
