"""Packets of MQTT 5: by the bytes of the standard, in pieces, and whatever else may come."""

from __future__ import annotations

from contextlib import suppress

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pitlogger.errors import DecodeError
from pitlogger.formats import mqtt


def test_packets_are_those_of_the_standard() -> None:
    assert mqtt.connect("p1", 120).hex() == "100f00044d5154540502007800" + "00027031"
    assert mqtt.subscribe(1, "a/b").hex() == "8209000100" + "0003612f62" + "00"
    assert mqtt.publish("a", b"xy").hex() == "3006000161" + "00" + "7879"
    assert mqtt.publish("a", b"x" * 196)[1:3].hex() == "c801"  # 200: two groups of seven bits


@given(st.lists(st.binary(max_size=300), min_size=1, max_size=4), st.integers(1, 40))
def test_messages_come_whole_from_pieces(payloads: list[bytes], step: int) -> None:
    data = b"".join(mqtt.publish("fleet/1/p/down", payload) for payload in payloads)
    found, rest = [], b""
    for at in range(0, len(data), step):
        packets, rest = mqtt.split(rest + data[at : at + step])
        found += [mqtt.message(body) for head, body in packets if head == mqtt.PUBLISH]
    assert found == [("fleet/1/p/down", payload) for payload in payloads]
    assert rest == b""


@pytest.mark.parametrize(
    ("said", "reason", "keepalive_s"),
    [
        ("000000", 0, None),
        ("000003130014", 0, 20),
        ("00000f120003616263260001610001622a01", 0, None),  # a name given, a pair of its own
        ("008700", 0x87, None),
        ("0005", 0x84, None),  # of MQTT 3: two bytes
    ],
)  # fmt: skip
def test_an_answer_says_why_and_how_often_to_call(
    said: str, reason: int, keepalive_s: int | None
) -> None:
    assert mqtt.connack(bytes.fromhex(said)) == mqtt.Answer(reason, keepalive_s)


@given(st.binary(max_size=60))
def test_other_bytes_are_an_error_with_a_name(data: bytes) -> None:
    for read in (mqtt.split, mqtt.message, mqtt.connack):
        with suppress(DecodeError):
            read(data)


def test_a_length_that_nobody_means_is_refused() -> None:
    with pytest.raises(DecodeError, match="268435455 bytes; at most 1048576"):
        mqtt.split(b"\x30\xff\xff\xff\x7f")
    with pytest.raises(DecodeError, match="more than four bytes: ffffffff"):
        mqtt.split(b"\x30\xff\xff\xff\xff\x7f")


def test_a_reason_is_told_in_words() -> None:
    assert mqtt.reason_text(0x87) == "the broker does not allow this"
    assert mqtt.reason_text(0xB2) == "the broker ended it for reason 0xB2"
