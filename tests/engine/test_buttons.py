"""A press of a button: what it does, and what it says where it cannot."""

from __future__ import annotations

from typing import Any

import pytest

from pitlogger.bootstrap.devices import buttons
from pitlogger.config import parse_config
from pitlogger.engine.buttons import Binding, press
from pitlogger.errors import ConfigError
from pitlogger.model.alerts import AlertState
from pitlogger.model.cooks import Channel, Stage
from pitlogger.model.journal import AlertActed, Noted, StageSet, TroubleChanged, Weighed
from pitlogger.model.quantities import Quantity
from pitlogger.model.readings import Reading, Site
from tests.engine.conftest import Kitchen

SCALE = Channel("bench", Site.BENCH, quantity=Quantity.MASS)
TWO = """
[cook]
name = "two"
[[piece]]
id = "a"
cut = "pork-butt"
[[piece]]
id = "b"
cut = "pork-butt"
wrap_at = "never"
"""


def kitchen(cook: str | None = None) -> Kitchen:
    """A cook with a scale."""
    return Kitchen(channels=(SCALE,)) if cook is None else Kitchen(cook, (SCALE,))


def load(made: Kitchen, mass_g: int, seconds: int = 5) -> None:
    """Let something lie still on the scale."""
    for _ in range(seconds * 4):
        made.t_ms += 250
        made.feed(Reading("bench", made.t_ms, mass_g * 1000))


def pressed(made: Kitchen, act: Any, **named: str) -> list[Any]:
    """Press and return what was journalled by the button."""
    before = len(made.engine.state.entries)
    heard: list[Any] = []

    def feed(command: Any) -> None:
        made.feed(command)
        heard.append((command.body, command.by))

    press(made.engine, Binding(act, **named), made.t_ms, feed)
    assert len(made.engine.state.entries) >= before
    assert all(by == "button" for _, by in heard)
    return [body for body, _ in heard]


def test_a_press_keeps_the_steady_weight_at_the_checkpoint_of_the_stage() -> None:
    made = kitchen()
    made.stage(Stage.TRIMMED)
    load(made, 5125)
    (body,) = pressed(made, "keep-weight")
    assert isinstance(body, Weighed)
    assert (body.piece, body.checkpoint, body.net_mg) == ("brisket-1", "trimmed", 5_125_000)
    assert body.source == "scale"


def test_an_unsteady_scale_is_said_and_nothing_is_weighed() -> None:
    made = kitchen()
    load(made, 5125, seconds=1)
    (body,) = pressed(made, "keep-weight")
    assert isinstance(body, Noted)
    assert body.text.startswith("keep-weight was not done: 'bench' is not steady")


def test_a_press_sets_the_stage_that_follows() -> None:
    made = kitchen()
    made.stage(Stage.SEASONED)
    (body,) = pressed(made, "next-stage")
    assert isinstance(body, StageSet)
    assert made.engine.book.pieces["brisket-1"].stage is Stage.SMOKING


def test_a_piece_that_is_never_wrapped_goes_from_the_pit_to_rest() -> None:
    made = kitchen(TWO)
    made.stage(Stage.SMOKING, "b")
    (body,) = pressed(made, "next-stage", piece="b")
    assert isinstance(body, StageSet)
    assert body.stage is Stage.RESTING


def test_with_several_pieces_a_press_that_names_none_changes_nothing() -> None:
    made = kitchen(TWO)
    (body,) = pressed(made, "next-stage")
    assert isinstance(body, Noted)
    assert "2 pieces are followed" in body.text


def test_a_press_acknowledges_all_that_waits() -> None:
    made = kitchen()
    made.say(TroubleChanged("disk-low", "node", True, "the disk is nearly full"))
    bodies = pressed(made, "acknowledge")
    assert [type(body) for body in bodies] == [AlertActed]
    assert [w.state for w in made.engine.state.watches.values() if w.kind == "disk-low"] == [
        AlertState.ACKNOWLEDGED
    ]


def test_a_press_without_a_cook_says_so() -> None:
    made = Kitchen(None, (SCALE,))
    (body,) = pressed(made, "next-stage")
    assert isinstance(body, Noted)
    assert "no cook is running" in body.text


BUTTON = '[[device]]\nid = "b"\ndriver = "bthome"\naddress = "02:00:00:00:00:10"\n'


def test_each_kind_of_press_is_bound_by_itself() -> None:
    text = BUTTON + '[[device.button]]\npress = "keep-weight"\nlong = "acknowledge"\npiece = "a"\n'
    assert buttons(parse_config(text)) == {
        ("b", "button", 1): Binding("keep-weight", "a"),
        ("b", "button", 4): Binding("acknowledge", "a"),
    }


@pytest.mark.parametrize(
    ("lines", "message"),
    [("", "say what it does"), ('press = "keep-wait"\n', "keep-weight")],
)
def test_a_button_that_does_nothing_known_is_refused(lines: str, message: str) -> None:
    with pytest.raises(ConfigError, match=message):
        parse_config(BUTTON + "[[device.button]]\n" + lines)
