"""BTHome v2: payload, encryption, replay, duplicates, events.

Vectors: tests/data/bthome_vectors.csv: published examples of the format and encryption pages,
and rows computed with bthome-ble 3.25.0.
"""

from __future__ import annotations

import csv
import json
from collections.abc import Iterable
from functools import partial
from itertools import groupby
from pathlib import Path
from typing import Any

import pytest
from cryptography.hazmat.primitives.ciphers.aead import AESCCM

from pitlogger.devices.contract import Chunk, Measurement
from pitlogger.errors import (
    ChecksumError,
    ConfigError,
    DecodeError,
    DuplicateFrameError,
    KeyMissingError,
    OutOfRangeError,
    ReplayError,
    ShortFrameError,
    UnknownFrameError,
)
from pitlogger.model.quantities import Quantity
from pitlogger.model.readings import Quality
from pitlogger_drivers.bthome.decode import BTHomeDecoder, DeviceMemory, Secret, decode

DATA = Path(__file__).parents[1] / "data" / "bthome_vectors.csv"
ADDRESS = "54:48:E6:8F:80:A5"
KEY = bytes.fromhex("231d39c1d7cc1ab1aee224cd096db932")
OURS = {Quantity.TEMPERATURE, Quantity.MASS, Quantity.HUMIDITY, Quantity.VOLTAGE}


def rows() -> list[dict[str, str]]:
    with DATA.open(newline="") as file:
        return list(csv.DictReader(file))


def feed(decoder: BTHomeDecoder, raw: str | bytes) -> list[Measurement | DecodeError]:
    data = bytes.fromhex(raw) if isinstance(raw, str) else raw
    return decoder.feed(Chunk("", data))


def values(outcomes: Iterable[Measurement | DecodeError]) -> list[tuple[str, float | None]]:
    return [(found.channel, found.value) for found in outcomes if isinstance(found, Measurement)]


def encrypted(payload: bytes, counter: int, flags: int = 0x41) -> bytes:
    count = counter.to_bytes(4, "little")
    nonce = bytes.fromhex(ADDRESS.replace(":", "")) + b"\xd2\xfc" + bytes([flags]) + count
    sealed = AESCCM(KEY, tag_length=4).encrypt(nonce, payload, None)
    return bytes([flags]) + sealed[:-4] + count + sealed[-4:]


def expected_values(document: dict[str, Any]) -> list[float]:
    """Return the numbers of a row that are of a quantity we measure."""
    names = ("temperature", "humidity", "mass", "voltage")
    return sorted(
        entry["value"]
        for name, entry in document["values"].items()
        if name.partition("_")[0] in names
    )


@pytest.mark.parametrize(
    "row", [row for row in rows() if not row["kind"].endswith("-seq")], ids=lambda row: row["name"]
)
def test_frame_by_itself(row: dict[str, str]) -> None:
    key = bytes.fromhex(row["bindkey_hex"])
    decoder = BTHomeDecoder(Secret.of(key, row["mac"]) if key else None)
    outcomes = feed(decoder, row["service_data_hex_without_uuid"])
    errors = [found for found in outcomes if isinstance(found, DecodeError)]
    assert bool(errors) == row["outcome"].startswith("refused")
    if not errors:
        measured = [found for found in outcomes if isinstance(found, Measurement)]
        numbers = sorted(found.value or 0.0 for found in measured if found.quantity in OURS)
        assert numbers == expected_values(json.loads(row["decoded_json"]))


@pytest.mark.parametrize("kind", ["encrypted-seq", "packet-seq"])
def test_frames_in_sequence(kind: str) -> None:
    groups = [list(group) for key, group in groupby(rows(), lambda row: row["kind"]) if key == kind]
    assert groups
    for group in groups:
        key = bytes.fromhex(group[0]["bindkey_hex"])
        seconds = iter(map(float, range(100)))
        decoder = BTHomeDecoder(
            Secret.of(key, ADDRESS) if key else None, monotonic_s=partial(next, seconds)
        )
        for row in group:
            outcomes = feed(decoder, row["service_data_hex_without_uuid"])
            refused = any(isinstance(found, ReplayError) for found in outcomes)
            assert refused == row["outcome"].startswith("refused"), row["name"]


@pytest.mark.parametrize(("raw", "error"), [
    ("", ShortFrameError),
    ("2002ca09", UnknownFrameError),
    ("6002ca09", UnknownFrameError),
    ("42a5808f", ShortFrameError),
    ("41e445f3c9962b332211006c7c4519", KeyMissingError),
])  # fmt: skip
def test_refusal_without_a_key_has_its_own_name(raw: str, error: type[DecodeError]) -> None:
    (found,) = feed(BTHomeDecoder(), raw)
    assert type(found) is error


@pytest.mark.parametrize(("raw", "error"), [
    ("4002ca09", ReplayError),
    ("41e545f3c9962b332211006c7c4519", ChecksumError),
    ("41332211006c7c45", ShortFrameError),
])  # fmt: skip
def test_refusal_with_a_key_has_its_own_name(raw: str, error: type[DecodeError]) -> None:
    (found,) = feed(BTHomeDecoder(Secret.of(KEY, ADDRESS)), raw)
    assert type(found) is error


def test_forged_counter_does_not_move_the_state() -> None:
    decoder = BTHomeDecoder(Secret.of(KEY, ADDRESS))
    feed(decoder, encrypted(b"\x45\x32\x04", 10))
    forged = bytearray(encrypted(b"\x45\x32\x04", 4_000_000_000))
    forged[-1] ^= 1
    feed(decoder, bytes(forged))
    assert decoder.state.counter == 10
    assert values(feed(decoder, encrypted(b"\x45\x33\x04", 11))) == [("temperature", 107.5)]


def test_same_counter_is_a_duplicate_and_a_lower_one_a_replay() -> None:
    decoder = BTHomeDecoder(Secret.of(KEY, ADDRESS))
    feed(decoder, encrypted(b"\x45\x32\x04", 10))
    (same,) = feed(decoder, encrypted(b"\x45\x32\x04", 10))
    (lower,) = feed(decoder, encrypted(b"\x45\x32\x04", 9))
    assert type(same) is DuplicateFrameError
    assert type(lower) is ReplayError


def test_counter_is_remembered_over_a_restart() -> None:
    before = BTHomeDecoder(Secret.of(KEY, ADDRESS))
    feed(before, encrypted(b"\x45\x32\x04", 10))
    kept = json.loads(json.dumps(before.state.to_dict()))
    after = BTHomeDecoder(Secret.of(KEY, ADDRESS), DeviceMemory.from_dict(kept))
    (refused,) = feed(after, encrypted(b"\x45\x32\x04", 10))
    assert isinstance(refused, ReplayError)


def test_a_counter_that_starts_anew_is_taken_only_when_the_old_one_is_forgotten() -> None:
    decoder = BTHomeDecoder(Secret.of(KEY, ADDRESS))
    feed(decoder, encrypted(b"\x45\x32\x04", 100_000))
    assert isinstance(feed(decoder, encrypted(b"\x45\x32\x04", 1))[0], ReplayError)
    decoder = BTHomeDecoder(Secret.of(KEY, ADDRESS), DeviceMemory.from_dict({}))
    assert values(feed(decoder, encrypted(b"\x45\x32\x04", 1))) == [("temperature", 107.4)]


def test_address_in_the_frame_replaces_the_configured_one() -> None:
    inner = bytes.fromhex(ADDRESS.replace(":", ""))[::-1]
    plain = b"\x42" + inner + b"\x02\xca\x09"
    assert values(feed(BTHomeDecoder(), plain)) == [("temperature", 25.06)]
    sealed = encrypted(b"\x02\xca\x09", 7, flags=0x43)
    with_address = sealed[:1] + inner + sealed[1:]
    decoder = BTHomeDecoder(Secret.of(KEY, "00:00:00:00:00:00"))
    assert values(feed(decoder, with_address)) == [("temperature", 25.06)]


@pytest.mark.parametrize(("key", "address"), [(KEY[:15], ADDRESS), (KEY, ""), (KEY, "54:48:E6")])
def test_unusable_key_or_address_is_a_configuration_error(key: bytes, address: str) -> None:
    with pytest.raises(ConfigError):
        Secret.of(key, address)


def test_probes_are_told_apart_by_position() -> None:
    found = values(feed(BTHomeDecoder(), "40023c0a02401f454006"))
    assert found == [("temperature", 26.2), ("temperature-2", 80.0), ("temperature-3", 160.0)]


def test_packet_id_wraps_from_255_to_0() -> None:
    decoder = BTHomeDecoder()
    feed(decoder, "4000ff453204")
    assert values(feed(decoder, "400000453304")) == [("temperature", 107.5)]


@pytest.mark.parametrize(("step", "is_taken"), [(1, True), (63, True), (64, False), (255, False)])
def test_packet_id_up_to_63_ahead_is_newer(step: int, is_taken: bool) -> None:
    decoder = BTHomeDecoder()
    feed(decoder, "400009453204")
    outcomes = feed(decoder, f"4000{(9 + step) % 256:02x}453304")
    assert bool(values(outcomes)) is is_taken


def test_any_packet_id_is_taken_after_four_seconds() -> None:
    seconds = iter([0.0, 4.0, 8.5])
    decoder = BTHomeDecoder(monotonic_s=lambda: next(seconds))
    feed(decoder, "400009453204")
    assert not values(feed(decoder, "400009453204"))
    assert values(feed(decoder, "400009453204")) == [("temperature", 107.4)]


def test_button_press_is_taken_once_though_sent_many_times() -> None:
    decoder = BTHomeDecoder()
    presses = [values(feed(decoder, "443a01")) for _ in range(5)]
    assert presses == [[("button", 1.0)], [], [], [], []]


def test_second_press_after_a_while_counts_again() -> None:
    seconds = iter([0.0, 10.0])
    decoder = BTHomeDecoder(monotonic_s=lambda: next(seconds))
    assert values(feed(decoder, "443a01")) == values(feed(decoder, "443a01")) == [("button", 1.0)]


def test_idle_button_keeps_its_position() -> None:
    assert values(feed(BTHomeDecoder(), "443a003a02")) == [("button-2", 2.0)]


def test_dimmer_turned_left_counts_down() -> None:
    assert values(feed(BTHomeDecoder(), "443c0103")) == [("dimmer", -3.0)]


def test_steady_value_sent_again_is_no_duplicate() -> None:
    decoder = BTHomeDecoder()
    assert values(feed(decoder, "40453204")) == values(feed(decoder, "40453204"))


def test_battery_above_100_does_not_hide_the_temperature() -> None:
    outcomes = feed(BTHomeDecoder(), "400165453204")
    assert [type(found) for found in outcomes] == [OutOfRangeError, Measurement]


def test_temperature_below_absolute_zero_is_marked() -> None:
    (found,) = feed(BTHomeDecoder(), "40020080")
    assert isinstance(found, Measurement)
    assert (found.value, found.quality) == (-327.68, Quality.OUT_OF_RANGE)


def test_value_cut_short_does_not_hide_the_one_before() -> None:
    outcomes = feed(BTHomeDecoder(), "4002ca0903bf")
    assert values(outcomes) == [("temperature", 25.06)]
    assert type(outcomes[-1]) is ShortFrameError


def test_walk_passes_text_and_raw_objects() -> None:
    found = values(feed(BTHomeDecoder(), "4053024869" + "57ea"))
    assert found == [("temperature", -22.0)]


def test_function_leaves_the_state_it_was_given() -> None:
    before = DeviceMemory(packet_id=9, heard_s=0.0)
    _, after = decode(bytes.fromhex("40000a453204"), before)
    assert (before.packet_id, after.packet_id) == (9, 10)
