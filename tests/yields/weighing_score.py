"""How well weights are matched without a tap: simulated kitchens, one table.

    python -m tests.yields.weighing_score [N [FIRST]] [unruly]

The kitchens (100 unless said) are those of ``kitchens.py``, or of ``unruly.py``, in ``taken``; what
the best possible judge makes of them is in ``weighing_oracle.py``. A question that is put once and
answered counts once, also where its answer settles other loads.
"""

from __future__ import annotations

import sys
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import partial
from multiprocessing import Pool

from pitlogger.bootstrap.policies import load_policy
from pitlogger.engine.feed import feed, ticks_until
from pitlogger.engine.inputs import Command, Tick
from pitlogger.engine.state import EngineState, Load
from pitlogger.engine.step import Engine
from pitlogger.engine.watch.weights import ALL, NEITHER, weighing
from pitlogger.model.alerts import ACTIVE
from pitlogger.model.cooks import Channel, Cook, Piece
from pitlogger.model.journal import AlertActed, Body, CookStarted, StageSet, Tared, Weighed
from pitlogger.model.quantities import Quantity
from pitlogger.model.readings import Reading, Site
from pitlogger.yields.weighing.matching import Guess
from tests.yields.kitchens import Happening, Kitchen, drawn
from tests.yields.unruly import Unruly

LONG_MS = 120_000


@dataclass(frozen=True, slots=True)
class Told:
    """What became of one load: kept, asked or nothing, and whether that was right."""

    how: str
    right: bool


class Judge:
    """One kitchen before the product: follows what it keeps and answers what it asks."""

    def __init__(self, kitchen: Kitchen, chance: float = 0.9) -> None:
        self.kitchen = kitchen
        pieces = tuple(
            Piece(name, kitchen.cut, mass_mg=self._label_mg(name), wrap="paper")
            for name in kitchen.names
        )
        policy = replace(load_policy(), stage_from="taken", stage_chance=chance)
        scale = Channel("bench", Site.BENCH, quantity=Quantity.MASS, settled=True)
        self.engine = Engine(EngineState("r"), policy, channels=(scale,))
        self.t_ms = kitchen.happenings[0].t_ms - 60_000
        self.told: list[Told] = []
        self.true: dict[int, tuple[str, str]] = {}  # what each load is, by its time
        self.known: set[int] = set()
        self.questions = 0
        self._say(CookStarted(Cook("supper", pieces=pieces, channels=(scale,), id="c")))
        if kitchen.knows_tray:
            self._say(Tared("bench", round(kitchen.tray_g * 1000), "tray"))
            self._say(Tared("bench", 0))

    def _label_mg(self, name: str) -> int | None:
        label_g = self.kitchen.label_g.get(name)
        return None if label_g is None else round(1000 * label_g)

    def run(self) -> list[Told]:
        """Let it all happen; return what became of each load."""
        for one in self.kitchen.happenings:
            self._pass(one.t_ms - self.t_ms)
            if one.mark is not None:
                self._say(StageSet(one.piece, one.mark, self.t_ms))
            elif one.level_g is not None:
                self._level(one, one.level_g)
        self._pass(self.kitchen.end_ms - self.t_ms)
        return self.told + [Told("nothing", False) for name, _ in self.true.values() if name]

    def _level(self, one: Happening, level_g: float) -> None:
        """Let a level come to rest and remember what it truly is."""
        self._feed(Reading("bench", one.t_ms, round(level_g * 1000), stable=True))
        if any(load.at_ms == one.t_ms for load in self.engine.state.loads):
            self.true[one.t_ms] = (one.piece, one.step)
        elif one.piece and one.t_ms not in self.known:
            self.told.append(Told("nothing", False))

    def _pass(self, ms: int) -> None:
        end_ms = self.t_ms + ms
        if ms > LONG_MS and not self.engine.state.loads:  # nothing waits: most of a cook
            self.t_ms = end_ms - LONG_MS
            self.engine.step(Tick(self.t_ms // 1000 * 1000))
        while self.t_ms < end_ms:
            self.t_ms = min(end_ms, self.t_ms + 30_000)
            for _ in ticks_until(self.engine, self.t_ms):
                pass
            self._look()

    def _say(self, body: Body) -> None:
        self._feed(Command(self.t_ms, body))

    def _feed(self, given: Reading | Command) -> None:
        for _ in feed(self.engine, given):
            pass
        self._look()

    def _look(self) -> None:
        """Take note of what was kept by itself, and answer what is asked."""
        for held in self.engine.book.pieces.values():
            for one in held.weighings:
                body = one.weighed
                if body.is_unconfirmed and body.at_ms not in self.known:
                    self.known.add(body.at_ms)
                    true = self.true.pop(body.at_ms, ("", ""))
                    self.told.append(Told("kept", true == (body.piece, body.checkpoint)))
                    if not self.told[-1].right and "-v" in sys.argv:
                        print(self.kitchen.seed, body.piece, body.checkpoint, body.p, true)
        watch = self.engine.state.watches.get("weight-likely/bench")
        found = self.engine.weights.asked("bench")
        if watch is None or watch.state not in ACTIVE or found is None:
            return
        together = self.engine.weights.together("bench")
        said = [(guess.piece, guess.checkpoint) for _, guess in together]
        really = [self.true.get(load.at_ms, ("", "")) for load, _ in together]
        self.questions += 1
        if len(together) > 1 and said == really:
            for load, _ in together:
                self.told.append(Told("told by one answer", True))
                del self.true[load.at_ms]
            self._say(AlertActed("weight-likely/bench", "answer", reason=ALL))
            return
        if len(together) > 1:
            self._each(together)
        else:
            self._one(*found)

    def _each(self, together: list[tuple[Load, Guess]]) -> None:
        """Name each load of a question; what it could not be thought to be is weighed by hand."""
        names, by_hand, used = [], [], set()
        for load, _ in together:
            options = self.engine.weights.guesses[load.at_ms]
            true = self.true.pop(load.at_ms, ("", ""))
            said = next((one for one in options if one.piece == true[0]
                         and (one.piece, one.checkpoint) not in used), None)  # fmt: skip
            is_so = said is not None and (said.piece, said.checkpoint) == true
            names.append(true[0] if is_so else "-")
            used.add(true)
            if true[0]:
                two = [(one.piece, one.checkpoint) for one in options[:2]]
                self.told.append(Told("asked", true in two))
                if not is_so:
                    by_hand.append(Weighed(*true, round(load.net_mg), 0, load.at_ms))
        self._say(AlertActed("weight-likely/bench", "answer", reason=", ".join(names)))
        for body in by_hand:
            self._say(body)

    def _one(self, load: Load, guesses: list[Guess]) -> None:
        """Answer for the one load that is asked about."""
        true = self.true.pop(load.at_ms, ("", ""))
        right = next((one for one in guesses if (one.piece, one.checkpoint) == true), None)
        if true[0]:
            self.told.append(Told("asked", right is not None))
        if right is not None:
            self._say(replace(weighing(load, right), confirmed=True))
            return
        self._say(AlertActed("weight-likely/bench", "answer", reason=NEITHER))
        if true[0]:
            self._say(Weighed(*true, round(load.net_mg), 0, load.at_ms))


def judged(seed: int, kind: type[Kitchen] = Kitchen) -> Counter[tuple[str, bool]]:
    """Return how many loads of a kitchen were kept, asked about or passed over, and rightly."""
    judge = Judge(drawn(seed, kind))
    found = Counter((told.how, told.right) for told in judge.run())
    found["question", True] = judge.questions
    return found


def score(
    kitchens: int, first: int = 0, kind: type[Kitchen] = Kitchen
) -> Counter[tuple[str, bool]]:
    found: Counter[tuple[str, bool]] = Counter()
    with Pool(2) as pool:
        seeds = range(first, first + kitchens)
        for one in pool.imap_unordered(partial(judged, kind=kind), seeds):
            found.update(one)
    return found


def table(found: Counter[tuple[str, bool]], kitchens: int) -> Iterator[str]:
    """Yield the lines of the table."""
    loads = sum(count for (how, _), count in found.items() if how != "question")
    yield f"{kitchens} kitchens, {loads} loads\n"
    yield "| | number | of the loads |"
    yield "| --- | --- | --- |"
    rows = {
        "right: kept, or asked with it among the answers": sum(
            count for (how, is_right), count in found.items() if is_right and how != "question"
        ),
        "kept by itself": found["kept", True] + found["kept", False],
        "questions, those about what is no piece with them": found["question", True],
        "asked, and it was neither": found["asked", False],
        "kept for the wrong piece or checkpoint": found["kept", False],
        "nothing said": found["nothing", False],
    }
    for name, count in rows.items():
        yield f"| {name} | {count} | {100 * count / max(1, loads):.2f}% |"


if __name__ == "__main__":
    given = [int(one) for one in sys.argv[1:] if one.isdigit()]
    number, since = [*given, *(100, 0)[len(given) :]]
    kind = Unruly if "unruly" in sys.argv else Kitchen
    print("\n".join(table(score(number, since, kind), number)))
