"""Hold and cool: Newton's law, drawn to the readings."""

from __future__ import annotations

import csv
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from pitlogger.forecast.hold import HOT_LIMIT_C, Holding, Place, cooling, hold_left, time_to
from pitlogger.forecast.request import Series

DATA = Path(__file__).parent.parent / "data"


def falling(
    place: Place, tau_h: float, air_c: float, from_c: float, hours: float, every_s: float = 60.0
) -> Holding:
    """Return food that falls exponentially to the air about it for ``hours``."""
    t = np.arange(0.0, hours * 3600.0 + 1.0, every_s)
    core = air_c + (from_c - air_c) * np.exp(-t / 3600.0 / tau_h)
    return Holding(place, 0.0, float(t[-1]), Series(tuple(t), tuple(core)))


@pytest.mark.parametrize(("place", "tau_h"), [("box", 12.0), ("counter", 1.8), ("transport", 5.0)])
def test_the_readings_outvote_what_the_place_usually_does(place: Place, tau_h: float) -> None:
    holding = falling(place, tau_h, 22.0, 95.0, 1.0)
    level = holding.core.value_c[-1]
    truth_s = 3600.0 * tau_h * np.log((level - 22.0) / (HOT_LIMIT_C - 22.0))
    answer = hold_left(replace(holding, set_air_c=22.0))
    assert answer.p50_s == pytest.approx(truth_s, rel=0.2)
    assert answer.p10_s is not None
    assert answer.p90_s is not None
    assert answer.p10_s < truth_s < answer.p90_s


def test_a_box_just_filled_goes_by_what_boxes_do() -> None:
    answer = hold_left(falling("box", 9.6, 22.0, 92.0, 0.1))
    assert answer.p50_s == pytest.approx(3600.0 * 9.6 * np.log(70 / 35.2), rel=0.05)


def test_published_box_records_lie_inside_the_interval() -> None:
    with (DATA / "measured_cooks.csv").open(newline="") as file:
        rows = [row for row in csv.DictReader(file) if row["id"] in ("C01", "C03")]
    for name in ("C01", "C03"):
        (_, from_c), (hours, to_c) = (
            (float(row["hours"]), float(row["core_C"])) for row in rows if row["id"] == name
        )
        room_c = float(next(r for r in rows if r["id"] == name)["pit_or_ambient_C"])
        start = Holding("box", 0.0, 60.0, Series((0.0, 60.0), (from_c, from_c)), set_air_c=room_c)
        answer = time_to(start, to_c)
        assert answer.p10_s is not None
        assert answer.p90_s is not None
        assert answer.p10_s <= hours * 3600.0 <= answer.p90_s


def test_a_cabinet_over_the_limit_holds_for_ever() -> None:
    answer = hold_left(replace(falling("cabinet", 2.0, 68.0, 90.0, 1.0), set_air_c=68.0))
    assert answer.p50_s is None
    assert "keeps it over" in answer.reason


def test_food_under_the_limit_has_no_time_left() -> None:
    assert hold_left(falling("counter", 2.4, 22.0, 50.0, 0.5)).p50_s == 0


def test_no_readings_and_a_silent_probe_say_so() -> None:
    holding = falling("box", 9.6, 22.0, 92.0, 1.0)
    assert "no readings" in hold_left(replace(holding, core=Series())).reason
    assert "silent" in hold_left(replace(holding, now_s=holding.now_s + 3600.0)).reason


def test_slow_cooling_is_warned_of_while_there_is_time() -> None:
    told = cooling(falling("cold-room", 5.0, 4.0, 57.0, 1.0), from_s=0.0)
    assert told.will_miss
    assert told.p_stage_1 < 0.2
    assert "shallow pans" in told.advice


def test_quick_cooling_is_not_warned_of() -> None:
    told = cooling(falling("shallow-pan", 1.0, 1.0, 57.0, 0.8), from_s=0.0)
    assert not told.will_miss
    assert told.p_stage_1 > 0.8
    assert told.p_stage_2 > 0.5


def test_a_met_first_step_leaves_the_second_to_watch() -> None:
    told = cooling(falling("cold-room", 3.2, 4.4, 57.0, 5.0), from_s=0.0)
    assert told.stage_1.p50_s == 0
    assert told.will_miss
    assert told.advice.startswith("41 F")


def test_without_readings_cooling_does_not_cry_wolf() -> None:
    empty = Holding("cold-room", 0.0, 3600.0, Series())
    assert not cooling(empty, from_s=0.0).will_miss


@pytest.mark.parametrize("hours", [0.1, 0.5, 1.0, 2.0])
def test_shallow_pans_in_a_refrigerator_nobody_measures_are_not_cried_over(hours: float) -> None:
    """At 3 C and with the usual time constant both limits are met: nothing is to be said."""
    assert not cooling(falling("shallow-pan", 1.5, 3.0, 57.0, hours), from_s=0.0).will_miss
