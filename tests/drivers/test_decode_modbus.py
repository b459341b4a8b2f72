"""Modbus RTU replies and register maps.

Vectors: tests/data/modbus_vectors.csv, computed with pymodbus 3.16.1.
"""

from __future__ import annotations

import csv
from decimal import Decimal
from pathlib import Path

import pytest

from pitlogger.devices.contract import Chunk, Measurement
from pitlogger.devices.decoders import DecodeOptions, load
from pitlogger.errors import (
    ChecksumError,
    ConfigError,
    DecodeError,
    DeviceRefusalError,
    MalformedError,
    OutOfRangeError,
    ShortFrameError,
    UnknownFrameError,
)
from pitlogger.model.readings import Quality
from pitlogger_drivers.modbus.decode import RegistersDecoder, crc16
from pitlogger_drivers.modbus.registers import MapEntry, parse_map

DATA = Path(__file__).parents[1] / "data" / "modbus_vectors.csv"


def frame_named(start: str) -> str:
    with DATA.open(newline="") as file:
        return next(
            row["frame_hex_with_crc"]
            for row in csv.DictReader(file)
            if row["name"].startswith(start)
        )


def outcomes(data: str, mapping: str = "") -> list[Measurement | DecodeError]:
    decoder = load("modbus").build(DecodeOptions(map=mapping))
    return list(decoder.feed(Chunk("", bytes.fromhex(data))))


def reply(registers: str) -> str:
    body = bytes.fromhex("0103") + bytes([len(registers) // 2]) + bytes.fromhex(registers)
    return (body + crc16(body).to_bytes(2, "little")).hex()


def values(data: str, mapping: str) -> list[float | None]:
    return [one.value for one in outcomes(data, mapping) if isinstance(one, Measurement)]


@pytest.mark.parametrize(("name", "order"), [
    ("reply FC4 float32 121.25 high word first", "be"),
    ("reply FC4 float32 121.25 low word first", "le"),
])  # fmt: skip
def test_float_is_read_in_the_order_of_the_map(name: str, order: str) -> None:
    assert values(frame_named(name), f"0:f32-{order}:1:Cel") == [121.25]


def test_wrong_word_order_is_named() -> None:
    (error,) = outcomes(frame_named("reply FC4 float32 121.25 low"), "0:f32-be:1:Cel")
    assert isinstance(error, MalformedError)
    assert "f32-le" in str(error)


def test_open_probe_has_no_value() -> None:
    for name, mapping in (
        ("reply float32 NaN", "0:f32-be:1:Cel"),
        ("reply int16 3276.7", "0:i16:0.1:Cel,1:i16:0.1:Cel"),
    ):
        for one in outcomes(frame_named(name), mapping):
            assert isinstance(one, Measurement)
            assert (one.value, one.quality) == (None, Quality.OPEN)


@pytest.mark.parametrize(("name", "error"), [
    ("exception", DeviceRefusalError),
    ("CRC wrong", ChecksumError),
    ("reply cut", ShortFrameError),
    ("request", UnknownFrameError),
])  # fmt: skip
def test_refusal_has_its_own_name(name: str, error: type[DecodeError]) -> None:
    (found,) = outcomes(frame_named(name), "0:i16:0.1:Cel")
    assert type(found) is error


def test_sound_reply_without_a_map_shows_its_registers() -> None:
    (error,) = outcomes(reply("04320104"))
    assert isinstance(error, UnknownFrameError)
    assert "0432 0104" in str(error)


@pytest.mark.parametrize(("mapping", "registers", "value"), [
    ("0:i16:0.1:Cel", "0432", 107.4),
    ("0:i16:0.1:Cel", "ffce", -5.0),
    ("1:u16:0.01:%RH", "000013bf", 50.55),
    ("0:i32-be:1:g", "000111aa", 70058.0),
    ("0:i32-le:1:g", "11aa0001", 70058.0),
    ("0:u32-be:0.001:kg", "000111aa", 70.058),
    ("0:f32-be:1:Cel", "42d6cccd", 107.4),
    ("0:f32-be:0.1:Cel", "42d6cccd", 10.74),
    ("0:i16:-0.1:Cel", "0000", 0.0),
])  # fmt: skip
def test_register_types(mapping: str, registers: str, value: float) -> None:
    assert values(reply(registers), mapping) == [value]


def test_sentinels_are_a_list_for_each_channel() -> None:
    mapping = "0:i16:0.1:Cel:9999/-0X1,1:i16:0.1:Cel"
    assert values(reply("270f270f"), mapping) == [None, 999.9]
    assert values(reply("ffffffff"), mapping) == [None, -0.1]


def test_register_that_is_not_there_does_not_hide_the_next() -> None:
    first, second = outcomes(reply("0432"), "5:i16:0.1:Cel,0:i16:0.1:Cel")
    assert isinstance(first, ShortFrameError)
    assert isinstance(second, Measurement)


def test_value_below_absolute_zero_is_refused() -> None:
    (found,) = outcomes(reply("8ad0"), "0:i16:0.1:Cel")  # -3000.0
    assert isinstance(found, OutOfRangeError)


def test_bytes_behind_the_reply_are_accepted() -> None:
    assert values(reply("0432") + "ff", "0:i16:0.1:Cel") == [107.4]


@pytest.mark.parametrize(
    "mapping",
    [
        "0",
        "0:i16",
        "0:i17:1:Cel",
        "0:i16:x:Cel",
        "0:i16:0:Cel",
        "0:i16:1:K",
        "0:i16:1:Cel:1.5",
        "a:i16:1:Cel",
        "0:i16:1:Cel,",
    ],
)
def test_unusable_map_is_a_configuration_error(mapping: str) -> None:
    with pytest.raises(ConfigError):
        parse_map(mapping)


def test_map_is_read_entry_by_entry() -> None:
    assert parse_map("0:i16:0.1:Cel, 2:f32-be:1:Cel:0x7fff") == (
        MapEntry(0, "i16", Decimal("0.1"), "Cel"),
        MapEntry(2, "f32-be", Decimal(1), "Cel", frozenset((0x7FFF,))),
    )


def test_bare_registers_of_a_client_are_read_alike() -> None:
    (found,) = RegistersDecoder(parse_map("0:i16:0.1:Cel")).feed(Chunk("", b"\x04\x32"))
    assert isinstance(found, Measurement)
    assert found.value == 107.4
