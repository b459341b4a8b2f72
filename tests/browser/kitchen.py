"""A made-up harvest supper for looking at: curves by formula, decisions by the clock.

Our own invention, no measurement. Two packers and a butt, lit at 21:00, told to a daemon
whose clock is turned by hand.
"""

from __future__ import annotations

import math
import random
from collections.abc import Iterator
from dataclasses import dataclass, replace

from pitlogger.formats.cook_file import parse_cook
from pitlogger.model.cooks import Stage
from pitlogger.model.journal import Body, CookStarted, Noted, SpotRead, StageSet, Weighed
from pitlogger.model.readings import Quality, Reading

START_MS = 1_789_783_200_000  # 2026-09-19T02:00:00Z
HOUR_MS = 3_600_000
STEP_MS = 15_000

CONFIG = """
[node]
name = "barn"
data = "{data}"

[web]
host = "127.0.0.1"
port = 0
"""

COOK = """
[cook]
name = "harvest supper"
serve_at = "2026-09-19T23:00:00Z"
guests = 45

[[piece]]
id = "brisket-1"
cut = "brisket-packer"
mass = "6.4 kg"
thickness = "7 cm"
wrap = "paper"
pull_at = "203F"
pit = "pit"
price_per_lb = 5.49

[[piece]]
id = "brisket-2"
cut = "brisket-packer"
mass = "5.9 kg"
wrap = "paper"
pull_at = "203F"
pit = "pit"

[[piece]]
id = "butt-1"
cut = "pork-butt"
mass = "3.7 kg"
wrap = "foil"
pit = "pit"

[[channel]]
id = "pit"
site = "pit"
set_point = "238F"
low = "210F"
high = "290F"

[[channel]]
id = "brisket-1/core"
site = "core"
piece = "brisket-1"

[[channel]]
id = "brisket-2/core"
site = "core"
piece = "brisket-2"

[[channel]]
id = "butt-1/core"
site = "core"
piece = "butt-1"

[[channel]]
id = "bench-scale"
site = "bench"
"""


@dataclass(frozen=True, slots=True)
class Doing:
    """A decision at an hour of the cook."""

    hour: float
    body: Body
    by: str = "AK"


def pit_c(hour: float, noise: random.Random) -> float:
    """Return the pit: lit at 1 h, wandering about 115 C, a sag at 6.5 h, a lid at 8 h."""
    if hour < 1.0:
        return 22.0 + 93.0 * max(0.0, (hour - 0.3) / 0.7)
    sag = -14.0 * math.exp(-(((hour - 6.5) / 0.35) ** 2))
    lid = -25.0 * math.exp(-(((hour - 8.02) / 0.06) ** 2))
    wander = 3.0 * math.sin(hour * 2.1) + 1.5 * math.sin(hour * 7.7)
    return 115.0 + sag + lid + wander + noise.gauss(0.0, 0.5)


def core_c(hour: float, slow: float, noise: random.Random, pulled: float | None = None) -> float:
    """Return a core: rise, stall near 71 C, rise again after wrapping, then rest."""
    on = max(0.0, hour - 1.25) * slow
    rise = 5.0 + 66.0 * (1.0 - math.exp(-((on / 3.1) ** 1.4)))
    late = 24.0 / (1.0 + math.exp(-(on - 9.3) * 1.1))
    warm = rise + late
    if pulled is not None and hour > pulled:
        at = core_c(pulled, slow, random.Random(0))
        warm = 22.0 + (at + 1.5 - 22.0) * math.exp(-(hour - pulled) / 14.0)
    return warm + noise.gauss(0.0, 0.08)


SLOW = {"brisket-1/core": 1.0, "brisket-2/core": 1.08, "butt-1/core": 1.12}
PULLED = {"brisket-1/core": 12.4, "brisket-2/core": 11.6, "butt-1/core": 11.2}


def kept(hour: float, piece: str, checkpoint: str, grams: float, by: str = "AK") -> Doing:
    at_ms = START_MS + round(hour * HOUR_MS)
    return Doing(hour, Weighed(piece, checkpoint, round(grams * 1000), 0, at_ms, source="scale",
                               channel="bench-scale", interval_mg=5000), by)  # fmt: skip


def staged_at(hour: float, piece: str, stage: Stage, by: str = "AK") -> Doing:
    return Doing(hour, StageSet(piece, stage, START_MS + round(hour * HOUR_MS)), by)


DOINGS: tuple[Doing, ...] = tuple(sorted((
    kept(0.05, "brisket-1", "purchased", 6410), kept(0.08, "brisket-2", "purchased", 5890),
    kept(0.10, "butt-1", "purchased", 3705),
    staged_at(0.30, "brisket-1", Stage.TRIMMED), kept(0.32, "brisket-1", "trimmed", 5205),
    staged_at(0.42, "brisket-2", Stage.TRIMMED), kept(0.44, "brisket-2", "trimmed", 4870),
    kept(0.46, "brisket-1", "trim-fat", 1130), kept(0.5, "butt-1", "trimmed", 3610),
    staged_at(0.55, "brisket-1", Stage.SEASONED), staged_at(0.56, "brisket-2", Stage.SEASONED),
    staged_at(0.57, "butt-1", Stage.SEASONED), kept(0.6, "brisket-1", "seasoned", 5260),
    kept(0.62, "brisket-2", "seasoned", 4925), kept(0.64, "butt-1", "seasoned", 3665),
    staged_at(1.25, "brisket-1", Stage.SMOKING), staged_at(1.25, "brisket-2", Stage.SMOKING),
    staged_at(1.25, "butt-1", Stage.SMOKING),
    Doing(4.0, Noted("spritzed all three, bark still pale", None)),
    staged_at(8.0, "brisket-2", Stage.WRAPPED, "MO"),
    kept(8.03, "brisket-2", "at-wrap", 3890, "MO"),
    staged_at(8.1, "butt-1", Stage.WRAPPED, "MO"), kept(8.12, "butt-1", "at-wrap", 2950, "MO"),
    staged_at(8.55, "brisket-1", Stage.WRAPPED), kept(8.6, "brisket-1", "at-wrap", 4105),
    Doing(10.0, SpotRead(86_500, START_MS + 10 * HOUR_MS, piece="brisket-1", probe="hand-1")),
    staged_at(11.2, "butt-1", Stage.RESTING), kept(11.25, "butt-1", "off-pit", 2520),
    staged_at(11.6, "brisket-2", Stage.RESTING), kept(11.65, "brisket-2", "off-pit", 3340),
    staged_at(12.4, "brisket-1", Stage.RESTING), kept(12.45, "brisket-1", "off-pit", 3620),
    kept(12.6, "butt-1", "rested", 2480), staged_at(12.7, "butt-1", Stage.CARVED),
    kept(12.75, "butt-1", "carved", 2215), kept(13.4, "brisket-2", "rested", 3300),
    staged_at(13.5, "brisket-2", Stage.CARVED), kept(13.55, "brisket-2", "carved", 3080),
    kept(13.9, "brisket-1", "rested", 3570), staged_at(14.0, "brisket-1", Stage.CARVED),
    kept(14.05, "brisket-1", "carved", 3330),
), key=lambda doing: doing.hour))  # fmt: skip


def start(now_ms: int) -> CookStarted:
    """Return the decision that starts the cook."""
    return CookStarted(parse_cook(COOK))


def doings(shift_ms: int) -> Iterator[Doing]:
    """Yield the decisions of a cook that began so much after the usual time."""
    yield from (moved(doing, shift_ms) for doing in DOINGS)


def moved(doing: Doing, shift_ms: int) -> Doing:
    """Return a decision as it is taken so much later."""
    at_ms = getattr(doing.body, "at_ms", None)
    if at_ms is None:
        return doing
    return replace(doing, body=replace(doing.body, at_ms=at_ms + shift_ms))


def readings(
    t_ms: int, noise: random.Random, scale_g: float | None = None, began_ms: int = START_MS
) -> Iterator[Reading]:
    """Yield what all channels read at a time."""
    hour = (t_ms - began_ms) / HOUR_MS
    yield Reading("pit", t_ms, round(pit_c(hour, noise) * 1000))
    for channel, slow in SLOW.items():
        value = core_c(hour, slow, noise, PULLED[channel])
        if channel == "brisket-2/core" and 5.2 < hour < 5.6:
            continue  # a probe that was silent for a while
        yield Reading(channel, t_ms, round(value * 1000), Quality.GOOD)
    if scale_g is not None:
        yield Reading("bench-scale", t_ms, round(scale_g / 5) * 5000)
