"""The lines of a script: triggers, verbs, values, and what is said of those that are wrong."""

from __future__ import annotations

from datetime import datetime

import pytest

from pitlogger.errors import QuantityError, UsageError
from pitlogger_simulators.people.moments import moment_ms
from pitlogger_simulators.people.steps import ScriptStep, parse_step
from pitlogger_simulators.people.verbs import Amount

START = datetime.fromisoformat("2026-09-19T02:00:00-05:00")
START_MS = round(START.timestamp() * 1000)
HOUR_MS = 3_600_000


def step(line: str) -> ScriptStep:
    return parse_step(line, START)


def test_a_step_without_a_trigger_follows_at_once() -> None:
    found = step("weigh trimmed in tray preset tare")
    assert found.clauses == ()
    assert found.arguments == {"checkpoint": "trimmed", "container": "tray", "tare": "preset"}


def test_what_is_left_out_is_left_to_the_activity() -> None:
    assert step("weigh rested").arguments == {"checkpoint": "rested"}
    assert step("weigh rested in pan").arguments == {"checkpoint": "rested", "container": "pan"}


def test_any_of_several_reasons_will_do_and_time_passes_after_it() -> None:
    found = step("when wrap-due or core 170F, +10 min: wrap paper")
    assert [clause.kind for clause in found.clauses] == ["alert", "core"]
    assert found.clauses[1].core_c == pytest.approx(76.667, abs=0.001)
    assert found.delay_ms == 600_000
    assert found.arguments == {"kind": "paper"}


def test_an_alert_may_name_another_subject() -> None:
    (clause,) = step("when channel-stale brisket-1/core: take temp").clauses
    assert (clause.word, clause.subject) == ("channel-stale", "brisket-1/core")


def test_another_script_can_be_waited_for() -> None:
    (clause,) = step("when butt-1 done: pool butt-1, butt-2 as pork").clauses
    assert (clause.kind, clause.word) == ("done", "butt-1")


@pytest.mark.parametrize(
    ("line", "arguments"),
    [
        ("trim 14 %", {"amount": Amount(share=0.14)}),
        ("season 55 g", {"amount": Amount(grams=55.0)}),
        ("mistype trim-fat by -200 g", {"checkpoint": "trim-fat", "error": -200.0}),
        ("sleep 3 h 30 min deeply", {"seconds": 12_600.0, "deeply": "deeply"}),
        ("tell resting 20 min ago", {"stage": "resting", "ago": 1_200.0}),
        ("split into a=38 %, b=62 %", {"shares": {"a": 0.38, "b": 0.62}}),
        ("put on pit leaving out x, y", {"pit": "pit", "forgotten": ("x", "y")}),
        ("weather 4 m/s rain", {"wind_m_s": 4.0, "rain": "rain"}),
    ],
)
def test_values_are_read_with_their_units(line: str, arguments: dict[str, object]) -> None:
    assert step(line).arguments == arguments


@pytest.mark.parametrize(
    ("text", "after_ms"),
    [
        ("+6 h 30 min", 6.5 * HOUR_MS),
        ("22:30", 20.5 * HOUR_MS),
        ("01:00", 23 * HOUR_MS),
        ("03:00 + 1 d", 25 * HOUR_MS),
        ("2026-09-19T03:00:00-05:00", HOUR_MS),
    ],
)
def test_a_moment_is_after_the_start(text: str, after_ms: float) -> None:
    assert moment_ms(text, START) == START_MS + after_ms


@pytest.mark.parametrize("text", ["soon", "25:00", "2026-09-19T03:00:00"])
def test_a_moment_that_is_none_is_refused(text: str) -> None:
    with pytest.raises(QuantityError, match="is no moment"):
        moment_ms(text, START)


@pytest.mark.parametrize(
    ("line", "told"),
    [
        ("wiegh trimmed", "did you mean 'weigh'"),
        ("when wrap-deu: wrap paper", "did you mean 'wrap-due'"),
        ("wehn wrap-due: wrap paper", "did you mean 'when'"),
        ("weigh", "known: weigh {checkpoint:word}"),
        ("split into a=30 %, b=30 %", "add up to 60 %"),
        ("trim 130 %", "0 to 100 %"),
    ],
)
def test_a_wrong_line_is_named_with_what_was_meant(line: str, told: str) -> None:
    with pytest.raises(UsageError, match="step") as caught:
        step(line)
    assert told in str(caught.value)
