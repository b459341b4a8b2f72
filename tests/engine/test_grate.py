"""A load cell under a grate, through the engine: on the pit, wrap and off the pit by themselves."""

from __future__ import annotations

from dataclasses import replace

from pitlogger.engine.state import EngineState
from pitlogger.engine.step import Engine
from pitlogger.engine.watch.weights import ASK_AFTER_MS
from pitlogger.formats.cook_file import parse_cook
from pitlogger.model.cooks import Channel
from pitlogger.model.journal import CookStarted, Weighed
from pitlogger.model.readings import Reading, Site
from pitlogger.rules.policies import StageFrom
from tests.engine.conftest import Kitchen

COOK = """
[cook]
name = "cell"
guests = 90
[[piece]]
id = "a"
cut = "brisket-packer"
mass = "6.3 kg"
wrap = "paper"
[[piece]]
id = "b"
cut = "pork-butt"
mass = "3.5 kg"
"""


class Cell(Kitchen):
    def __init__(self, piece: str | None, stage_from: StageFrom = "taken") -> None:
        super().__init__(None)
        policy = replace(self.engine.policy, stage_from=stage_from)
        grate = Channel("grate", Site.GRATE, piece)
        self.engine = Engine(EngineState("r"), policy, channels=(grate,))
        cook = parse_cook(COOK)
        self.say(CookStarted(replace(cook, channels=(grate,))))
        self.say(Weighed("a", "trimmed", 5_200_000, 0, self.t_ms))
        self.say(Weighed("b", "trimmed", 3_300_000, 0, self.t_ms))

    def lie(self, mass_g: float, minutes: float) -> None:
        for _ in range(round(minutes * 30)):
            self.t_ms += 2000
            self.feed(Reading("grate", self.t_ms, round(mass_g * 1000)))

    def cook_it(self) -> None:
        self.lie(0, 5)
        self.lie(5230, 5)
        for gone_g in range(0, 1300, 10):
            self.lie(5230 - gone_g, 1)
        self.lie(0, 4)
        for gone_g in range(0, 400, 5):
            self.lie(3975 - gone_g, 1)
        self.lie(0, 12 + ASK_AFTER_MS / 60_000)

    def masses(self, piece: str) -> dict[str, int]:
        found = self.engine.book.pieces[piece].weighings
        return {w.weighed.checkpoint: w.weighed.net_mg // 1000 for w in found}


def test_a_piece_on_its_own_load_cell_is_weighed_without_a_hand() -> None:
    cell = Cell("a")
    cell.cook_it()
    assert cell.masses("a") == {"trimmed": 5200, "on-pit": 5230, "at-wrap": 3940, "off-pit": 3545}
    assert cell.masses("b") == {"trimmed": 3300}
    assert "short-of-meat/node" in cell.engine.state.watches


def test_which_piece_it_is_shows_in_its_mass() -> None:
    cell = Cell(None)
    cell.cook_it()
    assert cell.masses("a")["on-pit"] == 5230
    assert cell.masses("b") == {"trimmed": 3300}


def test_nothing_is_kept_where_it_is_to_be_asked() -> None:
    cell = Cell("a", "asked")
    cell.cook_it()
    assert cell.masses("a") == {"trimmed": 5200}
    assert cell.engine.state.watches["weight-likely/grate"].holds
    assert cell.engine.state.grates["grate"].put_on_mg == 0


def test_a_cat_on_the_grate_is_no_piece() -> None:
    cell = Cell("a")
    cell.lie(0, 5)
    cell.lie(2850, 20)
    cell.lie(0, 20)
    assert cell.masses("a") == {"trimmed": 5200}
