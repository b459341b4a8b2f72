"""The simulated clock changes its pace and never its mind."""

from __future__ import annotations

import pytest

from pitlogger_simulators.clock import SimulatedClock


class Real:
    """Real time, turned by hand."""

    def __init__(self) -> None:
        self.now_s = 1000.0

    def __call__(self) -> float:
        return self.now_s


@pytest.fixture
def real() -> Real:
    return Real()


def test_engine_time_runs_at_the_rate(real: Real) -> None:
    clock = SimulatedClock(5_000, 60.0, real)
    real.now_s += 0.1
    assert clock.pump() == 11_000


def test_a_new_rate_changes_the_pace_and_not_the_time(real: Real) -> None:
    clock = SimulatedClock(0, 600.0, real)
    real.now_s += 0.1
    assert clock.pump(10.0) == 60_000
    assert clock.engine_ms() == 60_000
    real.now_s += 0.1
    assert clock.pump() == 61_000


def test_between_two_pumps_time_stands_still(real: Real) -> None:
    clock = SimulatedClock(0, 100.0, real)
    real.now_s += 0.1
    assert (clock.engine_ms(), clock.utc_ms()) == (0, 0)


def test_a_busy_machine_makes_time_wait(real: Real) -> None:
    clock = SimulatedClock(0, 100.0, real, slack_s=0.25)
    real.now_s += 30.0
    assert clock.pump() == 25_000


def test_a_stepped_wall_clock_moves_no_engine_time(real: Real) -> None:
    clock = SimulatedClock(1_000_000, 1.0, real)
    clock.put_wall_off(-3_600_000)
    assert clock.engine_ms() == 1_000_000
    assert clock.utc_ms() == 1_000_000 - 3_600_000
    clock.put_wall_off(0)
    assert clock.utc_ms() == 1_000_000


def test_monotonic_time_starts_with_the_run(real: Real) -> None:
    clock = SimulatedClock(1_000_000, 10.0, real)
    real.now_s += 0.2
    clock.pump()
    assert clock.monotonic_ms() == 2_000
