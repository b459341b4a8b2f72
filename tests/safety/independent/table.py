"""Print verdicts beside the independent judgement: ``python -m ...table [RECORDS [FIRST]]``."""

from __future__ import annotations

import sys
from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from pitlogger.model.folding import fold
from pitlogger.safety.judge import judge
from pitlogger.safety.policy import shipped_policy
from pitlogger.safety.recorded import histories
from tests.safety.independent import judgement
from tests.safety.independent.kitchen import scene

LIMITS = ("lethality", "holding", "cooling")


@dataclass(frozen=True)
class Case:
    """One limit of one piece: the independent judgement, and what pitlogger says."""

    seed: int
    piece: str
    limit: str
    truth: bool | None
    met: bool | None
    reason: str


def cases(seeds: Iterable[int]) -> Iterator[Case]:
    """Yield every limit that applies to the pieces of random records."""
    policy = shipped_policy("retail-food-code")
    for seed in seeds:
        made = scene(seed)
        found = histories(fold(made.entries), made.readings)
        for meat, history in zip(made.meats, found, strict=True):
            truth = judgement.judge(meat, made)
            said = judge(history, policy)
            verdicts = (said.lethality.verdict, said.holding, said.cooling.verdict)
            for limit, verdict in zip(LIMITS, verdicts, strict=True):
                if verdict.applies or truth.applies[limit]:
                    met = verdict.met if verdict.applies else None
                    yield Case(seed, meat.id, limit, getattr(truth, limit), met, verdict.reason)


def main(records: int, first: int = 0) -> None:
    counted: Counter[tuple[str, bool | None, bool | None]] = Counter()
    wrong = []
    for case in cases(range(first, first + records)):
        counted[case.limit, case.truth, case.met] += 1
        if case.met and case.truth is False:
            wrong.append(f"met, and not shown: record {case.seed} {case.piece}, {case.limit}")
    print(f"{records} records; rows: limit and what the independent judgement says")
    print(f"{'':34}{'met':>8}{'not met':>9}{'not shown':>11}")
    names = {True: "met", False: "not met or not shown", None: "too near to tell"}
    for limit in LIMITS:
        for truth, name in names.items():
            row = [counted[limit, truth, met] for met in (True, False, None)]
            print(f"{limit:11}{name:23}{row[0]:>8}{row[1]:>9}{row[2]:>11}")
    for line in wrong:
        print(line)


if __name__ == "__main__":
    main(*map(int, sys.argv[1:3] or ["200"]))
