"""Random records of a kitchen in which things go wrong, and what truly happened there.

One or two pieces with one to four probes each. Probes die, are taken out, hang in air before
they are put in and for some minutes later on, are swapped, stand still; readings have gaps and
noise; marks are missing or entered late; hand readings are taken, some are struck. What a probe
truly sat in is kept beside the record, for the judgement only.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from random import Random

import numpy as np

from pitlogger.model.cooks import Channel, Cook, Piece, Stage
from pitlogger.model.journal import (
    Body,
    ChannelAssigned,
    CheckMade,
    CookStarted,
    Corrected,
    Entry,
    ProbeMoved,
    SpotRead,
    StageSet,
    Undone,
)
from pitlogger.model.readings import Reading, Site

MIN = 60.0
HOUR = 3600.0
T0_MS = 1_790_000_000_000
RUN = "r"


@dataclass
class Probe:
    """One probe: what it read and whether that was its own place in the meat."""

    channel: str
    piece: str
    times_s: np.ndarray
    values_c: np.ndarray
    own: np.ndarray  # bool: its own place in its own piece, alive
    ended_s: float | None = None  # when somebody marked that it was taken out
    moved_s: float | None = None
    failed_s: tuple[float, float] | None = None  # from the last good check to the failed one


@dataclass
class Meat:
    """One piece: its true stages, its marks (stage, at, entered) and its hand readings."""

    id: str
    cut: str
    probes: list[Probe]
    marks: list[tuple[str, float, float]]
    spots: list[tuple[float, float, bool]]  # at, value, by a checked thermometer
    struck: list[tuple[float, float, float]] = field(default_factory=list)  # at, value, until
    late_typed: list[tuple[float, float]] = field(default_factory=list)


@dataclass
class Scene:
    """A record, and the truth beside it."""

    seed: int
    meats: list[Meat]
    entries: list[Entry]
    readings: list[Reading]
    end_s: float


def ms(t_s: float) -> int:
    return T0_MS + round(t_s * 1000)


class _Path:
    """True temperatures of a piece: its coldest and warmest place lie some kelvin apart."""

    def __init__(self, random: Random) -> None:
        self.random = random
        self.times: list[float] = []
        self.values: list[float] = []

    def toward(self, until_s: float, goal_c: float, tau_s: float) -> None:
        start_s, value = (self.times[-1], self.values[-1]) if self.times else (0.0, 5.0)
        for t_s in np.arange(start_s + 60, until_s + 1, 60.0):
            value += (goal_c - value) * (1 - np.exp(-60.0 / tau_s))
            self.times.append(float(t_s))
            self.values.append(float(value))

    def rise(self, until_s: float, goal_c: float) -> None:
        start_s, value = (self.times[-1], self.values[-1]) if self.times else (0.0, 5.0)
        span = until_s - start_s
        shape = self.random.uniform(0.6, 1.6)
        for t_s in np.arange(start_s + 60, until_s + 1, 60.0):
            share = ((t_s - start_s) / span) ** shape
            self.times.append(float(t_s))
            self.values.append(value + (goal_c - value) * share)

    def at(self, times: np.ndarray) -> np.ndarray:
        found: np.ndarray = np.interp(times, [0.0, *self.times], [self.values[0], *self.values])
        return found


def scene(seed: int) -> Scene:
    """Return one random record."""
    random = Random(seed)
    end_s = 0.0
    plans = []
    for number in range(random.choice([1, 1, 2])):
        path, stages, end = _plan(random)
        plans.append((f"b{number}", path, stages))
        end_s = max(end_s, end)
    meats, entries = [], []
    for piece, path, stages in plans:
        cut = random.choice(["brisket-packer", "brisket-packer", "pork-butt", "chicken-whole"])
        probes = [
            _probe(random, f"{piece}/core{n}", piece, path, end_s)
            for n in range(random.choice([1, 1, 2, 2, 3, 4]))
        ]
        meats.append(Meat(piece, cut, probes, _marks(random, stages, end_s), []))
    every = [probe for meat in meats for probe in meat.probes]
    if len(every) > 1 and random.random() < 0.2:
        _swap(random, every, end_s)
    for meat, (_, path, _) in zip(meats, plans, strict=True):
        _hands(random, meat, path, end_s)
    cook = Cook(
        "random",
        tuple(Piece(meat.id, meat.cut) for meat in meats),
        tuple(Channel(probe.channel, Site.CORE, probe.piece) for probe in every),
    )
    entries = _journal(random, cook, meats)
    readings = sorted(
        (
            Reading(probe.channel, ms(t_s), round(value * 10) * 100)
            for probe in every
            for t_s, value in zip(probe.times_s, probe.values_c, strict=True)
        ),
        key=lambda reading: reading.t_ms,
    )
    return Scene(seed, meats, entries, readings, end_s)


def _plan(random: Random) -> tuple[_Path, list[tuple[str, float]], float]:
    path = _Path(random)
    stages = [("smoking", 0.0)]
    off_s = random.uniform(5, 12) * HOUR
    peak_c = random.choice([random.uniform(50, 66), random.uniform(66, 97), random.uniform(90, 97)])
    dies = random.random() < 0.08
    path.rise(off_s * (0.6 if dies else 1.0), peak_c * (0.8 if dies else 1.0))
    if dies:
        path.toward(off_s, 20.0, 5 * HOUR)
    now = off_s
    stages.append(("resting", now))
    now += random.uniform(0.3, 1.5) * HOUR
    path.toward(now, 55.0, random.uniform(2, 8) * HOUR)
    if random.random() < 0.7:
        stages.append(("holding", now))
        now += random.uniform(0.5, 4) * HOUR
        path.toward(now, random.choice([65.0, 63.0, 45.0]), random.uniform(3, 10) * HOUR)
    if random.random() < 0.5:
        stages.append(("cooling", now))
        now += random.uniform(1, 8) * HOUR
        path.toward(now, 1.0, random.uniform(0.5, 2.2) * HOUR)
        if random.random() < 0.5:
            stages.append(("chilled", now))
            now += random.uniform(0.5, 3) * HOUR
            path.toward(now, random.choice([2.0, 2.0, 12.0]), HOUR)
    else:
        stages.append(("serving", now))
        now += random.uniform(0.3, 2) * HOUR
        path.toward(now, 40.0, random.uniform(2, 12) * HOUR)
        if random.random() < 0.6:
            stages.append(("served", now - 60))
    return path, stages, now


def _probe(random: Random, channel: str, piece: str, path: _Path, end_s: float) -> Probe:
    every_s = random.choice([10.0, 30.0, 60.0, 60.0, 120.0])
    times = np.arange(random.uniform(0, every_s), end_s, every_s)
    true = path.at(times)
    place = random.uniform(0.9, 1.0)
    values = 5.0 + (true - 5.0) * place + random.uniform(-1, 1)
    noise = random.choice([0.0, 0.05, 0.15, 0.3])
    state = np.random.default_rng(random.randrange(1 << 30))
    own = np.ones(len(times), bool)
    probe = Probe(channel, piece, times, values, own)
    kind = random.choice(["well"] * 8 + ["dies", "dies", "ends", "before", "air", "air", "stuck"])
    at_s = random.uniform(0.05, 0.95) * end_s
    air_c = random.choice([22.0, 28.0, 95.0, 107.0, 118.0])
    if kind == "before":
        at_s = random.uniform(5, 90) * MIN
        _in_air(probe, times < at_s, air_c, random)
    elif kind == "air":
        _in_air(
            probe, (times >= at_s) & (times < at_s + random.uniform(4, 70) * MIN), air_c, random
        )
    probe.values_c = (
        probe.values_c + state.normal(0, noise, len(times)) if noise else probe.values_c
    )
    if kind == "stuck" and noise >= 0.15:
        still = times >= at_s
        if still.any():
            probe.values_c[still] = probe.values_c[still][0]
            own[still] = False
    keep = np.ones(len(times), bool)
    if kind == "dies":
        keep &= times < at_s
    if kind == "ends":
        keep &= times < at_s
        probe.ended_s = at_s
    if random.random() < 0.15:
        gap_s = random.uniform(0, end_s)
        keep &= ~((times > gap_s) & (times < gap_s + random.uniform(5, 90) * MIN))
    if random.random() < 0.05:
        probe.moved_s = random.uniform(0, end_s)
    if random.random() < 0.04:
        failed_s = random.uniform(0.3, 1.0) * end_s
        probe.failed_s = (random.choice([0.0, random.uniform(0, failed_s)]), failed_s)
    for name in ("times_s", "values_c", "own"):
        setattr(probe, name, getattr(probe, name)[keep])
    return probe


def _in_air(probe: Probe, where: np.ndarray, air_c: float, random: Random) -> None:
    """Let a probe read the air: it takes a minute or so to get there and back."""
    sway = random.uniform(0, 6)
    level = air_c + sway * np.sin(probe.times_s / 700)
    apart = np.abs(level - probe.values_c)[where]
    if not len(apart) or min(apart[0], apart[-1]) < 6.0:
        return  # so near to the meat nobody can tell
    probe.values_c = np.where(where, level, probe.values_c)
    probe.own &= ~where


def _swap(random: Random, probes: list[Probe], end_s: float) -> None:
    one, other = random.sample(probes, 2)
    from_s = random.uniform(0.05, 0.9) * end_s
    to_s = random.choice([end_s, from_s + random.uniform(10, 200) * MIN])
    if not len(one.times_s) or not len(other.times_s):
        return
    mine = (one.times_s >= from_s) & (one.times_s < to_s)
    theirs = (other.times_s >= from_s) & (other.times_s < to_s)
    a = np.interp(one.times_s[mine], other.times_s, other.values_c)
    b = np.interp(other.times_s[theirs], one.times_s, one.values_c)
    if not len(a) or not len(b) or abs(a[0] - one.values_c[mine][0]) < 4.0:
        return  # so near to each other nobody can tell
    one.values_c[mine], other.values_c[theirs] = a, b
    if one.piece != other.piece:
        one.own[mine] = other.own[theirs] = False


def _marks(
    random: Random, stages: list[tuple[str, float]], end_s: float
) -> list[tuple[str, float, float]]:
    habit = random.choice(["good", "good", "good", "forgets", "late"])
    marks = []
    for stage, at_s in stages:
        if habit == "forgets" and stage != "smoking" and random.random() < 0.6:
            continue
        entered = at_s
        if habit == "late" and random.random() < 0.5:
            entered = min(end_s, at_s + random.uniform(2, 240) * MIN)
        marks.append((stage, at_s, entered))
    return marks


def _hands(random: Random, meat: Meat, path: _Path, end_s: float) -> None:
    if random.random() < 0.35:
        for _ in range(random.randrange(1, 6)):
            at_s = random.uniform(0.3, 1.0) * end_s
            value = float(path.at(np.array([at_s]))[0]) * random.uniform(0.96, 1.0)
            meat.spots.append((at_s, value, random.random() < 0.4))
    if random.random() < 0.12:
        at_s = random.uniform(0.5, 1.0) * end_s
        true = float(path.at(np.array([at_s]))[0])
        meat.struck.append((at_s, random.choice([true, true - 12, true + 12, 50.0]), end_s))


def _journal(random: Random, cook: Cook, meats: list[Meat]) -> list[Entry]:
    said: list[tuple[float, Body, str]] = [(0.0, CheckMade("pen", "ice", 0, 1000, True), "AB")]
    for meat in meats:
        for stage, at_s, entered_s in meat.marks:
            said.append((entered_s, StageSet(meat.id, Stage(stage), ms(at_s)), "AB"))
        for at_s, value, is_checked in meat.spots:
            used = "pen" if is_checked else None
            spot = SpotRead(round(value * 1000), ms(at_s), meat.id, probe=used)
            said.append((at_s, spot, "AB"))
        for probe in meat.probes:
            if probe.ended_s is not None:
                said.append((probe.ended_s, ChannelAssigned(Channel(probe.channel)), "AB"))
            if probe.moved_s is not None:
                said.append((probe.moved_s, ProbeMoved(probe.channel), "AB"))
            if probe.failed_s is not None:
                good_s, bad_s = probe.failed_s
                if good_s:
                    said.append((good_s, CheckMade(probe.channel, "ice", 0, 1000, True), "AB"))
                said.append((bad_s, CheckMade(probe.channel, "ice", 4000, 1000, False), "AB"))
    said.sort(key=lambda entry: entry[0])
    entries = [Entry(RUN, 1, T0_MS, CookStarted(cook))]
    entries += [
        Entry(RUN, seq, ms(t_s), body, by) for seq, (t_s, body, by) in enumerate(said, start=2)
    ]
    for meat in meats:
        for number, (at_s, value, _) in enumerate(meat.struck):
            seq = len(entries) + 1
            spot = SpotRead(round(value * 1000), ms(at_s), meat.id)
            entries.append(Entry(RUN, seq, ms(at_s), spot, "AB"))
            until_s = at_s + random.uniform(2, 60) * MIN
            meat.struck[number] = (at_s, value, until_s)
            later_ms = ms(until_s)
            if random.random() < 0.5:
                body: Body = Undone(RUN, seq)
            else:
                body = Corrected(RUN, seq, SpotRead(spot.value_mc + 20_000, spot.at_ms, "gone"))
            entries.append(Entry(RUN, seq + 1, later_ms, body, "CD"))
    return entries
