"""What a forecast is asked, as the engine stands."""

from __future__ import annotations

from pitlogger.engine.forecasts.exchange import finished, question, result
from pitlogger.engine.inputs import ForecastRequest
from pitlogger.forecast.finish import forecast
from pitlogger.model.cooks import Stage
from pitlogger.model.journal import ForecastMade, ForecastTaught, LocalScore, SpotRead
from pitlogger.model.quantities import milli_c_from_fahrenheit
from tests.engine.conftest import Kitchen


def asked(kitchen: Kitchen) -> ForecastRequest:
    return ForecastRequest("brisket-1", "pull", kitchen.t_ms, kitchen.t_ms + 30_000)


def test_where_the_lead_is_silent_the_next_core_is_asked_about() -> None:
    kitchen = Kitchen()
    for _ in range(10):
        kitchen.hold(120.0, 30)
        kitchen.read(110.0, "brisket-1/point")
    level = milli_c_from_fahrenheit(120.0) / 1000
    assert abs(question(kitchen.engine, asked(kitchen)).core.value_c[-1] - level) < 0.1
    for _ in range(20):
        kitchen.wait(30)
        kitchen.read(111.0, "brisket-1/point")
    level = milli_c_from_fahrenheit(111.0) / 1000
    assert abs(question(kitchen.engine, asked(kitchen)).core.value_c[-1] - level) < 0.3


def test_what_earlier_cooks_taught_goes_with_the_question_until_the_next_cook() -> None:
    kitchen = Kitchen()
    kitchen.read(60.0)
    taught = (LocalScore("earlier", "brisket", 0.3),)
    kitchen.say(ForecastTaught(taught))
    assert question(kitchen.engine, asked(kitchen)).local == taught
    kitchen.engine.state.forget_cook()
    assert kitchen.engine.state.taught == ()


def cooked_to(top_f: float) -> Kitchen:
    """Return a cook whose piece was taken off at a temperature."""
    kitchen = Kitchen()
    kitchen.read(60.0)
    kitchen.stage(Stage.SMOKING)
    for minute in range(240):
        kitchen.hold(60.0 + (top_f - 60.0) * minute / 239, 1)
        kitchen.wait(59)
    kitchen.stage(Stage.RESTING)
    return kitchen


def test_a_piece_taken_off_short_of_its_target_is_judged_by_what_it_came_to() -> None:
    ((request, reached_s),) = finished(cooked_to(195.0).engine, "")
    assert abs(request.target_c - 90.5) < 1.0
    assert request.on_pit_s is not None
    assert 3.8 < (reached_s - request.on_pit_s) / 3600 <= 4.0
    assert request.local == ()


def test_a_piece_taken_off_past_its_target_is_judged_by_its_target() -> None:
    ((request, _),) = finished(cooked_to(209.0).engine, "")
    assert abs(request.target_c - 95.0) < 0.1


def test_a_piece_that_never_was_hot_teaches_nothing() -> None:
    assert finished(cooked_to(120.0).engine, "") == []


NO_PROBE = """
[cook]
name = "harvest supper"
[[piece]]
id = "brisket-1"
cut = "brisket-packer"
pull_at = "203F"
"""


def by_hand(kitchen: Kitchen, fahrenheit: float, *, timed: str = "live") -> None:
    value_mc = milli_c_from_fahrenheit(fahrenheit)
    kitchen.say(SpotRead(value_mc, kitchen.t_ms, "brisket-1", timed=timed))  # type: ignore[arg-type]


def targets(kitchen: Kitchen) -> set[str]:
    """Return what was forecast or found impossible to say since the kitchen began."""
    return {
        f"{body.target}:{body.p50_ms is not None}"
        for output in kitchen.out
        if isinstance(output, ForecastRequest)
        for body in [result(output, forecast(question(kitchen.engine, output))).body]
        if isinstance(body, ForecastMade)
    }


def test_a_piece_without_a_probe_is_forecast_from_three_hand_readings() -> None:
    kitchen = Kitchen(NO_PROBE)
    kitchen.stage(Stage.SMOKING)
    for level in (60.0, 100.0):
        by_hand(kitchen, level)
        kitchen.wait(2400)
    assert targets(kitchen) == set()
    by_hand(kitchen, 128.0)
    kitchen.wait(660)
    assert "pull:True" in targets(kitchen)


def test_hand_readings_of_an_unknown_time_make_no_forecast() -> None:
    kitchen = Kitchen(NO_PROBE)
    kitchen.stage(Stage.SMOKING)
    for level in (60.0, 100.0, 128.0):
        by_hand(kitchen, level, timed="unrecorded")
        kitchen.wait(1200)
    assert targets(kitchen) == set()


def test_hand_readings_go_on_where_the_probe_died() -> None:
    kitchen = Kitchen()
    kitchen.stage(Stage.SMOKING)
    for minute in range(60):
        kitchen.hold(60.0 + minute, 1)
        kitchen.wait(59)
    kitchen.wait(1800)
    by_hand(kitchen, 135.0)
    request = question(kitchen.engine, asked(kitchen))
    assert request.by_hand
    assert len(request.core.t_s) > 50
    assert abs(request.core.value_c[-1] - 57.2) < 0.1


def test_a_probe_that_answers_is_not_mixed_with_hand_readings() -> None:
    kitchen = Kitchen()
    kitchen.stage(Stage.SMOKING)
    kitchen.hold(120.0, 120)
    by_hand(kitchen, 100.0)
    kitchen.hold(120.0, 120)
    request = question(kitchen.engine, asked(kitchen))
    assert not request.by_hand
    assert min(request.core.value_c) > 48.0
