"""Characteristics of one UUID, told apart."""

from __future__ import annotations

import struct

from hypothesis import given
from hypothesis import strategies as st

from pitlogger.devices.transports.ble.names import CharacteristicName, name_sources


def text(handle: int, words: str) -> CharacteristicName:
    """A temperature with a user description."""
    return CharacteristicName("2a6e", handle, {"2901": words.encode()})


def ordinal(handle: int, number: int, namespace: int = 1) -> CharacteristicName:
    """A temperature with a presentation format."""
    data = struct.pack("<BbHBH", 0x0E, -2, 0x272F, namespace, number)
    return CharacteristicName("2a6e", handle, {"2904": data})


def test_a_lone_characteristic_is_called_by_its_uuid() -> None:
    assert name_sources([text(3, "pit")]) == {3: "2a6e"}


def test_descriptions_become_labels() -> None:
    assert name_sources([text(3, "Pit left\0"), text(7, "Core #1")]) == {
        3: "2a6e/pit-left",
        7: "2a6e/core-1",
    }


def test_equal_descriptions_tell_nothing_apart() -> None:
    assert name_sources([text(3, "probe"), text(7, "probe")]) == {
        3: "2a6e/handle-0003",
        7: "2a6e/handle-0007",
    }


def test_ordinals_count_where_there_are_no_descriptions() -> None:
    found = name_sources([ordinal(3, 2), ordinal(7, 1), ordinal(11, 0x0106)])
    assert found == {3: "2a6e/probe-2", 7: "2a6e/probe-1", 11: "2a6e/main"}


def test_an_ordinal_of_another_namespace_means_nothing() -> None:
    assert name_sources([ordinal(3, 1, namespace=2), ordinal(7, 2, namespace=2)]) == {
        3: "2a6e/handle-0003",
        7: "2a6e/handle-0007",
    }


def test_two_ways_that_lead_to_one_name_fall_back_to_the_handle() -> None:
    assert name_sources([text(3, "probe 2"), ordinal(7, 2)]) == {
        3: "2a6e/handle-0003",
        7: "2a6e/handle-0007",
    }


_DESCRIBED = st.builds(
    CharacteristicName,
    st.sampled_from(["2a6e", "2a6f"]),
    st.integers(1, 0xFFFF),
    st.dictionaries(st.sampled_from(["2901", "2904", "290c"]), st.binary(max_size=12)),
)


@given(st.lists(_DESCRIBED, unique_by=lambda one: one.handle, max_size=8))
def test_names_are_unique_and_do_not_hang_on_the_order(found: list[CharacteristicName]) -> None:
    names = name_sources(found)
    assert len(set(names.values())) == len(found)
    assert name_sources(found[::-1]) == names
