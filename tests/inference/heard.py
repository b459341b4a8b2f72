"""Which alarms ring on a walk, by who says the stages; and what one listener misses of another.

``python -m tests.inference.heard [N [FIRST]]`` prints the tables of docs/recognition.md.
"""

from __future__ import annotations

import random
import sys
from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field, replace
from multiprocessing import Pool

from pitlogger.bootstrap.policies import load_policy
from pitlogger.engine.feed import feed, ticks_until
from pitlogger.engine.inputs import Command, Input, Output
from pitlogger.engine.state import EngineState
from pitlogger.engine.step import Engine
from pitlogger.engine.watch.recognition import inferred
from pitlogger.errors import PitloggerError
from pitlogger.formats.cook_file import parse_cook
from pitlogger.model.alerts import ACTIVE, ALARMS
from pitlogger.model.cooks import Stage
from pitlogger.model.journal import AlertActed, AlertChanged, Body, CookStarted, Entry, StageSet
from pitlogger.model.readings import Reading
from pitlogger.rules.policies import StageFrom
from tests.inference.walk import Walk

LATER_MS = 5 * 60_000
AGREED_MS = 10 * 60_000  # a person gives the time of what is told further off
FOOD = (
    "hot-hold-low", "cold-hold-high", "cooling-stage-1-late", "cooling-stage-2-late",
    "cooling-will-miss", "come-up-slow", "time-limit", "reheat-late", "lethality-not-met",
)  # fmt: skip
Ring = tuple[int, str]  # when, which alarm


@dataclass(slots=True)
class Heard:
    """What one engine told: each alarm with when it stood, and what inferred stages ended."""

    stood: dict[str, list[list[int]]] = field(default_factory=dict)  # [from, to] each
    ended: list[Ring] = field(default_factory=list)
    stages: list[tuple[int, int, str]] = field(default_factory=list)  # entered, at, which

    def rings(self) -> list[Ring]:
        return sorted((span[0], alarm) for alarm, spans in self.stood.items() for span in spans)

    def stands(self, alarm: str, from_ms: int, to_ms: int) -> bool:
        """Return whether an alarm stood at any time between the two."""
        return any(a <= to_ms and b >= from_ms for a, b in self.stood.get(alarm, ()))


class Listener:
    """An engine that hears a walk; ``marks`` are the stages that a person sets in time."""

    def __init__(
        self, walk: Walk, stage_from: StageFrom, marks: Iterable[tuple[int, str]] = (),
        answers: bool = False,
    ) -> None:  # fmt: skip
        self.walk, self.marks, self.answers = walk, list(marks), answers
        self.engine = Engine(EngineState("w"), replace(load_policy(), stage_from=stage_from))
        self.heard = Heard()

    def run(self) -> Heard:
        first_ms = 1000 * self.walk.points[0][0]
        self._give(Command(first_ms, CookStarted(parse_cook(self.walk.cook))))
        for t, channel, value_c in self.walk.points:
            while self.marks and self.marks[0][0] <= t:
                self._mark(*self.marks.pop(0))
            self._give(Reading(channel, 1000 * t, round(1000 * value_c)))
        self._take(ticks_until(self.engine, 1000 * self.walk.points[-1][0] + 600_000))
        return self.heard

    def _mark(self, t: int, stage: str) -> None:
        self._say(StageSet("piece", Stage(stage), 1000 * t), 1000 * t)

    def _say(self, body: Body, t_ms: int) -> None:
        try:
            self._give(Command(max(t_ms, self.engine.state.t_ms), body, "AB"))
        except PitloggerError:
            return  # as the piece stands it cannot be: a person would be told so

    def _give(self, given: Input) -> None:
        self._take(feed(self.engine, given))

    def _take(self, outs: Iterator[tuple[Output, ...]]) -> None:
        for out in outs:
            entries = [one for one in out if isinstance(one, Entry)]
            is_inferred = any(
                isinstance(one.body, StageSet) and one.body.is_unconfirmed for one in entries
            )
            for entry in entries:
                self._entry(entry, is_inferred)
        if self.answers:
            self._answer(self.engine.state.t_ms)

    def _entry(self, entry: Entry, is_inferred: bool) -> None:
        body = entry.body
        if isinstance(body, StageSet):
            self.heard.stages.append((entry.t_ms, body.at_ms, body.stage.value))
        if not isinstance(body, AlertChanged) or body.alert_kind not in ALARMS:
            return
        spans = self.heard.stood.setdefault(body.alert, [])
        stands = bool(spans) and spans[-1][1] == sys.maxsize
        if body.now in ACTIVE and not stands:
            spans.append([entry.t_ms, sys.maxsize])
        elif body.now not in ACTIVE and stands:
            spans[-1][1] = entry.t_ms
            if is_inferred:
                self.heard.ended.append((entry.t_ms, body.alert))

    def _answer(self, t_ms: int) -> None:
        """Say what is true to what is asked: yes, yes but at another time, or no."""
        watch = self.engine.state.watches.get("stage-likely/piece")
        found = self.engine.recognition.proposals.get("piece", [])
        if watch is None or watch.state not in ACTIVE or not found:
            return
        last = found[-1]
        begun = [(1000 * t, stage) for t, stage in self.walk.marks if 1000 * t <= t_ms]
        same = [at_ms for at_ms, stage in begun if stage == last.stage]
        if not same or begun[-1][1] != last.stage:
            self._say(AlertActed(watch.key, "answer", reason="no"), t_ms)
        elif abs(same[-1] - last.at_ms) <= AGREED_MS:
            self._say(replace(inferred("piece", last), confirmed=True), t_ms)
        else:
            self._say(StageSet("piece", last.stage, same[-1]), t_ms)


def is_covered(heard: Heard, alarm: str, at_ms: int) -> bool:
    """Return whether an alarm stands at the latest five minutes after it should ring.

    What will be late is told no more once it is late.
    """
    kind, _, piece = alarm.partition("/")
    steps = (f"cooling-stage-1-late/{piece}", f"cooling-stage-2-late/{piece}")
    told = (alarm, *steps) if kind == "cooling-will-miss" else (alarm,)
    return any(heard.stands(one, at_ms, at_ms + LATER_MS) for one in told)


@dataclass(slots=True)
class Compared:
    """One walk heard in several ways.

    ``marked`` has all true marks, ``silent`` recognition and a person who answers nothing,
    ``answered`` one who answers as it is, ``bare`` neither marks nor recognition; ``some`` a few of
    the true marks alone, ``helped`` the same with recognition.
    """

    seed: int
    marked: Heard
    silent: Heard
    bare: Heard
    some: Heard
    helped: Heard
    answered: Heard | None = None

    def lost(self) -> list[Ring]:
        """Return what all marks and a few ring, and those few with recognition do not."""
        return [
            (at_ms, alarm) for at_ms, alarm in self.some.rings()
            if is_covered(self.marked, alarm, at_ms) and not is_covered(self.helped, alarm, at_ms)
        ]  # fmt: skip

    def worse(self) -> list[Ring]:
        """Return what all marks ring, and none at all, and recognition does not."""
        return [
            (at_ms, alarm) for at_ms, alarm in self.marked.rings()
            if is_covered(self.bare, alarm, at_ms) and not is_covered(self.silent, alarm, at_ms)
        ]  # fmt: skip


def few_of(marks: list[tuple[int, str]], rng: random.Random) -> list[tuple[int, str]]:
    """Return a few marks: those of somebody who forgets some, or who soon stops marking."""
    if rng.random() < 0.5:
        return [mark for mark in marks if rng.random() < 0.5]
    return marks[: rng.randint(1, 2)]


def compared(seed: int, is_answered: bool = False) -> Compared:
    """Walk once and hear it in each way."""
    walk = Walk(seed).walked()
    some = few_of(walk.marks, random.Random(-seed))
    return Compared(
        seed,
        Listener(walk, "person", walk.marks).run(),
        Listener(walk, "taken").run(),
        Listener(walk, "person").run(),
        Listener(walk, "person", some).run(),
        Listener(walk, "taken", some).run(),
        Listener(walk, "taken", answers=True).run() if is_answered else None,
    )


def main(n: int, first: int) -> None:
    ways = ("marked", "answered", "silent", "bare")
    counts: dict[str, Counter[str]] = {way: Counter() for way in ways}
    lost = 0
    with Pool(2) as pool:
        for one in pool.starmap(compared, [(first + at, True) for at in range(n)], chunksize=1):
            for at_ms, alarm in one.marked.rings():
                kind = alarm.partition("/")[0]
                counts["marked"][kind] += 1
                for way in ways[1:]:
                    counts[way][kind] += is_covered(getattr(one, way), alarm, at_ms)
                if not is_covered(one.silent, alarm, at_ms):
                    print(f"{one.seed}: {alarm} at {at_ms} only with marks", file=sys.stderr)
            wrong = [*one.lost(), *one.worse(), *one.silent.ended, *one.helped.ended]
            lost += len(wrong)
            for at_ms, alarm in wrong:
                print(f"{one.seed}: {alarm} LOST at {at_ms}", file=sys.stderr)
    print(f"{n} walks, {lost} alarms lost by recognition\n")
    print("| alarm | with all marks | each answered | none answered | no marks |")
    print("| --- | --- | --- | --- | --- |")
    for kind in sorted(counts["marked"]):
        print(f"| `{kind}` | " + " | ".join(str(counts[way][kind]) for way in ways) + " |")


if __name__ == "__main__":
    given = [*map(int, sys.argv[1:]), *(200, 0)[len(sys.argv) - 1 :]]
    main(*given)
