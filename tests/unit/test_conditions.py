"""Limits with deadband and delays against their definition; the band that changes nothing."""

from __future__ import annotations

import copy
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pitlogger.bootstrap.policies import load_policy
from pitlogger.rules.conditions import ABOVE, BELOW, Limit, Watch, inert, judge

RULE = replace(
    load_policy().rules["hot-hold-low"], deadband_mc=1000, on_delay_ms=60_000, off_delay_ms=30_000
)


def limit(side: int, at: int = 57_200) -> Limit:
    return Limit("kind/subject", RULE, at, side)


@pytest.mark.parametrize(
    ("side", "value", "beyond"),
    [(ABOVE, 57_200, True), (ABOVE, 57_199, False), (BELOW, 57_200, False), (BELOW, 57_199, True)],
)
def test_a_limit_itself_counts_as_reached_from_below_and_as_kept_from_above(
    side: int, value: int, beyond: bool
) -> None:
    assert limit(side).beyond(value) is beyond


@pytest.mark.parametrize(
    ("side", "value", "back"),
    [(ABOVE, 56_200, False), (ABOVE, 56_199, True), (BELOW, 58_200, True), (BELOW, 58_199, False)],
)
def test_a_return_takes_the_whole_deadband(side: int, value: int, back: bool) -> None:
    assert limit(side).returned(value) is back


def test_a_value_beyond_starts_the_delay_once_and_a_value_back_drops_it() -> None:
    watch = Watch("kind/subject", "hot-hold-low")
    assert judge(limit(BELOW), watch, 1000, 57_199, 57_199) == 61_000
    assert judge(limit(BELOW), watch, 2000, 57_100, 57_150) is None
    assert watch.pending_ms == 1000
    assert judge(limit(BELOW), watch, 3000, 57_300, 57_150) is None
    assert watch.pending_ms == 1000, "the level is still beyond: noise does not drop a delay"
    judge(limit(BELOW), watch, 4000, 57_300, 57_300)
    assert watch.pending_ms is None


def test_what_holds_clears_only_when_value_and_level_are_back() -> None:
    watch = Watch("kind/subject", "hot-hold-low", holds=True)
    assert judge(limit(BELOW), watch, 1000, 58_300, 58_100) is None
    assert judge(limit(BELOW), watch, 2000, 58_100, 58_300) is None
    assert judge(limit(BELOW), watch, 3000, 58_300, 58_300) == 33_000
    assert judge(limit(BELOW), watch, 4000, 58_400, 58_400) is None
    assert watch.clearing_ms == 3000
    judge(limit(BELOW), watch, 5000, 58_000, 58_400)
    assert watch.clearing_ms is None


def test_foresight_holds_a_condition_whatever_the_value() -> None:
    watch = Watch("kind/subject", "hot-hold-near", forced=True)
    assert judge(limit(BELOW), watch, 1000, 90_000, 90_000) == 61_000
    watch = Watch("kind/subject", "hot-hold-near", forced=True, holds=True)
    assert judge(limit(BELOW), watch, 1000, 90_000, 90_000) is None


limits = st.builds(limit, st.sampled_from([ABOVE, BELOW]), st.integers(-50_000, 150_000))


def changes(one: Limit, watch: Watch, value: int) -> bool:
    after = copy.copy(watch)
    return judge(one, after, 1, value, value) is not None or after != watch


@given(limits, st.booleans())
def test_the_inert_band_is_exactly_what_changes_nothing(one: Limit, holds: bool) -> None:
    watch = Watch(one.key, "hot-hold-low", holds=holds)
    low, high = inert([one], {one.key: watch})
    assert not changes(one, watch, max(low, -(10**6)))
    assert not changes(one, watch, min(high, 10**6))
    outside = high + 1 if high < 10**9 else low - 1
    assert changes(one, watch, outside)


@pytest.mark.parametrize(
    "running",
    [{"pending_ms": 5}, {"clearing_ms": 5}, {"again_value": 7}, {"forced": True}],
)
def test_no_reading_is_passed_over_while_something_runs(running: dict[str, int]) -> None:
    one = limit(ABOVE)
    low, high = inert([one], {one.key: Watch(one.key, "hot-hold-low", **running)})  # type: ignore[arg-type]
    assert low > high


def test_the_band_of_several_limits_is_what_all_let_pass() -> None:
    upper, lower = Limit("a/x", RULE, 90_000, ABOVE), Limit("b/x", RULE, 60_000, BELOW)
    watches = {"a/x": Watch("a/x", "pit-high"), "b/x": Watch("b/x", "pit-low")}
    assert inert([upper, lower], watches) == (60_000, 89_999)
