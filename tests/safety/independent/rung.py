"""Whether each breach that a record shows had rung by then: random records, played to an engine.

``python -m tests.safety.independent.rung RECORDS [FIRST]`` names those that rang nothing. Entries
that take another one back are left out of these records, since an engine numbers its own.
"""

from __future__ import annotations

import sys
from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from pitlogger.bootstrap.policies import load_policy
from pitlogger.engine.feed import feed
from pitlogger.engine.inputs import Command, Input
from pitlogger.engine.state import EngineState
from pitlogger.engine.step import Engine
from pitlogger.model.folding import fold
from pitlogger.model.journal import AlertChanged, Corrected, Entry, Undone
from pitlogger.model.readings import Reading
from pitlogger.safety.judge import judge
from pitlogger.safety.policy import shipped_policy
from pitlogger.safety.recorded import histories
from tests.safety.independent.kitchen import RUN, scene

RINGS = {
    "holding": ("hot-hold-low",),
    "cooling": ("cooling-stage-1-late", "cooling-stage-2-late", "cooling-will-miss",
                "hot-hold-low"),
}  # fmt: skip


@dataclass(frozen=True)
class Breach:
    """A limit that a record shows as not met, and whether its alarm had been raised."""

    seed: int
    piece: str
    limit: str
    rang: bool
    reason: str


def _rung(entries: Iterable[Entry], readings: Iterable[Reading]) -> set[tuple[str, str]]:
    """Return what an engine raised: (kind, piece)."""
    engine = Engine(EngineState(RUN), load_policy(), channels=())
    told: list[tuple[int, int, Input]] = [
        (one.t_ms, 0, Command(one.t_ms, one.body, one.by)) for one in entries
    ]
    told += [(one.t_ms, 1, one) for one in readings]
    rang = set()
    for _, _, given in sorted(told, key=lambda one: one[:2]):
        for outputs in feed(engine, given):
            for out in outputs:
                if isinstance(out, Entry) and isinstance(out.body, AlertChanged):
                    rang.add((out.body.alert_kind, out.body.piece or ""))
    return rang


def breaches(seeds: Iterable[int]) -> Iterator[Breach]:
    """Yield each holding and cooling limit that random records show as not met."""
    policy = shipped_policy("retail-food-code")
    for seed in seeds:
        made = scene(seed)
        entries = [one for one in made.entries if not isinstance(one.body, Corrected | Undone)]
        rang = _rung(entries, made.readings)
        for history in histories(fold(entries), made.readings):
            found = judge(history, policy)
            for limit, verdict in (("holding", found.holding), ("cooling", found.cooling.verdict)):
                if verdict.applies and verdict.met is False:
                    is_rung = any((kind, history.piece) in rang for kind in RINGS[limit])
                    yield Breach(seed, history.piece, limit, is_rung, verdict.reason)


def main(records: int, first: int = 0) -> None:
    counted: Counter[tuple[str, bool]] = Counter()
    for breach in breaches(range(first, first + records)):
        counted[breach.limit, breach.rang] += 1
        if not breach.rang:
            print(f"rang nothing: record {breach.seed} {breach.piece}, {breach.reason}")
    for (limit, rang), count in sorted(counted.items()):
        print(f"{limit:8} {'rang' if rang else 'rang nothing':12} {count}")


if __name__ == "__main__":
    main(*map(int, sys.argv[1:3] or ["100"]))
