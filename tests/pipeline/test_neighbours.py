"""What probes say of each other."""

import pytest

from pitlogger.pipeline.neighbours import (
    drift_apart,
    have_swapped,
    is_in_air,
    is_steady,
    sits_in_meat,
    step_at,
)

MINUTES = [minute * 60_000 for minute in range(91)]
NOW = MINUTES[-1]


def line(start_mc: int, mc_per_minute: int) -> list[int]:
    return [start_mc + mc_per_minute * minute for minute in range(91)]


@pytest.mark.parametrize(
    ("a", "b", "swapped"),
    [
        ((60_000, 75_200), (75_000, 60_400), True),
        ((60_000, 75_200), (75_000, 75_000), False),
        ((60_000, 90_000), (75_000, 60_400), False),
        ((60_000, 61_500), (61_500, 60_000), False),  # so near that nobody can tell
    ],
)
def test_two_that_jumped_onto_each_other_have_swapped(
    a: tuple[int, int], b: tuple[int, int], swapped: bool
) -> None:
    assert have_swapped(*a, *b) is swapped
    assert have_swapped(*b, *a) is swapped


def test_a_step_is_seen_by_the_lines_on_either_side_of_it() -> None:
    at = NOW - 4 * 60_000
    rising = line(50_000, 600)
    before, after = step_at(MINUTES, rising, at) or (0, 0)
    assert before == pytest.approx(after, abs=1)
    jumped = [mc + (5_000 if t_ms > at else 0) for t_ms, mc in zip(MINUTES, rising, strict=True)]
    before, after = step_at(MINUTES, jumped, at) or (0, 0)
    assert after - before == pytest.approx(5_000, abs=1)
    assert step_at(MINUTES[-6:], jumped[-6:], at) is None, "too little is known before it"


@pytest.mark.parametrize("every", [2, 3, 4])
def test_a_step_of_a_probe_that_reads_every_few_minutes_is_seen(every: int) -> None:
    times, rising = MINUTES[::every], line(50_000, 100)[::every]
    at = times[-3]
    jumped = [mc + (8_000 if t_ms >= at else 0) for t_ms, mc in zip(times, rising, strict=True)]
    before, after = step_at(times, jumped, at) or (0, 0)
    assert after - before == pytest.approx(8_000, abs=700)
    assert step_at(times[-4:], jumped[-4:], at) is None, "two before it are too few"


def test_meat_stays_under_the_boiling_point() -> None:
    assert is_in_air(110_000)
    assert not is_in_air(98_500)
    assert sits_in_meat(40_000, 115_000)
    assert not sits_in_meat(107_000, 115_000)


def test_one_that_falls_beside_one_that_rises_drifts() -> None:
    falls, rises = line(70_000, -60), line(65_000, 60)
    assert drift_apart(MINUTES, falls, MINUTES, rises, NOW)
    assert not drift_apart(MINUTES, rises, MINUTES, falls, NOW)


def test_two_that_part_while_both_rise_do_not() -> None:
    assert not drift_apart(MINUTES, line(68_000, 5), MINUTES, line(70_000, 200), NOW)


def test_too_little_history_says_nothing() -> None:
    few, falls = MINUTES[60:], line(70_000, -60)[60:]
    assert not drift_apart(few, falls, MINUTES, line(65_000, 60), NOW)


def test_a_pit_is_steady_within_fifteen_degrees() -> None:
    assert is_steady(MINUTES, line(110_000, 100), NOW)
    assert not is_steady(MINUTES, line(110_000, -400), NOW)
