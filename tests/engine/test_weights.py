"""Weights that nobody named: kept where that is sure and wanted, else asked about, or nothing."""

from __future__ import annotations

from dataclasses import replace

import pytest

from pitlogger.engine.buttons import Binding, press
from pitlogger.engine.feed import feed
from pitlogger.engine.inputs import Command
from pitlogger.engine.snapshot import dump_state, load_state
from pitlogger.engine.state import EngineState
from pitlogger.engine.step import Engine
from pitlogger.engine.watch.weights import ASK_AFTER_MS, weighing
from pitlogger.errors import UsageError
from pitlogger.inference.recogniser import StageProposal
from pitlogger.model.alerts import ACTIVE
from pitlogger.model.cooks import Channel, Stage
from pitlogger.model.journal import AlertActed, CookStarted, Tared, Undone, Weighed
from pitlogger.model.quantities import Quantity
from pitlogger.model.readings import Reading, Site
from pitlogger.rules.policies import StageFrom
from tests.engine.conftest import Kitchen

SCALE = Channel("bench", Site.BENCH, quantity=Quantity.MASS)
LIKELY, KEPT = "weight-likely/bench", "weight-kept/bench"
COOK = """
[cook]
name = "two"
[[piece]]
id = "a"
cut = "pork-butt"
mass = "3.62 kg"
[[piece]]
id = "b"
cut = "pork-butt"
mass = "4.90 kg"
"""


class Scale(Kitchen):
    """A kitchen with a scale whose loads are looked at."""

    def __init__(self, stage_from: StageFrom = "taken") -> None:
        super().__init__(None)
        policy = replace(self.engine.policy, stage_from=stage_from)
        self.engine = Engine(EngineState("r"), policy, channels=(SCALE,))
        self.say(_started())

    def load(self, mass_g: float, seconds: int = 5) -> None:
        for _ in range(seconds * 4):
            self.t_ms += 250
            self.feed(Reading("bench", self.t_ms, round(mass_g * 1000)))

    def ask(self) -> None:
        self.wait(ASK_AFTER_MS / 1000 + 2)

    def is_up(self, key: str) -> bool:
        watch = self.engine.state.watches.get(key)
        return watch is not None and watch.state in ACTIVE

    def weighed(self, piece: str) -> list[tuple[str, int, float | None]]:
        found = self.engine.book.pieces[piece].weighings
        return [(w.weighed.checkpoint, w.weighed.net_mg // 1000, w.weighed.p) for w in found]


def _started() -> CookStarted:
    from pitlogger.formats.cook_file import parse_cook

    return CookStarted(parse_cook(COOK))


def test_a_sure_weight_is_kept_with_its_chance_and_an_undo_for_ten_seconds() -> None:
    scale = Scale()
    scale.load(4905)
    ((checkpoint, net_g, chance),) = scale.weighed("b")
    assert (checkpoint, net_g) == ("purchased", 4905)
    assert chance is not None
    assert chance >= 0.995
    assert scale.is_up(KEPT)
    scale.wait(12)
    assert not scale.is_up(KEPT)


def test_an_undo_takes_it_back_and_it_is_not_kept_again() -> None:
    scale = Scale()
    scale.load(4905)
    (one,) = scale.engine.book.pieces["b"].weighings
    scale.say(Undone(*one.id))
    assert not scale.is_up(KEPT)
    scale.load(4905, 30)
    scale.ask()
    assert scale.weighed("b") == []


@pytest.mark.parametrize("stage_from", ["asked", "person"])
def test_nothing_is_kept_by_itself_where_that_was_not_chosen(stage_from: StageFrom) -> None:
    scale = Scale(stage_from)
    scale.load(4905)
    scale.ask()
    assert scale.weighed("b") == []
    assert scale.is_up(LIKELY) is (stage_from == "asked")


def test_what_is_not_sure_is_asked_with_the_two_likeliest() -> None:
    scale = Scale()
    scale.say(Weighed("a", "purchased", 4_850_000, 0, scale.t_ms))
    scale.say(Weighed("b", "purchased", 4_900_000, 0, scale.t_ms + 1))
    scale.t_ms += 3_600_000
    scale.load(4100)
    assert not scale.is_up(LIKELY)  # another piece may come that tells
    scale.ask()
    assert scale.is_up(LIKELY)
    found = scale.engine.weights.asked("bench")
    assert found is not None
    assert {one.piece for one in found[1]} == {"a", "b"}
    assert "a trimmed" in scale.engine.state.watches[LIKELY].message
    scale.say(replace(weighing(found[0], found[1][1]), confirmed=True))
    assert not scale.is_up(LIKELY)
    assert scale.engine.state.loads == []


def test_neither_drops_the_load_and_the_next_is_asked_about_anew() -> None:
    scale = Scale("asked")
    for _ in range(2):
        scale.load(4905)
        scale.ask()
        assert scale.is_up(LIKELY)
        scale.say(AlertActed(LIKELY, "answer", reason="neither"))
        scale.wait(2)
        assert not scale.is_up(LIKELY)
        scale.load(0)
        scale.wait(120)
    assert scale.weighed("b") == []


@pytest.mark.parametrize("mass_g", [150, 700, 30_000])
def test_a_bowl_or_a_crate_is_nothing(mass_g: int) -> None:
    scale = Scale()
    scale.load(mass_g)
    scale.ask()
    assert not scale.is_up(LIKELY)
    assert scale.weighed("a") == scale.weighed("b") == []


def test_a_cat_that_moves_is_nothing() -> None:
    scale = Scale()
    for at in range(60):
        scale.t_ms += 250
        scale.feed(Reading("bench", scale.t_ms, 4_900_000 + 40_000 * (at % 3)))
    scale.ask()
    assert scale.weighed("b") == []
    assert not scale.is_up(LIKELY)


def test_a_person_who_keeps_it_settles_it() -> None:
    scale = Scale("asked")
    scale.load(4905)
    scale.say(Weighed("b", "purchased", 4_905_000, 0, scale.t_ms, source="scale", channel="bench"))
    scale.ask()
    assert not scale.is_up(LIKELY)


def test_a_tray_put_down_first_and_a_tare_come_off() -> None:
    scale = Scale()
    scale.load(850)
    scale.load(850 + 4905)
    assert [net for _, net, _ in scale.weighed("b")] == [4905]
    scale.load(0)
    scale.say(Tared("bench", 412_000, "pan"))
    scale.load(412 + 3625)
    assert [net for _, net, _ in scale.weighed("a")] == [3625]


def test_lifted_and_put_back_is_one_weighing() -> None:
    scale = Scale()
    for _ in range(2):
        scale.load(4905)
        scale.load(0)
    scale.ask()
    assert len(scale.weighed("b")) == 1
    assert not scale.is_up(LIKELY)


def test_stopped_and_started_again_asks_as_if_it_had_not_stopped() -> None:
    scale = Scale("asked")
    scale.load(4905)
    again = Engine(
        load_state(dump_state(scale.engine.state)), scale.engine.policy, channels=(SCALE,)
    )
    for _ in feed(again, Command(scale.t_ms + ASK_AFTER_MS + 2000, Tared("deck", 0))):
        pass
    assert again.state.watches[LIKELY].state in ACTIVE


def test_what_was_kept_by_itself_teaches_nothing_until_it_is_confirmed() -> None:
    from pitlogger.yields.books import from_book

    scale = Scale()
    scale.load(4905)
    teaches = {one.piece: one.teaches for one in from_book(scale.engine.book)}
    assert teaches == {"a": True, "b": False}


def test_a_stage_that_was_denied_once_does_not_silence_later_questions() -> None:
    scale = Scale("asked")
    alerts = scale.engine.alerts
    alerts.tell("stage-likely", "a", scale.t_ms, True, "a: looks wrapped", piece="a")
    scale.say(AlertActed("stage-likely/a", "answer", reason="no"))
    alerts.tell("stage-likely", "a", scale.t_ms, False, piece="a")
    scale.engine.recognition._ask("a", None, scale.t_ms)
    alerts.tell("stage-likely", "a", scale.t_ms + 1000, True, "a: looks resting", piece="a")
    assert scale.is_up("stage-likely/a")


def test_a_button_says_yes_to_the_one_question_that_stands() -> None:
    scale = Scale("asked")
    assert not press(scale.engine, Binding("yes"), scale.t_ms, scale.feed)
    scale.load(4905)
    scale.ask()
    assert press(scale.engine, Binding("yes"), scale.t_ms, scale.feed)
    assert [net for _, net, _ in scale.weighed("b")] == [4905]


def two_alike(scale: Scale) -> None:
    """Let two pieces wait that nothing but their mass tells apart, and be asked about."""
    scale.say(Weighed("a", "purchased", 4_850_000, 0, scale.t_ms))
    scale.say(Weighed("b", "purchased", 4_900_000, 0, scale.t_ms + 1))
    scale.t_ms += 3_600_000
    for mass_g in (4080, 4110):
        scale.load(mass_g)
        scale.load(0)
        scale.wait(60)
    scale.ask()


def test_all_answers_for_every_load_that_waits() -> None:
    scale = Scale("asked")
    two_alike(scale)
    message = scale.engine.state.watches[LIKELY].message
    assert "a trimmed" in message
    assert "b trimmed: all so?" in message
    scale.say(AlertActed(LIKELY, "answer", reason="all"))
    scale.wait(2)
    assert [w[:2] for w in scale.weighed("a")][1:] == [("trimmed", 4080)]
    assert [w[:2] for w in scale.weighed("b")][1:] == [("trimmed", 4110)]
    assert not scale.is_up(LIKELY)
    held = scale.engine.book.pieces["a"].weighings[-1].weighed
    assert held.confirmed
    assert held.p is not None


def test_all_said_twice_enters_each_once() -> None:
    scale = Scale("asked")
    two_alike(scale)
    scale.say(AlertActed(LIKELY, "answer", reason="all"))
    with pytest.raises(UsageError, match="nothing to answer"):
        scale.say(AlertActed(LIKELY, "answer", reason="all"))
    scale.wait(2)
    assert [len(scale.weighed(piece)) for piece in "ab"] == [2, 2]


def test_a_button_says_yes_to_all_that_is_asked_together() -> None:
    scale = Scale("asked")
    two_alike(scale)
    assert press(scale.engine, Binding("yes"), scale.t_ms, scale.feed)
    scale.wait(2)
    assert [len(scale.weighed(piece)) for piece in "ab"] == [2, 2]


def test_no_two_loads_are_kept_as_one_piece() -> None:
    """Three alike, weighed one after the other: each is entered before the next is judged."""
    scale = Scale()
    for mass_g in (3621, 4902, 3950):
        scale.load(mass_g)
        scale.load(0)
        scale.wait(45)
    scale.ask()
    for piece in "ab":
        names = [name for name, _, _ in scale.weighed(piece)]
        assert len(names) == len(set(names))


def test_a_tray_that_is_filled_is_never_asked_about() -> None:
    scale = Scale("asked")
    scale.load(412)
    scale.load(412 + 4905)
    scale.load(0)
    scale.ask()
    found = scale.engine.weights.asked("bench")
    assert found is not None
    assert found[0].net_mg == 4_905_000
    assert len(scale.engine.state.loads) == 1


def test_a_button_agrees_to_no_stage_off_the_pit() -> None:
    scale = Scale("asked")
    scale.engine.alerts.tell("stage-likely", "a", scale.t_ms, True, "a: looks resting", piece="a")
    scale.engine.recognition.proposals["a"] = [StageProposal(Stage.RESTING, scale.t_ms, 0.97)]
    assert not press(scale.engine, Binding("yes"), scale.t_ms, scale.feed)
    assert scale.engine.book.pieces["a"].marks == []
    assert "answer on the page" in scale.engine.book.notes[-1][1].text


def test_a_load_exchanged_for_another_is_the_other_and_no_part_of_the_first() -> None:
    scale = Scale("asked")
    scale.load(4905)
    scale.say(Weighed("b", "purchased", 4_905_000, 0, scale.t_ms, source="scale", channel="bench"))
    scale.load(960)
    assert [one.net_mg for one in scale.engine.state.loads] == [960_000]


def two_waiting() -> Scale:
    scale = Scale()
    scale.say(Weighed("a", "purchased", 4_850_000, 0, scale.t_ms))
    scale.say(Weighed("b", "purchased", 4_900_000, 0, scale.t_ms + 1))
    scale.t_ms += 3_600_000
    for mass_g in (4_100, 4_105):
        scale.load(mass_g)
        scale.load(0)
        scale.wait(60)
    scale.ask()
    assert scale.is_up(LIKELY)
    return scale


def test_one_answer_names_all_loads_in_their_order() -> None:
    scale = two_waiting()
    scale.say(AlertActed(LIKELY, "answer", reason="b, a"))
    scale.wait(2)
    assert not scale.is_up(LIKELY)
    assert [row[:2] for row in scale.weighed("b")] == [("purchased", 4900), ("trimmed", 4100)]
    assert [row[:2] for row in scale.weighed("a")] == [("purchased", 4850), ("trimmed", 4105)]


def test_a_dash_is_no_piece() -> None:
    scale = two_waiting()
    scale.say(AlertActed(LIKELY, "answer", reason="-, a"))
    scale.wait(2)
    assert len(scale.weighed("b")) == 1
    assert scale.weighed("a")[-1][:2] == ("trimmed", 4105)
    assert scale.engine.state.loads == []


@pytest.mark.parametrize("answer", ["b", "b, c", "b, a, a", "a,", "", "b, a, -"])
def test_an_answer_that_names_no_piece_for_each_load_changes_nothing(answer: str) -> None:
    scale = two_waiting()
    with pytest.raises(UsageError):
        scale.say(AlertActed(LIKELY, "answer", reason=answer))
    scale.wait(2)
    assert scale.is_up(LIKELY)
    assert len(scale.engine.state.loads) == 2
