"""Steady weight. Rows: ``stable_weight_examples.csv``, after OIML R 76-1, 4.4.2."""

import csv
from pathlib import Path

import pytest

from pitlogger.pipeline.steady import Steadiness, is_steady

DATA = Path(__file__).parents[1] / "data" / "stable_weight_examples.csv"


@pytest.mark.parametrize(
    "row",
    list(csv.DictReader(DATA.read_text(encoding="utf-8").splitlines())),
    ids=lambda r: r["case"],
)
def test_the_span_of_the_window_decides(row: dict[str, str]) -> None:
    readings = [int(text) for text in row["readings_g"].split(";")]
    assert is_steady(readings, int(row["e_g"])) is (row["stable_within_1e"] == "yes")


def fed(values_g: list[float], every_ms: int = 500, stable: bool | None = None) -> Steadiness:
    steadiness = Steadiness(interval_mg=5_000)
    for index, grams in enumerate(values_g):
        steadiness.update(index * every_ms, round(grams * 1000), stable)
    return steadiness


def test_a_resting_load_is_steady_at_its_median() -> None:
    assert fed([3565, 3570, 3565, 3565, 3570, 3565, 3565]).steady_mg == 3_565_000


def test_six_readings_within_a_second_are_not_enough() -> None:
    assert fed([3565] * 6, every_ms=100).steady_mg is None
    assert fed([3565] * 30, every_ms=100).steady_mg == 3_565_000


def test_a_piece_that_drips_one_interval_at_a_time_is_never_steady() -> None:
    assert fed([3600 - 5 * n for n in range(20)]).steady_mg is None


def test_the_scales_own_word_for_moving_rules_steadiness_out() -> None:
    assert fed([3565] * 10, stable=False).steady_mg is None
    assert fed([3565] * 10, stable=True).steady_mg == 3_565_000


def test_the_result_of_a_scale_that_waits_itself_is_steady_at_once() -> None:
    steadiness = Steadiness(settled=True)
    assert steadiness.update(0, 3_565_000, None)
    assert not steadiness.update(60_000, 3_565_000, None)
    assert steadiness.update(90_000, 4_100_000, None)
    assert steadiness.steady_mg == 4_100_000


def test_a_slow_scale_is_steady_too() -> None:
    assert fed([3565] * 6, every_ms=3000).steady_mg == 3_565_000


def test_a_pause_starts_the_window_anew() -> None:
    steadiness = fed([3565] * 10)
    steadiness.update(60_000, 3_565_000, None)
    assert steadiness.steady_mg is None


def test_a_new_load_ends_the_old_steady_mass() -> None:
    steadiness = fed([3565] * 10)
    assert steadiness.update(5_500, 9_000_000, None)
    assert steadiness.steady_mg is None


@pytest.mark.parametrize(("values", "least"), [([3565] * 10, 1.0), ([3565, 3800, 3565], 0.0)])
def test_the_bar_fills_as_the_load_settles(values: list[float], least: float) -> None:
    assert fed(values).shown() >= least
    assert fed(values).shown() <= 1.0
