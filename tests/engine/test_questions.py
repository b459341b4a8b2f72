"""What a forecast is asked, as the engine stands."""

from __future__ import annotations

from pitlogger.engine.forecasts.exchange import finished, question
from pitlogger.engine.inputs import ForecastRequest
from pitlogger.model.cooks import Stage
from pitlogger.model.journal import ForecastTaught, LocalScore
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
