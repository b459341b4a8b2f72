"""The finish held against the service: late with its chance, early with how to hold."""

from __future__ import annotations

from pitlogger.clock import rfc3339
from pitlogger.engine.inputs import ForecastResult
from pitlogger.model.cooks import Stage
from pitlogger.model.journal import ForecastMade
from tests.engine.conftest import COOK, START_MS, Kitchen

HOUR_MS = 3_600_000
SERVED_H = 12
DELAY_S = 11 * 60  # finish-late and finish-early wait ten minutes


def kitchen_with_service() -> Kitchen:
    at = rfc3339(START_MS + SERVED_H * HOUR_MS)
    service = f'[[service]]\nat = "{at}"\ndrive_min = 30\n[[piece]]'
    kitchen = Kitchen(COOK.replace("[[piece]]", service, 1))
    kitchen.read(60.0)
    kitchen.stage(Stage.SMOKING)
    return kitchen


def foresee(kitchen: Kitchen, hours: float, target: str = "pull") -> None:
    """Hand in a forecast of the pull so many hours after the start, and let the delay pass."""
    middle_ms = START_MS + round(hours * HOUR_MS)
    made = ForecastMade(
        "brisket-1", target, 1.0, False, kitchen.t_ms,  # type: ignore[arg-type]
        middle_ms - HOUR_MS // 4, middle_ms, middle_ms + HOUR_MS // 4,
    )  # fmt: skip
    kitchen.wait(1)
    kitchen.feed(ForecastResult(kitchen.t_ms, made))
    kitchen.wait(DELAY_S)


def message(kitchen: Kitchen, kind: str) -> str:
    watch = kitchen.engine.state.watches.get(f"{kind}/brisket-1")
    return watch.message if watch is not None and watch.holds else ""


def test_a_pull_that_leaves_no_time_for_rest_and_drive_is_late() -> None:
    kitchen = kitchen_with_service()
    foresee(kitchen, 11.5)
    assert message(kitchen, "finish-late").startswith("brisket-1: off the pit 1 h late")
    assert message(kitchen, "finish-late").endswith("% likely in time")
    assert not message(kitchen, "finish-early")


def test_a_pull_long_before_is_early_and_told_how_to_hold() -> None:
    kitchen = kitchen_with_service()
    foresee(kitchen, 6.0)
    assert "early for service, hold it wrapped in a box" in message(kitchen, "finish-early")
    assert not message(kitchen, "finish-late")


def test_what_a_box_does_not_hold_so_long_goes_into_a_cabinet() -> None:
    kitchen = kitchen_with_service()
    foresee(kitchen, 3.0)
    assert "early for service, a box lasts about" in message(kitchen, "finish-early")


def test_a_forecast_of_the_wrap_is_no_finish() -> None:
    kitchen = kitchen_with_service()
    foresee(kitchen, 11.5, "wrap")
    assert not message(kitchen, "finish-late")


def test_the_pull_is_foreseen_while_the_wrap_still_lies_ahead() -> None:
    kitchen = kitchen_with_service()
    foresee(kitchen, 3.0, "wrap")
    foresee(kitchen, 11.5)
    assert message(kitchen, "finish-late")


def test_an_early_finish_that_sways_is_told_once() -> None:
    kitchen = kitchen_with_service()
    foresee(kitchen, 6.0)
    foresee(kitchen, 7.5)  # less than four hours early, more than two
    assert message(kitchen, "finish-early")
    foresee(kitchen, 9.5)
    assert not message(kitchen, "finish-early")
