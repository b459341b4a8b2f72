"""Short of meat: told at a weighing, by how much, and what still helps."""

import pytest

from pitlogger.bootstrap.engines import new_engine
from pitlogger.engine.feed import feed
from pitlogger.engine.inputs import Command
from pitlogger.engine.restart import as_inputs
from pitlogger.errors import CookFileError
from pitlogger.formats.cook_file import parse_cook
from pitlogger.model.journal import AlertChanged, Corrected, Entry, Weighed

from .conftest import Kitchen


def cook(guests: int, portion: str = "", mass: str = 'mass = "6.4 kg"') -> str:
    return f"""
[cook]
name = "supper"
guests = {guests}
{portion}
[[piece]]
id = "one"
cut = "brisket-packer"
{mass}
[[piece]]
id = "two"
cut = "brisket-packer"
{mass}
"""


def weigh(kitchen: Kitchen, grams: int, checkpoint: str = "at-wrap", piece: str = "one") -> None:
    kitchen.say(Weighed(piece, checkpoint, grams * 1000, 0, kitchen.t_ms))


def raised(kitchen: Kitchen) -> list[AlertChanged]:
    return [
        entry.body
        for entry in kitchen.entries()
        if isinstance(entry.body, AlertChanged) and entry.body.alert_kind == "short-of-meat"
    ]


def test_too_little_at_the_wrap_is_told_with_what_still_helps() -> None:
    kitchen = Kitchen(cook(70))
    weigh(kitchen, 4200)
    (alert,) = raised(kitchen)
    assert "for 70 guests at 4 oz each" in alert.message
    assert "of served meat short" in alert.message
    assert alert.remedy.startswith("What still helps, each by itself: ")
    assert "buy in" in alert.remedy


def test_enough_meat_is_not_told() -> None:
    kitchen = Kitchen(cook(30))
    weigh(kitchen, 4200)
    weigh(kitchen, 4000, piece="two")
    assert raised(kitchen) == []


def test_the_portion_of_the_cook_file_decides() -> None:
    kitchen = Kitchen(cook(45, 'portion = "7 oz"'))
    weigh(kitchen, 4200)
    assert len(raised(kitchen)) == 1
    kitchen = Kitchen(cook(45, 'portion = "3 oz"'))
    weigh(kitchen, 4200)
    assert raised(kitchen) == []


def test_a_corrected_weighing_takes_it_back() -> None:
    kitchen = Kitchen(cook(40))
    weigh(kitchen, 420)
    assert len(raised(kitchen)) == 1
    entry = next(e for e in kitchen.entries() if isinstance(e.body, Weighed))
    right = Weighed("one", "at-wrap", 4_200_000, 0, kitchen.t_ms)
    kitchen.say(Corrected(entry.run, entry.seq, right))
    assert raised(kitchen)[-1].now == "returned-unacknowledged"


def test_nothing_is_said_where_a_piece_has_no_mass_or_nobody_is_asked() -> None:
    for text in (cook(500, mass=""), cook(500).replace("guests = 500", "")):
        kitchen = Kitchen(text)
        weigh(kitchen, 4200)
        assert raised(kitchen) == []


def test_a_weighing_before_the_fire_is_for_the_plan() -> None:
    kitchen = Kitchen(cook(70))
    weigh(kitchen, 6400, "purchased")
    assert raised(kitchen) == []


def test_a_replay_tells_the_same() -> None:
    kitchen = Kitchen(cook(70))
    weigh(kitchen, 4200)
    weigh(kitchen, 4100, piece="two")
    again = new_engine("r")
    outputs = [
        output
        for given in as_inputs(kitchen.entries())
        if isinstance(given, Command)
        for out in feed(again, given)
        for output in out
        if isinstance(output, Entry)
    ]
    assert outputs == kitchen.entries()


def test_a_portion_of_nothing_is_refused() -> None:
    with pytest.raises(CookFileError, match="portion"):
        parse_cook(cook(5, 'portion = "0 g"'))
