"""What a hub answers to a bundle: short, and read as it was meant by nodes older and newer."""

from __future__ import annotations

import json
from dataclasses import asdict

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pitlogger.errors import DeliveryError
from pitlogger.uplink.carrier import HubAnswer, read_answer, written

NUMBERS = st.integers(0, (1 << 62) - 1)
ANSWERS = st.builds(
    HubAnswer,
    st.text(),
    received=st.lists(NUMBERS).map(tuple),
    refused=st.lists(st.tuples(NUMBERS, st.text())).map(tuple),
    life=st.text(),
    lacks=st.lists(st.text()).map(tuple),
    contradicted=st.lists(st.text()).map(tuple),
    offer=st.none() | st.dictionaries(st.text(), st.dictionaries(st.text(), st.floats(-4, 4))),
    certificate=st.none() | st.text(),
    cloned=st.booleans(),
    fault=st.text(),
    retry_s=st.floats(0, 600),
)


@given(ANSWERS)
def test_an_answer_is_read_as_it_was_meant(answer: HubAnswer) -> None:
    assert read_answer(written(answer)) == answer
    whole = json.dumps({**asdict(answer), "of a newer hub": [1]}).encode()
    assert read_answer(whole) == answer


def test_a_receipt_says_no_more_than_it_has_to() -> None:
    assert written(HubAnswer("h-1", (7,), life="a")) == b'{"hub":"h-1","received":[7],"life":"a"}'


@pytest.mark.parametrize("said", [b"", b"[]", b"{}", b'{"hub": 1}', b'{"hub":"h","received":[-1]}',
                                  b'{"hub":"h","retry_s":1e9}', b"\xff"])  # fmt: skip
def test_what_is_no_answer_is_told(said: bytes) -> None:
    with pytest.raises(DeliveryError, match="cannot be read"):
        read_answer(said)
