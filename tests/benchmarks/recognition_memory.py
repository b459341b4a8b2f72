"""What recognition keeps of a cook: memory at its most, for six pieces over a night.

    python -m tests.benchmarks.recognition_memory

Readings are half a minute apart. Two runs of them, without and with recognition, by
``tracemalloc``: what is still allocated at the end of each hour, the difference at its most.
"""

from __future__ import annotations

import tracemalloc
from dataclasses import replace

from pitlogger.bootstrap.policies import load_policy
from pitlogger.engine.feed import feed
from pitlogger.engine.inputs import Command
from pitlogger.engine.state import EngineState
from pitlogger.engine.step import Engine
from pitlogger.formats.capture import parse_capture
from pitlogger.formats.cook_file import parse_cook
from pitlogger.model.journal import CookStarted
from pitlogger.model.readings import Reading
from pitlogger.rules.policies import StageFrom
from tests.inference.made import Made

PIECES = 6
HOUR_MS = 3_600_000
PIECE = '[[piece]]\nid = "p{n}"\ncut = "brisket-packer"\nwrap = "paper"\npit = "pit"\n'
CORE = '[[channel]]\nid = "p{n}/core"\nsite = "core"\npiece = "p{n}"\n'


def hourly_kb(readings: list[Reading], stage_from: StageFrom) -> list[float]:
    """Return what is allocated at the end of each hour of the cook, kilobytes."""
    parts = [part.format(n=n) for part in (PIECE, CORE) for n in range(PIECES)]
    cook = parse_cook(
        f'[cook]\nname = "x"\n{"".join(parts)}[[channel]]\nid = "pit"\nsite = "pit"\n'
    )
    tracemalloc.start()
    engine = Engine(EngineState("r"), replace(load_policy(), stage_from=stage_from))
    next_ms, found = readings[0].t_ms + HOUR_MS, []
    list(feed(engine, Command(readings[0].t_ms, CookStarted(cook))))
    for one in readings:
        channels = ["pit"] if one.channel == "pit" else [f"p{n}/core" for n in range(PIECES)]
        for channel in channels:
            for _ in feed(engine, one._replace(channel=channel)):
                pass
        if one.t_ms >= next_ms:
            next_ms += HOUR_MS
            found.append(tracemalloc.get_traced_memory()[0] / 1000)
    tracemalloc.stop()
    return found


def main() -> None:
    lines = [line.encode() for line in Made(seed=4, rest_min=120).lines()]
    readings = [one for one in parse_capture(lines[::3]) if isinstance(one, Reading)]
    hourly_kb(readings, "taken")  # modules and caches are loaded once and belong to no cook
    without, recognising = (hourly_kb(readings, mode) for mode in ("person", "taken"))
    more = [b - a for a, b in zip(without, recognising, strict=True)]
    print(
        f"{len(more)} h, {PIECES} pieces: {max(without):.0f} kB without, at most {max(more):.0f} kB"
    )


if __name__ == "__main__":
    main()
