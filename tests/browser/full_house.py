"""A night with all that a page may have to show: six pieces, two pits, sixteen channels, alarms.

Our own invention, no measurement; played as the supper of ``kitchen`` is.
"""

from __future__ import annotations

import random
from collections.abc import Iterator

from pitlogger.formats.cook_file import parse_cook
from pitlogger.model.cooks import Stage
from pitlogger.model.journal import CookStarted
from pitlogger.model.readings import Quality, Reading
from tests.browser.kitchen import Doing, core_c, kept, moved, pit_c, staged_at

START_MS = 1_789_783_200_000  # 2026-09-19T02:00:00Z
HOUR_MS = 3_600_000
STEP_MS = 30_000
HOUR = 11.0  # brisket-3's probe is silent, pit-2's fire goes out, a butt cools in its hold

# Piece: cut, wrap, pit, how fast it warms, when it came off.
PIECES = {
    "brisket-1": ("brisket-packer", "paper", "pit", 1.0, None),
    "brisket-2": ("brisket-packer", "paper", "pit", 1.08, None),
    "brisket-3": ("brisket-packer", "foil", "pit-2", 0.93, None),
    "brisket-10": ("brisket-flat", "boat", "pit-2", 1.04, None),
    "butt-1": ("pork-butt", "foil", "pit", 1.35, 8.6),
    "butt-2": ("pork-butt", "foil", "pit-2", 1.12, None),
}
OTHERS = {
    "cabinet": ("hold", 66.0), "cold-box": ("cold", 3.1), "barn": ("room", 17.4),
    "spare-1": ("room", 19.0), "spare-2": ("room", 18.2),
}  # fmt: skip
SECOND = ("brisket-1", "brisket-2")  # with a second core each


def _cook() -> str:
    head = '[cook]\nname = "harvest wedding"\nserve_at = "2026-09-19T23:00:00Z"\nguests = 120\n'
    pieces = "".join(
        f'[[piece]]\nid = "{name}"\ncut = "{cut}"\nwrap = "{wrap}"\npull_at = "203F"\n'
        f'pit = "{pit}"\nprice_per_lb = 4.49\n'
        for name, (cut, wrap, pit, _, _) in PIECES.items()
    )
    pits = "".join(
        f'[[channel]]\nid = "{pit}"\nsite = "pit"\n'
        'set_point = "238F"\nlow = "210F"\nhigh = "290F"\n'
        for pit in ("pit", "pit-2")
    )
    cores = "".join(
        f'[[channel]]\nid = "{channel}"\nsite = "core"\npiece = "{channel.partition("/")[0]}"\n'
        for channel in _cores()
    )
    others = "".join(
        f'[[channel]]\nid = "{name}"\nsite = "{site}"\n' for name, (site, _) in OTHERS.items()
    )
    return (
        head + pieces + pits + cores + others + '[[channel]]\nid = "bench-scale"\nsite = "bench"\n'
    )


def _cores() -> list[str]:
    return [f"{name}/core" for name in PIECES] + [f"{name}/core-2" for name in SECOND]


def start(now_ms: int) -> CookStarted:
    """Return the decision that starts the cook."""
    return CookStarted(parse_cook(_cook()))


def doings(shift_ms: int) -> Iterator[Doing]:
    """Yield the decisions of a cook that began so much after the usual time."""
    made: list[Doing] = []
    for number, name in enumerate(PIECES):
        bought = 6410 - 410 * number
        at = 0.1 + 0.1 * number
        made += [kept(at, name, "purchased", bought), staged_at(at + 0.02, name, Stage.TRIMMED),
                 kept(at + 0.03, name, "trimmed", round(bought * 0.81)),
                 staged_at(1.25, name, Stage.SMOKING)]  # fmt: skip
        if name not in ("brisket-1", "brisket-10"):
            wrapped = 6.5 + 0.3 * number
            made += [staged_at(wrapped, name, Stage.WRAPPED, "MO"),
                     kept(wrapped + 0.05, name, "at-wrap", round(bought * 0.62), "MO")]  # fmt: skip
        if name == "butt-1":
            made += [staged_at(8.6, name, Stage.RESTING), kept(8.65, name, "off-pit", 2520),
                     staged_at(9.2, name, Stage.HOLDING)]  # fmt: skip
    made.sort(key=lambda doing: doing.hour)
    yield from (moved(doing, shift_ms) for doing in made)


def readings(
    t_ms: int, noise: random.Random, scale_g: float | None = None, began_ms: int = START_MS
) -> Iterator[Reading]:
    """Yield what all channels read at a time."""
    hour = (t_ms - began_ms) / HOUR_MS
    yield _reading("pit", t_ms, pit_c(hour, noise))
    yield _reading("pit-2", t_ms, pit_c(hour, noise) - max(0.0, hour - 10.2) * 40.0)
    for channel in _cores():
        _, _, _, slow, pulled = PIECES[channel.partition("/")[0]]
        if channel == "brisket-3/core" and hour > 10.4:
            continue
        value = core_c(hour, slow * (0.96 if channel.endswith("-2") else 1.0), noise, pulled)
        if pulled is not None and hour > pulled:
            value -= 16.0 * max(0.0, hour - 9.2)
        yield _reading(channel, t_ms, value)
    for name, (_, value) in OTHERS.items():
        yield _reading(name, t_ms, value + noise.gauss(0.0, 0.1))
    if scale_g is not None:
        yield Reading("bench-scale", t_ms, round(scale_g / 5) * 5000)


def _reading(channel: str, t_ms: int, value_c: float) -> Reading:
    return Reading(channel, t_ms, round(value_c * 1000), Quality.GOOD)
