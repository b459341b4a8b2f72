"""Scenarios: all can be read, changed by key, and are refused with their line when wrong."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from pitlogger.errors import UsageError
from pitlogger.formats.cook_file import parse_cook
from pitlogger_simulators.scenarios.scenario import DEFAULT, Scenario, load, names, read


def test_there_are_at_least_fourteen() -> None:
    assert len(names()) >= 14
    assert DEFAULT in names()


@pytest.mark.parametrize("name", names())
def test_each_says_what_it_is_about_and_carries_a_cook_file(name: str) -> None:
    scenario = load(name)
    assert scenario.file.title
    assert scenario.file.about
    assert parse_cook(scenario.cook_text) == scenario.cook


@pytest.mark.parametrize("name", names())
def test_none_calls_food_by_the_word_that_promises_too_much(name: str) -> None:
    assert "safe" not in read(name)[1].casefold().replace("-", " ").split()


@pytest.mark.parametrize(
    ("change", "value"),
    [
        ("seed=3", lambda made: made.file.seed == 3),
        ("pit.set=275F", lambda made: made.file.pit[0].set == 135_000),
        ("piece.butt.mass=4.1 kg", lambda made: made.cook.pieces[2].mass_mg == 4_100_000),
        ("cook.guests=60", lambda made: made.cook.guests == 60),
        ("scale.step=10 g", lambda made: made.file.scale[0].step == 10_000),
    ],
)
def test_a_value_is_changed_by_its_key(change: str, value: Callable[[Scenario], bool]) -> None:
    assert value(load(DEFAULT, [change]))


@pytest.mark.parametrize(
    ("change", "told"),
    [
        ("seed", "expected key=value"),
        ("piece.but.mass=4 kg", "did you mean 'butt'"),
        ("pot.set=250F", "did you mean 'pit'"),
        ("pit.sett=250F", "did you mean 'set'"),
        ("pit.set=250", "pit.0.set"),
    ],
)
def test_a_wrong_change_is_refused_with_what_was_meant(change: str, told: str) -> None:
    with pytest.raises(UsageError) as caught:
        load(DEFAULT, [change])
    assert told in str(caught.value)


def test_an_unknown_scenario_is_named_with_the_nearest() -> None:
    with pytest.raises(UsageError, match="did you mean 'harvest-supper'"):
        load("harvest-super")


def test_a_wrong_key_is_told_with_file_and_line(tmp_path: Path) -> None:
    file = tmp_path / "mine.toml"
    file.write_text(read(DEFAULT)[1].replace("notice =", "notise ="), encoding="utf-8")
    with pytest.raises(UsageError, match=r"mine\.toml:\d+: unknown key 'notise'"):
        load(str(file))


def test_a_step_for_a_piece_needs_one(tmp_path: Path) -> None:
    file = tmp_path / "mine.toml"
    extra = '\n[[script]]\nsteps = ["wrap paper"]\n'
    file.write_text(read(DEFAULT)[1] + extra, encoding="utf-8")
    with pytest.raises(UsageError, match="needs a piece"):
        load(str(file))
