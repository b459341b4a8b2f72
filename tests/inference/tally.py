"""The tables of the score: how often stages were told right, and whether alarms hang on marks."""

from __future__ import annotations

import sys
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import NamedTuple

WITHIN_MS = {
    "smoking": 300_000, "wrapped": 300_000, "resting": 300_000, "carved": 120_000,
    "holding": 1_200_000, "cooling": 0, "chilled": 0, "reheating": 0,
}  # fmt: skip
ALLOWED = {"carved": "2 min", "holding": "20 min"}  # else five
SAME_ALARM_MS = 600_000
# By stage: when, how likely, when it was told, and between when where that was asked about.
Told = tuple[int, float, int, tuple[int, int] | None]
Found = dict[str, Told]


class Tried(NamedTuple):
    """What became of one cook."""

    name: str
    truth: dict[str, int]
    found: Found
    marked: list[tuple[str, int]]  # its alarms with all stages marked
    unmarked: list[tuple[str, int]]


@dataclass(slots=True)
class Tally:
    """What became of one stage over all cooks."""

    real: int = 0
    right: int = 0
    asked: int = 0  # at another time, but the true one lies in the span that was asked about
    late: int = 0
    missed: int = 0
    vain: int = 0
    told_min: list[float] = field(default_factory=list)

    def take(self, real_ms: int | None, seen: Told | None, within_ms: int) -> None:
        self.real += real_ms is not None
        if seen is None:
            self.missed += real_ms is not None
        elif real_ms is None:
            self.vain += 1
        else:
            self.told_min.append((seen[2] - real_ms) / 60_000)
            is_right = abs(seen[0] - real_ms) <= within_ms
            first_ms, last_ms = seen[3] or (seen[0], seen[0])
            is_asked = first_ms - within_ms <= real_ms <= last_ms + within_ms
            self.right += is_right
            self.asked += is_asked and not is_right
            self.late += not is_right and not is_asked

    def row(self, stage: str) -> str:
        told = sorted(self.told_min)
        after = f"{told[len(told) // 2]:.0f}, {told[len(told) * 9 // 10]:.0f} min" if told else "-"
        allowed = ALLOWED.get(stage, "5 min")
        return (
            f"| {stage} | {self.real} | {self.right / max(1, self.real):.1%} in {allowed} |"
            f" {self.asked} | {self.late} | {self.missed} | {self.vain} | {after} |"
        )


def rows(tallies: dict[str, Tally], n: int) -> Iterator[str]:
    wrong = sum(tally.late + tally.vain for tally in tallies.values())
    asked = sum(tally.asked for tally in tallies.values())
    yield (
        f"{n} cooks, {wrong} wrong proposals: one in {n / max(1, wrong):.1f} cooks;"
        f" with the {asked} asked with a span that holds the true time, but whose likeliest moment"
        f" is another, one in {n / max(1, wrong + asked):.1f}\n"
    )
    yield (
        "| stage | cooks | told right | in the span asked | other time | not seen | in vain"
        " | told (50, 90 %) |"
    )
    yield "| --- | --- | --- | --- | --- | --- | --- | --- |"
    for stage, tally in tallies.items():
        if tally.real or tally.vain:
            yield tally.row(stage)


def alarms(cooks: list[Tried]) -> Iterator[str]:
    """Yield the table of alarms with all stages marked and with none."""
    both, without, extra = Counter[str](), Counter[str](), Counter[str]()
    for cook in cooks:
        left = list(cook.unmarked)
        for kind, at_ms in cook.marked:
            same = [one for one in left if one[0] == kind and abs(one[1] - at_ms) <= SAME_ALARM_MS]
            (both if same else without)[kind] += 1
            left.remove(same[0]) if same else None
            if not same:
                print(f"{cook.name}: {kind} with marks alone", file=sys.stderr)
        for kind, _ in left:
            extra[kind] += 1
    yield "| alarm | in both within 10 min | with marks alone | without marks alone |"
    yield "| --- | --- | --- | --- |"
    for kind in sorted(both | without | extra):
        yield f"| `{kind}` | {both[kind]} | {without[kind]} | {extra[kind]} |"
