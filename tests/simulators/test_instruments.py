"""Scales and probes show the truth as far as they can."""

from __future__ import annotations

import random

import pytest

from pitlogger.model.readings import Quality
from pitlogger_simulators.devices.instruments import Probe, Sample, Scale


@pytest.fixture
def rng() -> random.Random:
    return random.Random(7)


def settled(scale: Scale, rng: random.Random) -> Sample:
    scale.advance(10.0)
    sample = scale.sample(rng)
    assert sample is not None
    return sample


def test_a_scale_shows_whole_intervals(rng: random.Random) -> None:
    scale = Scale(interval_g=5.0, noise_g=0.0)
    scale.press_on()
    scale.put(1233.0)
    assert settled(scale, rng) == Sample(1235.0, stable=True)


def test_a_load_just_put_on_moves(rng: random.Random) -> None:
    scale = Scale(noise_g=0.0)
    scale.press_on()
    scale.put(4000.0)
    scale.advance(0.3)
    sample = scale.sample(rng)
    assert sample is not None
    assert sample.stable is False
    assert sample.value is not None
    assert 0 < sample.value < 4000


def test_the_tare_button_sets_the_container_aside(rng: random.Random) -> None:
    scale = Scale(noise_g=0.0)
    scale.press_on()
    scale.put(620.0)
    settled(scale, rng)
    scale.press_tare()
    scale.put(3000.0)
    assert settled(scale, rng).value == 3000.0


def test_what_lies_on_a_scale_when_it_starts_is_zero(rng: random.Random) -> None:
    scale = Scale(noise_g=0.0, load_g=620.0)
    scale.press_on()
    assert settled(scale, rng).value == 0.0


def test_an_idle_scale_switches_itself_off_and_forgets_its_tare(rng: random.Random) -> None:
    scale = Scale(auto_off_s=60.0)
    scale.press_on()
    scale.put(500.0)
    scale.press_tare()
    scale.advance(61.0)
    assert scale.sample(rng) is None
    assert scale.tare_g == 0.0


def test_more_than_nine_intervals_over_capacity_is_overload(rng: random.Random) -> None:
    scale = Scale(interval_g=5.0, capacity_g=1000.0, noise_g=0.0)
    scale.press_on()
    scale.put(1045.0)
    assert settled(scale, rng).quality is Quality.GOOD
    scale.put(1.0)
    assert settled(scale, rng) == Sample(None, Quality.OVERLOAD)


def test_a_probe_lags_by_its_time_constant(rng: random.Random) -> None:
    probe = Probe(lag_s=10.0, noise_c=0.0, felt_c=0.0, resolution_c=0.01)
    probe.advance(10.0, 100.0)
    assert probe.sample(rng).value == pytest.approx(63.2, abs=0.1)


def test_a_probe_carries_its_own_error(rng: random.Random) -> None:
    probe = Probe(noise_c=0.0, offset_c=-1.2)
    probe.advance(1.0, 60.0)
    assert probe.sample(rng).value == pytest.approx(58.8)


def test_a_probe_that_felt_nothing_yet_has_no_value(rng: random.Random) -> None:
    assert Probe().sample(rng) == Sample(None, Quality.NO_VALUE)
