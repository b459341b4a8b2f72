"""Where the pieces of a schedule lie, and what is done when the fire fails."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from pitlogger.model.cooks import Piece
from pitlogger.planning.plan_b import plan_b
from pitlogger.planning.schedule_pits import place
from pitlogger.yields.timing.schedule import HOUR_MS, PieceTimes

NOON = datetime(2027, 6, 19, 12, tzinfo=UTC)
TIMES = PieceTimes(
    None, None, 0, HOUR_MS, 2 * HOUR_MS, 8 * HOUR_MS, 13 * HOUR_MS, 14 * HOUR_MS, 15 * HOUR_MS,
    16 * HOUR_MS, 1.0, 2.0,
)  # fmt: skip


def both(*cuts: str) -> list[tuple[Piece, PieceTimes]]:
    return [(Piece(f"{cut}-{number}", cut), TIMES) for number, cut in enumerate(cuts, 1)]


def test_two_pieces_that_each_fit_are_not_called_too_large() -> None:
    placed = place(both("brisket-packer", "pork-butt"), {"kettle": 1200.0})
    assert placed.notes[0].startswith("They do not fit all at once: about 1650 cm2")


def test_a_piece_larger_than_every_pit_is_named_alone() -> None:
    placed = place(both("brisket-packer", "pork-butt"), {"kettle": 700.0, "drum": 800.0})
    assert placed.notes == ("No pit is large enough for brisket-packer-1.",)


def test_a_piece_as_large_as_its_pit_fits() -> None:
    placed = place(both("brisket-packer"), {"kettle": 1100.0})
    assert (placed.pits, placed.notes) == ({"brisket-packer-1": "kettle"}, ())


@pytest.mark.parametrize(("pits", "place_"), [(0, "into an oven"), (1, "into another pit")])
def test_where_the_fire_fails_the_meat_goes_where_there_is_a_fire(pits: int, place_: str) -> None:
    at = {
        name: NOON + timedelta(hours=h)
        for name, h in (("light_by", 0), ("off_about", 12), ("off_by", 13), ("leave_by", 15))
    }
    piece = type("Timed", (), {"piece": "brisket-1", "wrap_about": None, **at})()
    first = plan_b([piece], pits)[0]
    assert first.at == NOON + timedelta(hours=1)
    assert place_ in first.then
