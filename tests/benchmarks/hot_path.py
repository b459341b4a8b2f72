"""Where the time of a reading goes: samples of the stack while the benchmarks of the engine run.

    python -m tests.benchmarks.hot_path

Each thousandth second of processor time the module of ours that the main thread is in is noted
(with the libraries it calls), so that nothing is slowed down as by a tracing profiler. An
interpreter tells such a signal at the next call, so functions cannot be told apart: modules can,
roughly. The store's thread is not seen; ``ingest`` waits for it. What the benchmarks do themselves
is left out. Prints the share of each module of at least one in a hundred.
"""

from __future__ import annotations

import signal
import tempfile
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from types import FrameType

from tests.benchmarks.engine import ingest, replay
from tests.benchmarks.row import Row

EVERY_S = 0.001
LEAST = 0.01
ROOT = Path(__file__).parents[2]


@contextmanager
def sampled() -> Iterator[Counter[str]]:
    """Count where the main thread is while the block runs."""
    found: Counter[str] = Counter()

    def note(_: int, frame: FrameType | None) -> None:
        found[_place(frame)] += 1

    before = signal.signal(signal.SIGPROF, note)
    signal.setitimer(signal.ITIMER_PROF, EVERY_S, EVERY_S)
    try:
        yield found
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0)
        signal.signal(signal.SIGPROF, before)


def _place(frame: FrameType | None) -> str:
    """Return the innermost module of ours that is on the stack, empty for a benchmark's own."""
    while frame is not None:
        path = Path(frame.f_code.co_filename)
        if path.is_relative_to(ROOT) and ".venv" not in path.parts:
            place = str(path.relative_to(ROOT))
            return "" if place.startswith("tests/") else place
        frame = frame.f_back
    return ""


def profile(work: Callable[[Path], Row]) -> list[tuple[str, float]]:
    """Return the modules in which a benchmark spends its time, and the share of each."""
    with tempfile.TemporaryDirectory() as folder, sampled() as found:
        work(Path(folder))
    del found[""]
    total = sum(found.values())
    return [(place, count / total) for place, count in found.most_common()]


def main() -> None:
    """Print both."""
    for work in (ingest, replay):
        print(f"{work.__name__}")
        for place, share in profile(work):
            if share >= LEAST:
                print(f"  {share:5.1%}  {place}")


if __name__ == "__main__":
    main()
