"""Vetting: lone spikes are refused, lasting jumps are believed."""

from pitlogger.model.quantities import Quantity
from pitlogger.model.readings import Quality, Site
from pitlogger.pipeline.vet import bounds, vet_jump


def test_a_lone_spike_is_too_fast() -> None:
    assert vet_jump(120_000, 60_000, None, 1000) is Quality.TOO_FAST


def test_the_same_jump_twice_is_believed() -> None:
    assert vet_jump(121_000, 60_000, 120_000, 2000) is Quality.GOOD


def test_two_different_spikes_are_both_refused() -> None:
    assert vet_jump(10_000, 60_000, 120_000, 2000) is Quality.TOO_FAST


def test_more_is_believed_after_a_longer_silence() -> None:
    assert vet_jump(95_000, 60_000, None, 60_000) is Quality.GOOD


def test_a_core_hotter_than_any_meat_is_out_of_bounds_where_a_pit_is_not() -> None:
    assert bounds(Quantity.TEMPERATURE, Site.CORE)[1] < 200_000
    assert bounds(Quantity.TEMPERATURE, Site.PIT)[1] > 500_000
    assert bounds(None, Site.NONE)[0] < -(10**15)
