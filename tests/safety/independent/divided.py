"""Random pieces that are cut in two, watched by halves, with marks that are put right afterwards.

A probe is put in late, taken out and put back; the piece is divided on the pit, at rest or while it
is held; each part goes on by itself, with a probe, hand readings, both or none; four marks of ten
are entered wrong and corrected or taken back. What truly happened to the meat is kept beside the
record: a limit that is "met" is held against it alone.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from random import Random

import numpy as np

from pitlogger.model.cooks import Channel, Cook, Piece, Stage
from pitlogger.model.folding import fold
from pitlogger.model.journal import (
    Body,
    ChannelAssigned,
    CookStarted,
    Corrected,
    Entry,
    PieceSplit,
    SpotRead,
    StageSet,
    Undone,
)
from pitlogger.model.readings import Reading, Site
from pitlogger.safety.judge import judge
from pitlogger.safety.policy import shipped_policy
from pitlogger.safety.recorded import histories
from tests.safety.independent.judgement import COLD_C, GRID_S, HOT_C, MIDDLE_C, table
from tests.safety.independent.kitchen import HOUR, MIN, RUN, T0_MS, ms

NEAR_C = 0.15
UNSEEN_S = 32 * MIN  # a fall may hide in a gap that the policy allows
HELD = ("resting", "holding")
DONE = ("cooling", "chilled", "served")
Segment = tuple[float, float, float]  # seconds, goal degC, time constant s


@dataclass
class Part:
    """One piece: its true temperature every ten seconds, and its true stages (name, second)."""

    id: str
    begun_s: float
    path_c: np.ndarray
    stages: list[tuple[str, float]]


@dataclass
class _Record:
    random: Random
    said: list[tuple[float, Body]] = field(default_factory=list)
    readings: list[Reading] = field(default_factory=list)

    def read(self, channel: str, part: Part, from_s: float, to_s: float, step_s: int) -> None:
        for k in range(0, len(part.path_c), step_s // 10):
            at_s = part.begun_s + k * GRID_S
            if from_s <= at_s <= to_s:
                value_c = part.path_c[k] + self.random.gauss(0, 0.02)
                self.readings.append(Reading(channel, ms(at_s), round(value_c * 10) * 100))

    def by_hand(self, part: Part, count: int) -> None:
        for _ in range(count):
            k = self.random.randrange(len(part.path_c))
            at_s = part.begun_s + k * GRID_S
            spot = SpotRead(round(part.path_c[k] * 1000), ms(at_s), part.id)
            self.said.append((at_s, spot))

    def marks(self, part: Part, stages: list[tuple[str, float]]) -> None:
        for stage, at_s in stages:
            entered_s = at_s + self.random.choice([0, 300])
            self.said.append((entered_s, StageSet(part.id, Stage(stage), ms(at_s))))


@dataclass(frozen=True)
class Wrong:
    """A limit said to be met that truly was not."""

    seed: int
    piece: str
    limit: str
    reason: str


def wrong(seed: int) -> Iterator[Wrong | None]:
    """Yield each limit of a random record that is said to be met: ``None`` where it truly was."""
    random = Random(seed)
    record = _Record(random)
    whole, where = _whole(random)
    parts = [_part(random, name, whole, where) for name in ("a", "b")]
    step_s = random.choice([10, 30, 60])
    _watch_whole(record, whole, step_s)
    split_s = parts[0].begun_s
    record.said.append((split_s, PieceSplit("p", tuple(Piece(part.id) for part in parts))))
    for part in parts:
        if random.random() < 0.7:
            in_s = split_s + random.choice([0, 0, random.uniform(0, HOUR)])
            core = Channel(f"{part.id}/core", Site.CORE, part.id)
            record.said.append((in_s, ChannelAssigned(core)))
            record.read(core.id, part, in_s, np.inf, step_s)
        record.marks(part, part.stages[1:])
        record.by_hand(part, random.choice([0, 0, 1, 4]))
    cook = Cook("random", (Piece("p", random.choice(["brisket-packer", "pork-butt"])),))
    entries = _entries(random, cook, record.said)
    readings = sorted(record.readings, key=lambda reading: reading.t_ms)
    policy = shipped_policy("retail-food-code")
    lines = {"p": whole.path_c} | {
        part.id: np.concatenate([whole.path_c, part.path_c]) for part in parts
    }
    found = {one.piece: judge(one, policy) for one in histories(fold(entries), readings)}
    for part in (whole, *parts):
        said = found[part.id]
        truths = (
            ("lethality", said.lethality.verdict, _cooked(part, lines[part.id])),
            ("holding", said.holding, _held_hot(part)),
            ("cooling", said.cooling.verdict, _cooled(lines[part.id])),
        )
        for limit, verdict, is_true in truths:
            if verdict.applies and verdict.met:
                yield None if is_true else Wrong(seed, part.id, limit, verdict.reason)


def _walk(from_c: float, segments: list[Segment]) -> np.ndarray:
    path = [np.array([from_c])]
    for seconds, goal_c, tau_s in segments:
        steps = np.arange(1, int(seconds / GRID_S) + 1) * GRID_S
        path.append(goal_c + (path[-1][-1:] - goal_c) * np.exp(-steps / tau_s))
        path = [one for one in path if len(one)]
    return np.concatenate(path)[1:]


def _whole(random: Random) -> tuple[Part, str]:
    """Return a piece until it is divided, and where that is: pit, rest or hold."""
    on_s = random.uniform(4, 11) * HOUR
    ranges = [(50, 62), (62, 75), (75, 97)]
    segments = [(on_s, random.uniform(*random.choice(ranges)) + 2, on_s / 3.5)]
    stages = [("smoking", 0.0)]
    where = random.choice(["pit", "rest", "hold"])
    now_s = on_s
    if where != "pit":
        stages.append(("resting", now_s))
        segments.append((random.uniform(0.2, 1.5) * HOUR, random.choice([55, 25]),
                         random.uniform(1, 6) * HOUR))  # fmt: skip
        now_s += segments[-1][0]
    if where == "hold":
        stages.append(("holding", now_s))
        segments.append((random.uniform(0.3, 3) * HOUR, random.choice([63, 66, 30]),
                         random.uniform(2, 8) * HOUR))  # fmt: skip
    return Part("p", 0.0, _walk(5.0, segments), stages), where


def _part(random: Random, name: str, whole: Part, where: str) -> Part:
    """Return what becomes of one half: back on the pit, held, cooled, or nothing that is marked."""
    now_s = len(whole.path_c) * GRID_S
    stages, segments = [(whole.stages[-1][0], now_s)], []

    def go_on(stage: str, hours: tuple[float, float], goal_c: float, tau_h: float) -> None:
        nonlocal now_s
        seconds = random.uniform(*hours) * HOUR
        if stage:
            stages.append((stage, now_s))
        segments.append((seconds, goal_c, tau_h * HOUR))
        now_s += seconds

    if random.random() < 0.6:
        go_on("", (0, 1.5), {"hold": 66, "pit": 95, "rest": 40}[where], 4)
    mode = random.choice(["pit", "hold", "cool", "cool", "nothing"])
    if mode == "pit":
        go_on("smoking", (0.3, 4), random.choice([60, 90, 98]), random.uniform(0.5, 2))
        go_on("resting", (0.3, 1), 55, 4)
        mode = random.choice(["hold", "cool"])
    if mode == "hold":
        go_on("holding", (0.5, 3), random.choice([66, 64, 45]), random.uniform(1, 6))
        mode = random.choice(["serve", "cool"])
    if mode == "serve":
        go_on("served", (0.1, 0.2), 30, 2)
    if mode == "cool":
        go_on("cooling", (2, 8), 1, random.uniform(0.4, 2))
        if random.random() < 0.6:
            go_on("chilled", (1, 1), 2, 1)
    if mode == "nothing":
        go_on("", (2, 2), random.choice([30, 66]), 3)
    return Part(name, stages[0][1], _walk(whole.path_c[-1], segments), stages)


def _watch_whole(record: _Record, whole: Part, step_s: int) -> None:
    """Watch the whole piece with one probe: put in at once or late, out now and then."""
    random, split_s = record.random, len(whole.path_c) * GRID_S
    core = Channel("p/core", Site.CORE, "p")
    at_s = 0.0 if random.random() < 0.6 else random.uniform(0, split_s)
    end_s = split_s - (random.uniform(0, 2) * HOUR if random.random() < 0.1 else 0)
    while at_s < end_s:
        record.said.append((at_s, ChannelAssigned(core)))
        out_s = at_s + random.uniform(0.3, 14) * HOUR if random.random() < 0.6 else end_s
        record.read(core.id, whole, at_s, min(out_s, end_s), step_s)
        if out_s >= end_s:
            break
        record.said.append((out_s, ChannelAssigned(Channel(core.id))))
        at_s = out_s + random.choice([60, random.uniform(0, 2) * HOUR])
    record.marks(whole, whole.stages)
    record.by_hand(whole, random.choice([0, 0, 2, 8]))


def _entries(random: Random, cook: Cook, said: list[tuple[float, Body]]) -> list[Entry]:
    """Return the journal: some marks are entered wrong first and put right, in either way."""
    told: list[tuple[float, int, Body | None, bool]] = []  # at, which mark, body, is it put right
    for number, (at_s, body) in enumerate(said):
        if not isinstance(body, StageSet) or random.random() > 0.4:
            told.append((at_s, number, body, False))
            continue
        off_s = random.uniform(-1, 1) * random.choice([0.2, 2]) * HOUR
        wrong_ms = min(max(T0_MS, body.at_ms + round(off_s * 1000)), ms(at_s))
        told.append((at_s, number, StageSet(body.piece, body.stage, wrong_ms), False))
        later_s = at_s + random.uniform(5, 4 * HOUR)
        if random.random() < 0.5:
            told.append((later_s, number, body, True))
        else:
            told += [(later_s, number, None, True), (later_s + 20, number, body, False)]
    told.sort(key=lambda one: one[0])
    entries = [Entry(RUN, 1, T0_MS, CookStarted(cook))]
    first: dict[int, int] = {}
    for seq, (at_s, number, meant, is_put_right) in enumerate(told, start=2):
        of = first.setdefault(number, seq)
        made: Body = Undone(RUN, of) if meant is None else meant
        if is_put_right and isinstance(meant, StageSet):
            made = Corrected(RUN, of, meant)
        entries.append(Entry(RUN, seq, ms(at_s), made, "AB"))
    return entries


def _cooked(part: Part, line_c: np.ndarray) -> bool:
    """Return whether some row of the table was truly held before it was cooled or served."""
    ends = [int(at_s / GRID_S) for stage, at_s in part.stages if stage in DONE]
    line_c = line_c[: min(ends, default=len(line_c))]
    return any(
        (line_c >= row_c - NEAR_C).sum() * GRID_S >= 0.97 * needed_s - 30
        for row_c, needed_s in table()
    )


def _held_hot(part: Part) -> bool:
    """Return whether it was never below the limit for longer than a gap can hide."""
    stages = np.full(len(part.path_c), "", dtype=object)
    for stage, at_s in part.stages:
        stages[max(0, int((at_s - part.begun_s) / GRID_S)) :] = stage
    cold = np.isin(stages.astype(str), HELD) & (part.path_c < HOT_C - NEAR_C)
    edges = np.flatnonzero(np.diff(np.concatenate([[0], cold.astype(int), [0]])))
    return float((edges[1::2] - edges[::2]).max(initial=0)) * GRID_S <= UNSEEN_S


def _cooled(line_c: np.ndarray) -> bool:
    """Return whether it truly fell to both marks in time, from when it was last hot."""
    hot = np.flatnonzero(line_c >= HOT_C - NEAR_C)
    if not len(hot):
        return True  # it never was hot: what cooling asks began elsewhere
    after = line_c[hot[-1] :]
    for mark_c, limit_s in ((MIDDLE_C, 2 * HOUR), (COLD_C, 6 * HOUR)):
        below = np.flatnonzero(after <= mark_c + NEAR_C)
        if not len(below) or below[0] * GRID_S > limit_s + 5 * MIN:
            return False
    return True
