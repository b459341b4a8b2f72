"""A whole cook in ``taken``: what a person still has to tap, counted.

The cook is that of ``made.py`` (a plain heat flow); its piece is weighed as it comes in, after
the trim, as it comes off and when it is carved. Nobody marks a stage or names a weighing.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest

from pitlogger.bootstrap.policies import load_policy
from pitlogger.engine.feed import feed
from pitlogger.engine.inputs import Command
from pitlogger.engine.state import EngineState
from pitlogger.engine.step import Engine
from pitlogger.engine.watch.recognition import inferred
from pitlogger.engine.watch.weights import LIKELY
from pitlogger.formats.capture import parse_capture
from pitlogger.formats.cook_file import parse_cook
from pitlogger.model.alerts import ACTIVE
from pitlogger.model.cooks import Channel
from pitlogger.model.journal import AlertActed, Body, CookStarted
from pitlogger.model.quantities import Quantity
from pitlogger.model.readings import Reading, Site
from tests.inference.made import START_S, Made
from tests.inference.score import Cooked, Drawn, by_heat_flow, by_shells, followed

SCALE = Channel("bench", Site.BENCH, quantity=Quantity.MASS, settled=True)
PIECE = "brisket-1"


class Watched:
    """A cook in ``taken``; every answer that a person gives is counted."""

    def __init__(self, made: Made) -> None:
        self.made = made
        policy = replace(load_policy(), stage_from="taken")
        self.engine = Engine(EngineState("r"), policy, channels=(SCALE,))
        self.taps: list[str] = []

    def run(self) -> None:
        lines = [line.encode() for line in self.made.lines()]
        given = [one for one in parse_capture(lines) if isinstance(one, Reading)]
        given += self._loads()
        given.sort(key=lambda one: one.t_ms)
        cook = self.made.cook().replace(
            'cut = "brisket-packer"', 'cut = "brisket-packer"\nmass = "5.84 kg"'
        )
        self._say(CookStarted(parse_cook(cook)), given[0].t_ms)
        for one in given:
            self._feed(one)
            self._answer(one.t_ms)

    def _loads(self) -> list[Reading]:
        """Return what the scale shows: each load, then nothing."""
        truth = self.made.truth
        weighed = [
            (START_S + 120, 5835),
            (START_S + 1500, 4880),
            (truth["resting"] + 60, 3105),
            (truth["resting"] + self.made.rest_min * 60 - 600, 2790),
        ]
        return [
            Reading("bench", round(1000 * (at + after)), 1000 * mass_g, stable=True)
            for at, whole_g in weighed
            for after, mass_g in ((0, whole_g), (20, 0))
        ]

    def _answer(self, t_ms: int) -> None:
        """Say what is true to whatever is asked, with one tap each."""
        for watch in list(self.engine.state.watches.values()):
            if watch.state not in ACTIVE:
                continue
            if watch.kind == LIKELY:
                self.taps.append(watch.message)
                self._say(AlertActed(watch.key, "answer", reason="all"), t_ms)
            elif watch.kind == "stage-likely":
                self.taps.append(watch.message)
                found = self.engine.recognition.proposals[PIECE][-1]
                self._say(replace(inferred(PIECE, found), confirmed=True), t_ms)

    def _say(self, body: Body, t_ms: int) -> None:
        self._feed(Command(t_ms, body, "AB"))

    def _feed(self, given: Reading | Command) -> None:
        for _ in feed(self.engine, given):
            pass


@pytest.mark.parametrize("seed", [1, 4])
def test_a_whole_cook_needs_at_most_three_taps(seed: int) -> None:
    made = Made(seed, rest_min=90.0)
    made.lines()  # fills the truth
    cook = Watched(made)
    cook.run()
    held = cook.engine.book.pieces[PIECE]
    stages = {mark.stage.value: mark.at_ms / 1000 for mark in held.marks}
    for stage in ("smoking", "wrapped", "resting"):
        assert abs(stages[stage] - made.truth[stage]) < 300, stage
    weighed = {one.weighed.checkpoint: one.weighed.net_mg // 1000 for one in held.weighings}
    assert weighed == {"purchased": 5835, "trimmed": 4880, "off-pit": 3105, "carved": 2790}
    assert len(cook.taps) <= 3, cook.taps


@pytest.mark.parametrize(
    "draw",
    [lambda: Cooked(7).drawn(), lambda: by_heat_flow(6), lambda: by_shells(8)],
    ids=["plant", "heat flow", "shells"],
)
def test_a_cook_on_any_plant_needs_at_most_three_taps(draw: Callable[[], Drawn]) -> None:
    """What is asked about a weight is answered as it is; each question is a tap.

    That stages are told in time is the score's, over hundreds of cooks.
    """
    one = draw()
    run = followed(one, "taken")
    assert len(run.questions) <= 3, run.questions
    assert run.found.keys() == one.truth.keys()


def test_a_fire_that_goes_out_is_no_rest() -> None:
    """It burns again after an hour and a half; till its core feels that, the piece falls."""
    one = by_shells(50072)
    run = followed(one, "taken")
    assert abs(run.found["resting"][0] - one.truth["resting"]) < 300_000
