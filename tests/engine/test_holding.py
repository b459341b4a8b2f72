"""Where food off the pit stands: told by its stage and by the air around it."""

from __future__ import annotations

import pytest

from pitlogger.engine.watch.holding import holding
from pitlogger.model.cooks import Stage
from tests.engine.conftest import COOK, Kitchen

WITH_PLACES = COOK + (
    '[[channel]]\nid = "cabinet"\nsite = "hold"\n[[channel]]\nid = "van"\nsite = "transport"\n'
    '[[channel]]\nid = "cooler"\nsite = "cold"\n'
)


def place(kitchen: Kitchen, stage: Stage) -> tuple[str, float | None]:
    """Return where the piece counts as standing, and the last air measured there."""
    kitchen.stage(stage)
    held = kitchen.engine.book.pieces["brisket-1"]
    core = kitchen.engine.state.channels["brisket-1/core"]
    found = holding(held, core, kitchen.engine.lanes.values(), kitchen.t_ms)
    return found.place, found.air.value_c[-1] if len(found.air.value_c) else None


def hot(cook: str = COOK) -> Kitchen:
    kitchen = Kitchen(cook)
    kitchen.hold(200.0, 130)
    kitchen.stage(Stage.SMOKING)
    return kitchen


@pytest.mark.parametrize(
    ("stage", "expected"),
    [
        (Stage.RESTING, "counter"),
        (Stage.HOLDING, "box"),
        (Stage.IN_TRANSIT, "transport"),
        (Stage.SERVING, "counter"),
        (Stage.COOLING, "shallow-pan"),
    ],
)
def test_the_stage_tells_the_place(stage: Stage, expected: str) -> None:
    assert place(hot(), stage) == (expected, None)


def test_hot_air_where_it_is_held_makes_it_a_cabinet() -> None:
    kitchen = hot(WITH_PLACES)
    kitchen.hold(150.0, 130, "cabinet")
    found, air_c = place(kitchen, Stage.HOLDING)
    assert found == "cabinet"
    assert air_c == pytest.approx(65.6, abs=0.1)


def test_a_box_with_a_probe_in_its_air_stays_a_box() -> None:
    kitchen = hot(WITH_PLACES)
    kitchen.hold(95.0, 130, "cabinet")
    assert place(kitchen, Stage.HOLDING)[0] == "box"


def test_the_air_of_another_place_does_not_count() -> None:
    kitchen = hot(WITH_PLACES)
    kitchen.hold(150.0, 130, "cabinet")
    assert place(kitchen, Stage.IN_TRANSIT) == ("transport", None)
