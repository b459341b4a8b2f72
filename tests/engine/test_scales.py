"""Which scale is meant, and that none is guessed."""

from __future__ import annotations

import pytest

from pitlogger.engine.beside import differing_bands
from pitlogger.engine.buttons import PRESSES
from pitlogger.engine.scales import only_scale
from pitlogger.errors import UsageError
from pitlogger.formats.cook_file import parse_cook
from pitlogger.model.cooks import Channel, Piece, Stage
from pitlogger.model.journal import PieceSplit, StageSet
from pitlogger.model.quantities import Quantity
from pitlogger.model.readings import Site
from tests.engine.conftest import Kitchen

BENCH = Channel("bench", Site.BENCH, quantity=Quantity.MASS)
BAND = '[cook]\nname = "other"\n[[piece]]\nid = "butt-1"\ncut = "pork-butt"\n[[channel]]\n'


def known(*channels: Channel) -> Kitchen:
    made = Kitchen(channels=channels)
    for channel in channels:
        made.engine.know(channel)
    return made


def test_one_scale_is_the_scale() -> None:
    made = known(BENCH)
    assert not made.engine.lanes or only_scale(made.engine) == "bench"


def test_without_a_scale_the_mass_is_typed() -> None:
    with pytest.raises(UsageError, match="no scale is connected: type the mass"):
        only_scale(known().engine)


def test_presses_have_the_codes_of_their_standard() -> None:
    # BTHome v2, object 0x3A: 0x01 press, 0x02 double press, 0x03 triple press, 0x04 long press.
    assert [PRESSES[code] for code in (1, 2, 3, 4)] == ["press", "double", "triple", "long"]


@pytest.mark.parametrize(
    ("band", "differs"),
    [
        ("", False),  # says nothing about it
        ('low = "225F"\nhigh = "275F"\n', True),
        ('low = "210F"\nhigh = "290F"\n', False),  # the same
    ],
)
def test_a_pit_is_asked_about_where_two_cooks_want_it_otherwise(band: str, differs: bool) -> None:
    made = Kitchen(
        '[cook]\nname = "one"\n[[piece]]\nid = "b"\ncut = "brisket-flat"\n[[channel]]\nid = "pit"\n'
        'site = "pit"\nlow = "210F"\nhigh = "290F"\n'
    )
    cook = parse_cook(f'{BAND}id = "pit"\nsite = "pit"\n{band}')
    assert bool(list(differing_bands(cook, made.engine.book))) is differs


def test_a_pit_without_a_band_is_not_asked_about() -> None:
    made = Kitchen()  # its pit has none
    cook = parse_cook(f'{BAND}id = "pit"\nsite = "pit"\nlow = "225F"\nhigh = "275F"\n')
    assert not list(differing_bands(cook, made.engine.book))


def test_a_piece_has_no_stage_from_the_moment_it_was_split() -> None:
    made = Kitchen()
    made.stage(Stage.SMOKING)
    made.t_ms += 60_000
    split_ms = made.t_ms
    made.say(
        PieceSplit("brisket-1", (Piece("flat", "brisket-flat"), Piece("point", "brisket-point")))
    )
    made.t_ms += 60_000
    made.say(StageSet("brisket-1", Stage.WRAPPED, split_ms - 1))
    with pytest.raises(UsageError, match="ended at"):
        made.say(StageSet("brisket-1", Stage.WRAPPED, split_ms))
