"""Random records of leftovers held cold and heated again, and a judgement of its own of both.

Written from FDA Food Code 3-403.11(A), (D) and 3-501.16(A)(2), sharing no code with the verdicts it
checks. Every part of the food reaches 165 F for 15 seconds within two hours of leaving 41 F or of
the mark; held cold, no part of it is above 41 F for half an hour. Probes die, are taken out or put
into another piece, hang in air, have gaps and noise; marks are late; readings are taken by hand.
``python -m tests.safety.independent.leftovers RECORDS [FIRST]`` prints what was found.
"""

from __future__ import annotations

import sys
from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from random import Random

import numpy as np

from pitlogger.model.cooks import Channel, Cook, Piece, Stage
from pitlogger.model.folding import fold
from pitlogger.model.journal import (
    Body,
    ChannelAssigned,
    CheckMade,
    CookStarted,
    Entry,
    SpotRead,
    StageSet,
)
from pitlogger.model.readings import Reading, Site
from pitlogger.safety.judge import judge
from pitlogger.safety.policy import shipped_policy
from pitlogger.safety.recorded import histories
from tests.safety.independent.judgement import COLD_C, NEAR_C
from tests.safety.independent.kitchen import HOUR, MIN, RUN, ms

GOAL_C = (165 - 32) / 1.8
GAP_S = COLD_DELAY_S = 30 * MIN
GRID_S = 5.0


@dataclass
class Probe:
    """What one probe read, which of it was its own place, and when it was taken out."""

    channel: str
    times_s: np.ndarray
    values_c: np.ndarray
    own: np.ndarray
    ended_s: float | None = None
    elsewhere: bool = False


@dataclass
class Leftover:
    """One piece: cold from 0, heated again, then held hot or thrown away."""

    seed: int
    probes: list[Probe]
    marks: list[tuple[str, float, float]]  # stage, at, entered
    spots: list[tuple[float, float, bool]] = field(default_factory=list)  # at, value, checked
    end_s: float = 0.0


@dataclass(frozen=True)
class Case:
    """One limit of one piece: the independent judgement, and what pitlogger says."""

    seed: int
    limit: str
    truth: bool | None
    met: bool | None
    reason: str


def leftover(seed: int) -> Leftover:
    """Return one random piece of leftovers."""
    random = Random(seed * 104_729 + 11)
    heated_s = random.uniform(1, 5) * HOUR
    took_s = random.choice([random.uniform(0.5, 1.9), random.uniform(0.5, 3)]) * HOUR
    top_c = random.choice([random.uniform(76, 82), random.uniform(76, 82), random.uniform(60, 76)])
    until_s = heated_s + took_s
    end_s = until_s + random.uniform(0.5, 3) * HOUR
    grid = np.arange(0, end_s + 60, 30.0)
    cold = np.full(len(grid), random.uniform(2.0, 4.2))
    if random.random() < 0.25:  # the door stood open, or it is no good
        at_s, wide_s = random.uniform(0, heated_s), random.uniform(10, 120) * MIN
        cold += random.uniform(1, 9) * np.exp(-(((grid - at_s) / wide_s) ** 2))
    share = np.clip((grid - heated_s) / took_s, 0, 1) ** random.uniform(0.7, 1.5)
    after = np.clip((grid - until_s) / (6 * HOUR), 0, None)
    true = np.where(grid < heated_s, cold, cold[-1] + (top_c - cold[-1]) * share - 25 * after)
    probes = [
        _probe(random, f"core{n}", grid, true, end_s) for n in range(random.choice([1, 2, 3]))
    ]
    habit_s = random.choice([0.0, 0.0, 0.0, random.uniform(1, 60) * MIN])
    marked_s = heated_s + random.choice([0.0, 0.0, habit_s])
    marks = [("chilled", 0.0, 0.0), ("reheating", marked_s, heated_s + habit_s)]
    hot_s = until_s + random.uniform(0, 25) * MIN
    marks.append((random.choice(["holding", "holding", "serving"]), hot_s, hot_s))
    piece = Leftover(seed, probes, [mark for mark in marks if mark[1] < end_s], [], end_s)
    if random.random() < 0.35:
        for _ in range(random.randrange(1, 5)):
            at_s = random.uniform(0, end_s)
            value = float(np.interp(at_s, grid, true)) * random.uniform(0.97, 1.0)
            piece.spots.append((at_s, value, random.random() < 0.5))
    return piece


def _probe(random: Random, name: str, grid: np.ndarray, true: np.ndarray, end_s: float) -> Probe:
    every_s = random.choice([10.0, 30.0, 60.0, 120.0])
    times = np.arange(random.uniform(0, every_s), end_s, every_s)
    lag = np.interp(times - random.uniform(0, 15) * MIN, grid, true)
    noise = np.random.default_rng(random.randrange(1 << 30)).normal(0, 1, len(times))
    values = lag + random.choice([0.0, 0.05, 0.15]) * noise
    probe = Probe(name, times, values, np.ones(len(times), bool))
    kind = random.choice(["well"] * 4 + ["dies", "dies", "ends", "elsewhere", "air"])
    at_s = random.uniform(0.1, 1.0) * end_s
    keep = np.ones(len(times), bool)
    if kind == "air":
        out = (times >= at_s) & (times < at_s + random.uniform(5, 40) * MIN)
        level = random.choice([22.0, 105.0])
        if out.any() and min(abs(values[out] - level)) > 15:
            probe.values_c = np.where(out, level + noise * 0.3, values)
            probe.own &= ~out
    elif kind == "dies":
        keep = times < at_s
    elif kind in ("ends", "elsewhere"):
        probe.ended_s, probe.elsewhere = at_s, kind == "elsewhere"
        keep = (times < at_s) | probe.elsewhere
        probe.own &= times < at_s
    if random.random() < 0.2:
        gap_s = random.uniform(0, end_s)
        keep &= ~((times > gap_s) & (times < gap_s + random.uniform(5, 80) * MIN))
    for column in ("times_s", "values_c", "own"):
        setattr(probe, column, getattr(probe, column)[keep])
    return probe


def record(piece: Leftover) -> tuple[list[Entry], list[Reading]]:
    """Return the journal and the readings of a piece."""
    cook = Cook(
        "again", (Piece("left", "brisket-packer"), Piece("other", "pork-butt")),
        tuple(Channel(probe.channel, Site.CORE, "left") for probe in piece.probes),
    )  # fmt: skip
    said: list[tuple[float, Body]] = [(0.0, CheckMade("pen", "ice", 0, 1000, True))]
    said += [(known_s, StageSet("left", Stage(stage), ms(at_s)))
             for stage, at_s, known_s in piece.marks]  # fmt: skip
    said += [(at_s, SpotRead(round(value * 1000), ms(at_s), "left", probe="pen" if ok else None))
             for at_s, value, ok in piece.spots]  # fmt: skip
    for probe in piece.probes:
        if probe.ended_s is not None:
            placed = (Channel(probe.channel, Site.CORE, "other") if probe.elsewhere
                      else Channel(probe.channel))  # fmt: skip
            said.append((probe.ended_s, ChannelAssigned(placed)))
    entries = [Entry(RUN, 1, ms(0), CookStarted(cook))]
    said.sort(key=lambda one: one[0])
    entries += [Entry(RUN, n, ms(at_s), body, "AB") for n, (at_s, body) in enumerate(said, 2)]
    readings = [Reading(probe.channel, ms(t_s), round(float(value) * 10) * 100)
                for probe in piece.probes
                for t_s, value in zip(probe.times_s, probe.values_c, strict=True)]  # fmt: skip
    return entries, sorted(readings, key=lambda reading: reading.t_ms)


# -- the judgement ------------------------------------------------------------------------------


def _own(probe: Probe, piece: Leftover) -> tuple[np.ndarray, np.ndarray]:
    """Return what a probe shows of its own place; a hand reading stands in where it is silent."""
    times, values = probe.times_s[probe.own], probe.values_c[probe.own]
    edges = np.concatenate([[-1e12], times, [1e12]])
    extra = [(at_s, value) for at_s, value, _ in piece.spots
             if np.diff(edges)[np.searchsorted(edges, at_s) - 1] > GAP_S]  # fmt: skip
    if not extra:
        return times, values
    times = np.concatenate([times, [at_s for at_s, _ in extra]])
    values = np.concatenate([values, [value for _, value in extra]])
    order = np.argsort(times)
    return times[order], values[order]


def _along(times: np.ndarray, values: np.ndarray, grid: np.ndarray) -> np.ndarray:
    """Return the value on the line between neighbours at most a gap apart, else not a number."""
    if len(times) < 2:
        return np.full(len(grid), np.nan)
    after = np.clip(np.searchsorted(times, grid, side="right"), 1, len(times) - 1)
    known = (grid >= times[0]) & (grid <= times[-1]) & (times[after] - times[after - 1] <= GAP_S)
    found: np.ndarray = np.where(known, np.interp(grid, times, values), np.nan)
    return found


def reheated(piece: Leftover) -> bool | None:
    """Return whether it is shown that every part was hot enough, long and soon enough."""
    marked = [at_s for stage, at_s, _ in piece.marks if stage == "reheating"]
    if not marked:
        return None
    from_s = marked[0]
    later = [at_s for stage, at_s, _ in piece.marks if at_s > from_s]
    to_s = min(later, default=piece.end_s)
    grid = np.arange(from_s, to_s, GRID_S)
    if not len(grid):
        return None
    own = [_own(probe, piece) for probe in piece.probes]
    columns = [_along(times, values, grid) for times, values in own]
    lowest = np.min(columns, axis=0)  # not a number where any of them shows nothing
    left_s = [float(times[values <= COLD_C + NEAR_C].max(initial=-1.0)) for times, values in own]
    begun_s = max(from_s, min(left_s))  # the first part of it that left the cold
    sure = _first(lowest >= GOAL_C + NEAR_C, grid, 2 * 120 + 30)
    maybe = _first(~(lowest < GOAL_C - NEAR_C) & np.isfinite(lowest), grid, 0.0)
    hand = [value for at_s, value, _ in piece.spots if from_s <= at_s <= to_s]
    if max(hand, default=0.0) > GOAL_C - NEAR_C:
        return None
    if maybe is None:
        return False
    if maybe - begun_s > 2 * HOUR + 5 * MIN:
        return False
    if sure is None or sure - begun_s > 2 * HOUR - 5 * MIN:
        return None
    silent = any(
        np.diff([from_s, *times[(times >= from_s) & (times <= sure)], sure]).max() > GAP_S
        for times, _ in own
    )
    return not silent


def _first(where: np.ndarray, grid: np.ndarray, for_s: float) -> float | None:
    """Return when something has been so for a while, ``None`` if it never was."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], where.astype(int), [0]])))
    for first, last in zip(edges[::2], edges[1::2], strict=True):
        if (last - first) * GRID_S > for_s:
            return float(grid[first] + for_s)
    return None


def held_cold(piece: Leftover) -> bool | None:
    """Return whether it is shown that no part was above the limit for the time that counts."""
    to_s = min((at_s for stage, at_s, _ in piece.marks if stage != "chilled"), default=piece.end_s)
    grid = np.arange(0, to_s, GRID_S)
    own = [_own(probe, piece) for probe in piece.probes]
    columns = np.array([_along(times, values, grid) for times, values in own])
    highest = np.max(columns, axis=0)
    reached = np.flatnonzero(highest <= COLD_C - NEAR_C)
    if not len(reached):
        return None if (highest <= COLD_C + NEAR_C).any() else False
    from_s = float(grid[reached[0]])
    warm = np.nan_to_num(np.nanmax(np.where(np.isnan(columns), -99, columns), axis=0), nan=-99)
    warm[: reached[0]] = -99
    if _first(warm > COLD_C + NEAR_C, grid, COLD_DELAY_S + 120) is not None:
        return False
    for times, _ in own:
        inside = times[(times >= from_s) & (times <= to_s)]
        if np.diff([from_s, *inside, to_s]).max() > GAP_S + GRID_S:
            return False
    doubted = any(
        (~probe.own & (probe.times_s >= from_s) & (probe.times_s <= to_s)).any()
        for probe in piece.probes
    )
    near = _first(warm > COLD_C - NEAR_C, grid, COLD_DELAY_S - 120) is not None
    hand = any(from_s <= at_s <= to_s and value > COLD_C - NEAR_C for at_s, value, _ in piece.spots)
    return None if near or hand or doubted else True


def cases(seeds: Iterable[int]) -> Iterator[Case]:
    """Yield the reheating and the cold holding of random leftovers."""
    policy = shipped_policy("retail-food-code")
    for seed in seeds:
        piece = leftover(seed)
        entries, readings = record(piece)
        history = next(one for one in histories(fold(entries), readings) if one.piece == "left")
        verdicts = judge(history, policy)
        again, cold = verdicts.reheating, verdicts.cold_hold
        if again.applies:
            yield Case(seed, "reheating", reheated(piece), again.met, again.reason)
        yield Case(seed, "cold", held_cold(piece), cold.met, cold.reason)


def main(records: int, first: int = 0) -> None:
    counted: Counter[tuple[str, bool | None, bool | None]] = Counter()
    for case in cases(range(first, first + records)):
        counted[case.limit, case.truth, case.met] += 1
        if case.met and case.truth is False:
            print(f"met, and not shown: record {case.seed}, {case.limit}: {case.reason}")
    for key, count in sorted(counted.items(), key=str):
        print("{:9} judgement {!s:6} said {!s:6}".format(*key), count)


if __name__ == "__main__":
    main(*map(int, sys.argv[1:3] or ["200"]))
