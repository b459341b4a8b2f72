"""Spritz, water pan and fuel: off unless wanted, due again so long after they were done."""

from pathlib import Path

import pytest

from pitlogger.bootstrap.policies import load_policy
from pitlogger.engine.inputs import Command
from pitlogger.engine.snapshot import dump_state, load_state
from pitlogger.engine.state import EngineState
from pitlogger.engine.step import Engine
from pitlogger.errors import ConfigError, CookFileError
from pitlogger.formats.cook_file import parse_cook
from pitlogger.formats.journal_json import dump_body, load_body
from pitlogger.model.cooks import Stage
from pitlogger.model.journal import AlertActed, AlertChanged, CookStarted, Entry

from .conftest import COOK, Kitchen

TIMED = COOK + '[timers]\nfuel = "50 min"\nspritz = "45 min"\n'


def due(kitchen: Kitchen, subject: str) -> list[tuple[int, str]]:
    """Return (minute, state) of a routine's alert."""
    watch = kitchen.engine.state.watches.get(f"check-due/{subject}")
    changes = [
        (entry.t_ms, entry.body.now.value)
        for entry in kitchen.entries()
        if watch is not None
        and isinstance(entry.body, AlertChanged)
        and entry.body.alert == watch.key
    ]
    start_ms = kitchen.entries()[0].t_ms
    return [((t_ms - start_ms) // 60_000, state) for t_ms, state in changes]


def test_no_timer_runs_by_itself(kitchen: Kitchen) -> None:
    kitchen.stage(Stage.SMOKING)
    kitchen.wait(6 * 3600)
    assert kitchen.alerts("check-due") == []


def test_fuel_is_asked_for_and_again_so_long_after_it_was_done() -> None:
    kitchen = Kitchen(TIMED)
    kitchen.stage(Stage.SMOKING)
    kitchen.wait(60 * 60)
    assert due(kitchen, "pit@fuel") == [(50, "unacknowledged")]
    kitchen.say(AlertActed("check-due/pit@fuel", "acknowledge"), by="AB")
    kitchen.wait(49 * 60)
    assert due(kitchen, "pit@fuel")[1:] == [(60, "acknowledged"), (60, "normal")]
    kitchen.wait(2 * 60)
    assert due(kitchen, "pit@fuel")[-1] == (110, "unacknowledged")


def test_left_alone_it_asks_once() -> None:
    kitchen = Kitchen(TIMED)
    kitchen.stage(Stage.SMOKING)
    kitchen.wait(5 * 3600)
    assert len(due(kitchen, "pit@fuel")) == 1


def test_a_wrapped_piece_is_not_spritzed() -> None:
    kitchen = Kitchen(TIMED)
    kitchen.stage(Stage.SMOKING)
    kitchen.wait(121 * 60)
    assert due(kitchen, "brisket-1@spritz") == [(120, "unacknowledged")]
    kitchen.stage(Stage.WRAPPED)
    kitchen.wait(120)
    assert due(kitchen, "brisket-1@spritz")[-1][1] == "normal"
    assert [state for _, state in due(kitchen, "pit@fuel")] == ["unacknowledged"]


def test_timers_survive_a_restart() -> None:
    kitchen = Kitchen(TIMED)
    kitchen.stage(Stage.SMOKING)
    kitchen.wait(30 * 60)
    state = load_state(dump_state(kitchen.engine.state))
    kitchen.engine = Engine(state, kitchen.engine.policy)
    kitchen.wait(21 * 60)
    assert due(kitchen, "pit@fuel") == [(50, "unacknowledged")]


def test_a_file_of_ones_own_switches_a_timer_on_and_the_cook_file_off(tmp_path: Path) -> None:
    own = tmp_path / "timers.toml"
    own.write_text('[water-pan]\nevery = "2 h"\n', encoding="utf-8")
    policy = load_policy(own_timers=own)
    assert policy.timer_every_ms("water-pan", parse_cook(COOK)) == 7_200_000
    assert policy.timer_every_ms("fuel", parse_cook(COOK)) is None
    off = parse_cook(COOK + '[timers]\nwater-pan = "off"\n')
    assert policy.timer_every_ms("water-pan", off) is None
    assert policy.timers["water-pan"].source == "common practice, no source"


def test_an_unknown_timer_is_told_with_its_line(tmp_path: Path) -> None:
    own = tmp_path / "timers.toml"
    own.write_text('[spritzing]\nevery = "2 h"\n', encoding="utf-8")
    with pytest.raises(ConfigError, match=r"timers\.toml:1.*did you mean 'spritz'"):
        load_policy(own_timers=own)
    with pytest.raises(CookFileError, match="spritzz"):
        parse_cook(COOK + '[timers]\nspritzz = "1 h"\n')
    with pytest.raises(CookFileError, match="every minute at the most"):
        parse_cook(COOK + '[timers]\nspritz = "1 s"\n')


def test_a_cooks_timers_are_in_its_journal() -> None:
    engine = Engine(EngineState("r"), load_policy())
    started = CookStarted(parse_cook(TIMED))
    entry = next(e for e in engine.step(Command(1, started)) if isinstance(e, Entry))
    assert load_body(dump_body(entry.body)) == started
