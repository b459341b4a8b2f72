"""Random records in which food is held by time, and a judgement of its own of that time.

Written from FDA Food Code 3-501.19 and sharing no code with the verdict it checks: (B) four hours
from 41 F or below or 135 F or above; (C) six hours from 41 F or below, never above 70 F; served or
discarded by then, not returned to temperature control. What was read counts for ten minutes.
``python -m tests.safety.independent.by_time RECORDS [FIRST]`` prints what was found.
"""

from __future__ import annotations

import sys
from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from random import Random
from typing import Literal

import numpy as np

from pitlogger.model.cooks import Stage
from pitlogger.model.folding import fold
from pitlogger.model.journal import Body, Entry, HeldByTime, SpotRead, StageSet
from pitlogger.safety.judge import judge
from pitlogger.safety.policy import shipped_policy
from pitlogger.safety.recorded import histories
from tests.safety.independent import judgement
from tests.safety.independent.judgement import COLD_C, HOT_C, MIDDLE_C, NEAR_C
from tests.safety.independent.kitchen import HOUR, MIN, RUN, Meat, Probe, Scene, ms, scene

KNOWN_S = 10 * MIN
GAP_S = 30 * MIN
BACK = {"smoking", "cooling", "chilled", "reheating"}


@dataclass(frozen=True)
class Held:
    """What was said of a piece: from when on, for how long, and when that was entered."""

    at_s: float
    hours: Literal[4, 6]
    entered_s: float

    @property
    def due_s(self) -> float:
        return self.at_s + self.hours * HOUR


@dataclass(frozen=True)
class Case:
    """One limit of one piece: the independent judgement, and what pitlogger says."""

    seed: int
    piece: str
    limit: str
    truth: bool | None
    met: bool | None
    reason: str


def held_scene(seed: int) -> tuple[Scene, dict[str, Held]]:
    """Return a random record in which each piece was held by time for a while."""
    made, random = scene(seed), Random(seed * 7919 + 3)
    held: dict[str, Held] = {}
    entries = [one for one in made.entries if getattr(one.body, "stage", None) is not Stage.SERVED]
    for meat in made.meats:
        meat.marks = [mark for mark in meat.marks if mark[0] != "served"]
        off_s = max(at_s for stage, at_s, _ in meat.marks if stage == "smoking") + 5 * HOUR
        later = [at_s for stage, at_s, _ in meat.marks if stage != "smoking"]
        hours: Literal[4, 6] = 4 if random.random() < 0.6 else 6
        for _ in range(random.choice([1, 40, 40, 40])):  # most begin as they must, some anywhere
            at_s = random.choice([*later, random.uniform(off_s, made.end_s)])
            at_s += random.uniform(0, 3600)
            off = [at for stage, at, _ in meat.marks if stage != "smoking" and at <= at_s]
            if off and _is_begin(_values(meat, at_s), hours):
                break
        late_s = random.choice([0.0, 0.0, 0.0, random.uniform(1, 90) * MIN])
        held[meat.id] = said = Held(at_s, hours, at_s + late_s)
        if random.random() < 0.85:
            meat.marks = [mark for mark in meat.marks if mark[1] <= at_s]
            entries = [one for one in entries if not _is_later(one, meat.id, ms(at_s))]
        if random.random() < 0.8:
            ends_s = at_s + random.uniform(0.2, hours + 1.5) * HOUR
            stage = random.choice(["served", "served", "served", "discarded", "cooling"])
            entered_s = ends_s + random.choice([0.0, 0.0, random.uniform(1, 300) * MIN])
            meat.marks.append((stage, ends_s, entered_s))
            entries.append(_entry(entries, entered_s, StageSet(meat.id, Stage(stage), ms(ends_s))))
        body = HeldByTime(meat.id, ms(at_s), hours)
        entries.append(_entry(entries, said.entered_s, body))
        if random.random() < 0.4:
            _read_by_hand(random, meat, entries, at_s)
    return replace(made, entries=entries), held


def _values(meat: Meat, at_s: float) -> list[float]:
    return [float(np.interp(at_s, one.times_s, one.values_c)) for one in meat.probes
            if len(one.times_s)] or [60.0]  # fmt: skip


def _is_later(entry: Entry, piece: str, after_ms: int) -> bool:
    body = entry.body
    return isinstance(body, StageSet) and body.piece == piece and body.at_ms > after_ms


def _entry(entries: list[Entry], t_s: float, body: Body) -> Entry:
    return Entry(RUN, max(one.seq for one in entries) + 1, ms(t_s), body, "AB")


def _read_by_hand(random: Random, meat: Meat, entries: list[Entry], at_s: float) -> None:
    read_s = at_s - random.uniform(0, 12) * MIN
    near = [np.interp(read_s, one.times_s, one.values_c) for one in meat.probes if one.own.any()]
    value = float(min(near)) if near else 60.0
    meat.spots.append((read_s, value, False))
    spot = SpotRead(round(value * 1000), ms(read_s), meat.id)
    entries.append(_entry(entries, read_s, spot))


# -- the judgement ------------------------------------------------------------------------------


def shown(meat: Meat, said: Held) -> bool | None:
    """Return whether a piece was held by time as it must; ``None`` for too near to tell."""
    found = [_begun(meat, said), _eaten(meat, said)]
    if said.hours == 6:
        found.append(_cool(meat, said))
    return False if False in found else None if None in found else True


def _good(probe: Probe) -> np.ndarray:
    good = probe.own.copy()
    if probe.failed_s is not None:
        good &= probe.times_s < probe.failed_s[0]
    if probe.moved_s is not None:
        good &= np.abs(probe.times_s - probe.moved_s) > 10 * MIN
    if probe.ended_s is not None:
        good &= probe.times_s < probe.ended_s
    return good


def _begun(meat: Meat, said: Held) -> bool | None:
    from_s, at_s = said.at_s - KNOWN_S, said.at_s
    before = [mark for mark in meat.marks if mark[1] <= at_s]
    if not before or max(before, key=lambda mark: mark[1])[0] == "smoking":
        return False  # raw, or on the pit, for all that anybody said
    hand = [value for t_s, value, _ in sorted(meat.spots) if from_s <= t_s <= at_s][-1:]
    values, doubted, silent = list(hand), False, False
    for probe in meat.probes:
        good = _good(probe)
        near = (probe.times_s >= from_s) & (probe.times_s <= at_s)
        if (near & good).any():
            values.append(float(probe.values_c[near & good][-1]))
        else:
            silent = True
        doubted = doubted or bool((near & ~good).any())
    if not values or (silent and not hand):
        return None if _is_between_hands(meat, at_s) else False
    verdict = _is_begin(values, said.hours)
    struck = [value for t_s, value, _ in meat.struck if from_s <= t_s <= at_s]
    if verdict and (struck and _is_begin([*values, *struck], said.hours) is not True):
        return None
    if verdict is True and doubted and not hand:
        return None
    return verdict


def _is_between_hands(meat: Meat, at_s: float) -> bool:
    """Return whether hand readings near enough to join lie before and after a time."""
    times = [t_s for t_s, _, _ in meat.spots]
    before, after = [t for t in times if t <= at_s], [t for t in times if t > at_s]
    return bool(before and after) and min(after) - max(before) <= GAP_S


def _is_begin(values: list[float], hours: int) -> bool | None:
    near = 0.6  # between two readings it may have been a little more or less
    cold, hot = max(values) - COLD_C, HOT_C - min(values)
    if cold <= -near or (hours == 4 and hot <= -near):
        return True
    return None if cold <= near or (hours == 4 and hot <= near) else False


def _eaten(meat: Meat, said: Held) -> bool:
    later = [mark for mark in meat.marks if mark[1] > said.at_s]
    if any(stage in BACK for stage, _, _ in later):
        return False
    ends = sorted((at_s, known_s) for stage, at_s, known_s in later
                  if stage in ("served", "discarded"))  # fmt: skip
    return bool(ends) and ends[0][0] < said.due_s and ends[0][1] < said.due_s


def _cool(meat: Meat, said: Held) -> bool | None:
    ends = [at_s for stage, at_s, _ in meat.marks
            if stage in ("served", "discarded") and at_s > said.at_s]  # fmt: skip
    from_s, to_s = said.at_s, min([said.due_s, *ends])
    unsure = False
    for probe in meat.probes:
        good = _good(probe)
        inside = (probe.times_s >= from_s) & (probe.times_s <= to_s)
        if (probe.values_c[inside & good] > MIDDLE_C + NEAR_C).any():
            return False
        unsure = unsure or bool((probe.values_c[inside] > MIDDLE_C - NEAR_C).any())
        if probe.moved_s is not None and from_s <= probe.moved_s <= to_s:
            return False
        times = sorted([*probe.times_s[inside & good],
                        *(t_s for t_s, _, _ in meat.spots if from_s <= t_s <= to_s)])  # fmt: skip
        if np.diff([from_s, *times, to_s]).max() > GAP_S:
            return False
    for t_s, value in [*((a, b) for a, b, _ in meat.spots), *((a, b) for a, b, _ in meat.struck)]:
        if from_s <= t_s <= to_s and value > MIDDLE_C - NEAR_C:
            unsure = True
    return None if unsure else True


def until(meat: Meat, end_s: float) -> Meat:
    """Return a piece as it was known up to a time."""
    probes = []
    for probe in meat.probes:
        kept = probe.times_s <= end_s
        probes.append(
            replace(
                probe,
                times_s=probe.times_s[kept],
                values_c=probe.values_c[kept],
                own=probe.own[kept],
            )
        )
    return replace(
        meat,
        probes=probes,
        marks=[mark for mark in meat.marks if mark[1] <= end_s],
        spots=[spot for spot in meat.spots if spot[0] <= end_s],
        struck=[one for one in meat.struck if one[0] <= end_s],
    )


def cases(seeds: Iterable[int]) -> Iterator[Case]:
    """Yield the time, and the holding before it, of the pieces of random records."""
    policy = shipped_policy("retail-food-code")
    for seed in seeds:
        made, held = held_scene(seed)
        found = histories(fold(made.entries), made.readings)
        for meat, history in zip(made.meats, found, strict=True):
            said, verdicts = held[meat.id], judge(history, policy)
            told = verdicts.time_control
            yield Case(seed, meat.id, "time", shown(meat, said), told.met, told.reason)
            known_s = max(said.at_s, said.entered_s)
            if verdicts.holding.applies and known_s < made.end_s:
                truth = judgement.judge(until(meat, known_s), made, known_s).holding
                hot = verdicts.holding
                yield Case(seed, meat.id, "holding", truth, hot.met, hot.reason)


def main(records: int, first: int = 0) -> None:
    counted: Counter[tuple[str, bool | None, bool | None]] = Counter()
    for case in cases(range(first, first + records)):
        counted[case.limit, case.truth, case.met] += 1
        if case.met and case.truth is False:
            print(f"met, and not shown: record {case.seed} {case.piece}, {case.limit}: "
                  f"{case.reason}")  # fmt: skip
    for key, count in sorted(counted.items(), key=str):
        print("{:8} judgement {!s:6} said {!s:6}".format(*key), count)


if __name__ == "__main__":
    main(*map(int, sys.argv[1:3] or ["200"]))
