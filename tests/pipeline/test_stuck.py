"""Stuck: told by the channel's own noise or by heat, never by standing still alone."""

import random

from pitlogger.pipeline.stuck import Stillness

MINUTE = 60_000


def follow(values: list[int], every_ms: int = 1000, still: Stillness | None = None) -> Stillness:
    """Take values, milli-degC, one each ``every_ms``."""
    still = still or Stillness()
    last = None
    for number, value in enumerate(values):
        if value == last:
            still.run += 1
        else:
            still.change(number * every_ms, value, value if last is None else last)
        last = value
    return still


def noisy(start_c: float, c_per_h: float, n: int, step_mc: int, sd_mc: float) -> list[int]:
    noise = random.Random(5)
    return [
        round((start_c * 1000 + c_per_h * 1000 * i / 3600 + noise.gauss(0, sd_mc)) / step_mc)
        * step_mc
        for i in range(n)
    ]


def ever_defies(values: list[int]) -> bool:
    still, last, found = Stillness(), None, False
    for number, value in enumerate(values):
        t_ms = number * 1000
        if value == last:
            still.run += 1
        else:
            still.change(t_ms, value, value if last is None else last)
        found = found or still.defies_noise(t_ms)
        last = value
    return found


def test_a_restless_channel_that_stands_still_for_ten_minutes_is_stuck() -> None:
    values = noisy(40, 12, 1800, 100, 50)
    still = follow([*values, *[values[-1]] * 700])
    assert still.share is not None
    assert still.share > 0.3
    assert still.defies_noise(len(values) * 1000 + 700_000)


def test_it_is_stuck_no_more_once_it_moves() -> None:
    values = noisy(40, 12, 1800, 100, 50)
    still = follow([*values, *[values[-1]] * 700, values[-1] + 100])
    assert not still.defies_noise((len(values) + 701) * 1000)


def test_a_quiet_channel_may_stand_for_hours_in_the_stall() -> None:
    rise = noisy(50, 12, 3600, 100, 5)
    assert not ever_defies([*rise, *noisy(62.04, 0.2, 4 * 3600, 100, 5)])


def test_a_display_of_whole_degrees_may_show_one_number_for_hours() -> None:
    rise = noisy(50, 12, 3600, 1000, 50)
    assert not ever_defies([*rise, *noisy(62.2, 0.1, 4 * 3600, 1000, 50)])


def test_a_restless_channel_in_the_stall_is_not_stuck() -> None:
    rise = noisy(50, 12, 3600, 100, 30)
    assert not ever_defies([*rise, *noisy(62.04, 0.05, 6 * 3600, 100, 30)])


def test_a_flicker_at_the_edge_of_a_step_proves_no_noise() -> None:
    """Two numbers in turn for an hour, then one: the value has left the edge."""
    assert not ever_defies([*[60_000, 60_100] * 1800, *[60_100] * 7200])


def test_raw_meat_on_a_hot_pit_gets_warmer_whatever_the_noise() -> None:
    still = follow([30_000] * 600, every_ms=5000)
    assert still.defies_heat(50 * MINUTE, 30_000, 110_000)
    assert not still.defies_heat(30 * MINUTE, 30_000, 110_000)
    assert not still.defies_heat(50 * MINUTE, 30_000, 50_000), "the fire is out"
    assert not still.defies_heat(50 * MINUTE, 30_000, None), "nothing reads the pit"
    assert not follow([65_000] * 600, 5000).defies_heat(50 * MINUTE, 65_000, 110_000), "stall"
