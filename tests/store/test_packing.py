"""The format of packed readings gives back what went in, and says so when it cannot."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pitlogger.errors import StoreError
from pitlogger.model.readings import Quality, Site, Tagged
from pitlogger.store.columns import put_column, take_column
from pitlogger.store.packing import (
    QUALITIES,
    Columns,
    group,
    meaning,
    pack,
    pack_tail,
    unpack,
    unpack_tail,
)

ints = st.integers(min_value=-(1 << 70), max_value=1 << 70)
small = st.integers(min_value=-300, max_value=300).map(lambda steps: steps * 100)
columns_of_ints = st.one_of(st.lists(small), st.lists(ints), st.lists(st.integers(-40_000, 40_000)))


@given(columns_of_ints)
def test_a_column_gives_back_any_integers(values: list[int]) -> None:
    out = bytearray()
    put_column(out, values, fast=False)
    assert take_column(bytes(out), 0, len(values)) == (values, len(out))


@pytest.mark.parametrize("span", [0, 200, 60_000, 1 << 31, 1 << 63, 1 << 65])
def test_a_column_gives_back_steps_of_every_width(span: int) -> None:
    values = [0, span, 0, span, span, 1]
    out = bytearray()
    put_column(out, values, fast=False)
    assert take_column(bytes(out), 0, len(values))[0] == values


def _tagged() -> st.SearchStrategy[Tagged]:
    maybe = st.one_of(st.none(), st.integers(-(10**7), 10**7))
    return st.builds(
        Tagged,
        channel=st.sampled_from(["core", "pit", "bench-scale"]),
        t_ms=st.integers(0, 10**13),
        raw=maybe,
        value=maybe,
        quality=st.sampled_from(list(Quality)),
        site=st.just(Site.CORE),
        piece=st.none(),
        stable=st.sampled_from([None, True, False]),
    )


def _told(columns: Columns) -> list[tuple[object, ...]]:
    cells = zip(columns.t_ms, columns.value, columns.difference, columns.state, strict=True)
    return [(t_ms, *meaning(state, value, difference)) for t_ms, value, difference, state in cells]


@given(st.lists(_tagged(), min_size=1))
def test_packed_readings_of_a_channel_are_the_readings_in_the_order_they_came(
    readings: list[Tagged],
) -> None:
    for channel, columns in group(readings).items():
        wanted = [
            (r.t_ms, r.raw, r.value, r.quality, r.stable) for r in readings if r.channel == channel
        ]
        assert _told(unpack(pack(columns))) == wanted


@given(st.lists(_tagged(), min_size=1))
def test_a_tail_row_gives_back_every_channel(readings: list[Tagged]) -> None:
    numbered = dict(enumerate(group(readings).values(), start=1))
    assert unpack_tail(pack_tail(numbered)) == numbered


def test_every_quality_has_a_place_in_the_format() -> None:
    assert set(QUALITIES) == set(Quality)


def test_the_order_of_qualities_in_the_format_never_changes() -> None:
    assert ",".join(QUALITIES) == (
        "good,open,shorted,fault,overload,underload,no-value,out-of-range,too-fast,stuck,stale,"
        "possibly-stored,malformed"
    )


@pytest.mark.parametrize("word", [None, False, True])
def test_the_scales_own_word_is_kept_where_a_reading_carries_it(word: bool | None) -> None:
    columns = group([Tagged("s", 1, 5, 5, Quality.GOOD, Site.BENCH, None, word)])["s"]
    assert meaning(columns.state[0], 5, 0)[3] is word


@given(st.binary(max_size=60))
def test_bytes_that_are_no_packed_readings_are_refused_by_name(data: bytes) -> None:
    for read in (unpack, unpack_tail):
        try:
            read(data)
        except StoreError:
            continue


@given(st.integers(0, 200), st.integers(1, 255))
@settings(max_examples=400)
def test_damage_to_packed_readings_never_escapes_as_another_error(at: int, flip: int) -> None:
    values = [(index * 37) % 11 * 100 for index in range(200)]
    whole = bytearray(pack(Columns(list(range(200)), values, [0] * 200, bytes(200))))
    whole[at % len(whole)] ^= flip
    try:
        unpack(bytes(whole))
    except StoreError:
        return


def test_a_version_of_the_future_is_refused() -> None:
    with pytest.raises(StoreError, match="unknown version"):
        unpack(bytes((2, 1)))


def test_an_hour_of_a_quiet_scale_takes_almost_nothing() -> None:
    columns = Columns(list(range(0, 3_600_000, 100)), [5000] * 36_000, [0] * 36_000, bytes(36_000))
    assert len(pack(columns)) < 40
