"""How long the plant takes: one piece for 14 h, and 500 draws for 16 h, on one core.

python -m tests.benchmarks plant
"""

from __future__ import annotations

import time
from collections.abc import Callable

from pitlogger_simulators.plant.cuts import PieceSpec
from pitlogger_simulators.plant.pits import Pit
from tests.benchmarks.row import Row
from tests.simulators.cook_events import PlantEvent
from tests.simulators.whole_cooks import simulate, simulate_batch

PACKER = PieceSpec("brisket-packer", 3900.0)
# Wrapped, pulled and boxed, with a swinging pit: a whole cook, not only its quiet part.
SCHEDULE = (
    PlantEvent("wrap", "paper", core_c=73.9),
    PlantEvent("pull", core_c=95.0),
    PlantEvent("place", "box", after_s=1800.0),
)
DRAWS, REPEATS = 500, 5


def one_piece() -> None:
    """Heat and mass of one piece for 14 h, a row every step."""
    simulate(PACKER, schedule=SCHEDULE, pit=Pit(), duration_s=14 * 3600.0, seed=1)


def many_draws() -> None:
    """500 draws of piece and pit for 16 h."""
    simulate_batch(
        PACKER, DRAWS, schedule=SCHEDULE, pit=Pit(), duration_s=16 * 3600.0, seed=1, record_s=300.0
    )


def shortest_s(work: Callable[[], None], repeats: int) -> float:
    """Return the least wall time of several runs, seconds."""
    times = []
    for _ in range(repeats):
        began = time.perf_counter()
        work()
        times.append(time.perf_counter() - began)
    return min(times)


def rows() -> list[Row]:
    """Return the rows of the table."""
    return [
        Row("simulate", shortest_s(one_piece, REPEATS), "s"),
        Row("simulate-batch", shortest_s(many_draws, 2), "s"),
    ]
