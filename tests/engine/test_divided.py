"""What is cut in two goes on: as cooked, as hot and as long cooling as the whole was."""

from __future__ import annotations

import pytest

from pitlogger.engine.state import MINUTE_MS
from pitlogger.model.cooks import Channel, Piece, Stage
from pitlogger.model.journal import ChannelAssigned, PieceSplit, SpotRead
from pitlogger.model.readings import Site

from .conftest import Kitchen
from .test_rules import ramp
from .test_taken_back import open_alerts

CORE = "brisket-1/core"


def cooked(kitchen: Kitchen) -> None:
    kitchen.stage(Stage.SMOKING)
    ramp(kitchen, 60, 204, 8, CORE)


def divide(kitchen: Kitchen) -> None:
    kitchen.say(PieceSplit("brisket-1", (Piece("point"), Piece("flat"))))
    kitchen.say(ChannelAssigned(Channel(CORE, Site.CORE, "flat")))


def test_cooling_that_began_in_the_whole_goes_on_in_its_parts() -> None:
    kitchen = Kitchen()
    cooked(kitchen)
    kitchen.stage(Stage.COOLING)
    ramp(kitchen, 204, 90, 1.5, CORE)  # below 135 F for half an hour and more
    whole = kitchen.engine.state.clocks["brisket-1"].cooling
    divide(kitchen)
    parts = [kitchen.engine.state.clocks[name].cooling for name in ("point", "flat")]
    begun_ms = whole.late_ms[0]
    assert begun_ms is not None
    assert [part.late_ms[0] for part in parts] == [pytest.approx(begun_ms, abs=MINUTE_MS)] * 2
    ramp(kitchen, 90, 75, 1.5, CORE)
    assert {"cooling-stage-1-late/flat", "cooling-stage-1-late/point"} <= open_alerts(
        kitchen
    ).keys()


def test_a_part_of_cooked_meat_that_nobody_marked_rings_when_it_falls() -> None:
    kitchen = Kitchen()
    cooked(kitchen)
    ramp(kitchen, 204, 138, 0.5, CORE)
    divide(kitchen)
    ramp(kitchen, 138, 120, 0.5, CORE)
    assert open_alerts(kitchen)["hot-hold-low/flat"] == "unacknowledged"


def test_a_late_hand_reading_leaves_a_part_its_past() -> None:
    kitchen = Kitchen()
    cooked(kitchen)
    kitchen.stage(Stage.COOLING)
    ramp(kitchen, 204, 90, 1.5, CORE)
    divide(kitchen)
    before = kitchen.engine.state.clocks["point"].cooling.late_ms
    kitchen.t_ms += 600_000
    kitchen.say(SpotRead(31_000, kitchen.t_ms - 300_000, "point"))
    assert kitchen.engine.state.clocks["point"].cooling.late_ms == before


def test_raw_parts_of_raw_meat_have_no_past() -> None:
    kitchen = Kitchen()
    divide(kitchen)
    kitchen.stage(Stage.SMOKING, "flat")
    ramp(kitchen, 60, 110, 1, CORE)
    ramp(kitchen, 110, 100, 0.3, CORE)
    assert "hot-hold-low/flat" not in open_alerts(kitchen)


def test_meat_that_may_have_been_cooked_while_its_probe_was_silent_rings_when_it_falls() -> None:
    kitchen = Kitchen()
    kitchen.stage(Stage.SMOKING)
    ramp(kitchen, 60, 131, 3, CORE)
    kitchen.t_ms += 5_400_000
    kitchen.wait(1)
    ramp(kitchen, 138, 137, 0.1, CORE)
    assert kitchen.engine.state.clocks["brisket-1"].lethality.met_ms is None
    ramp(kitchen, 137, 120, 0.5, CORE)
    assert open_alerts(kitchen)["hot-hold-low/brisket-1"] == "unacknowledged"
