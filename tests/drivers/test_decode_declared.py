"""Devices described in TOML. The devices here are invented."""

from __future__ import annotations

from typing import Any

import pytest

from pitlogger.devices.contract import Chunk, Measurement
from pitlogger.devices.decoders import DecodeOptions, load
from pitlogger.errors import (
    ConfigError,
    DecodeError,
    MalformedError,
    OutOfRangeError,
    ShortFrameError,
    UnknownFrameError,
)
from pitlogger.model.quantities import Quantity
from pitlogger.model.readings import Quality
from pitlogger_drivers.declared.model import AdvertisementSource, SerialSource, parse

GATT = """
name = "tray-probe"
[source]
kind = "gatt"
characteristic = "0000fff1-0000-1000-8000-00805f9b34fb"
[frame]
prefix = "a5"
length = 4
"""
SERIAL = r"""
name = "line-scale"
[source]
kind = "serial"
baud = 4800
format = "7E1"
poll = "W\r\n"
line = '(?P<flag>[SU]) *(?P<mass>[-+ 0-9.,]+|----) g( (?P<heat>\S+) C)?'
[[value]]
channel = "mass"
group = "mass"
unit = "g"
sentinels = ["----", 99999]
[[value]]
channel = "heat"
group = "heat"
scale = 0.1
add = -5
unit = "Cel"
[stable]
group = "flag"
words = ["S"]
"""


def value(**keys: object) -> str:
    given: dict[str, Any] = {"channel": "core", "at": 1, "type": "i16", "unit": "Cel"} | keys
    lines = [f"{key} = {shown(word)}" for key, word in given.items() if word is not None]
    return "\n".join(["[[value]]", *lines, ""])


def shown(word: object) -> str:
    return f'"{word}"' if isinstance(word, str) else str(word)


def outcomes(text: str, data: bytes) -> list[Measurement | DecodeError]:
    decoder = load("declared").build(DecodeOptions(declaration=text))
    return list(decoder.feed(Chunk("", data)))


def one_value(keys: dict[str, object], raw: str) -> float | None:
    (found,) = outcomes(GATT + value(**keys), bytes.fromhex(raw))
    assert isinstance(found, Measurement)
    return found.value


@pytest.mark.parametrize(("keys", "raw", "expected"), [
    ({"scale": 0.1}, "a5320400", 107.4),
    ({"scale": 0.1, "order": "big"}, "a5043200", 107.4),
    ({"type": "u8", "at": 3}, "a50000ff", 255.0),
    ({"type": "i8", "at": 3}, "a50000ff", -1.0),
    ({"type": "u24"}, "a5010203", 197121.0),
    ({"type": "i24"}, "a5feffff", -2.0),
    ({"type": "u32"}, "a501000000", 1.0),
    ({"type": "i32", "order": "big"}, "a5fffffffe", -2.0),
    ({"type": "f32", "order": "big"}, "a542d6cccd", 107.4),
    ({"type": "bcd16", "order": "big", "scale": 0.1}, "a5107400", 107.4),
    ({"type": "bcd24"}, "a5563412", 123456.0),
    ({"scale": 0.5, "add": -40}, "a5640000", 10.0),
])  # fmt: skip
def test_types_orders_scale_and_addition(
    keys: dict[str, object], raw: str, expected: float
) -> None:
    assert one_value(keys, raw) == expected


def test_sentinel_has_no_value() -> None:
    (found,) = outcomes(GATT + value(sentinels=[0x7FFF, -1]), bytes.fromhex("a5ff7f00"))
    assert isinstance(found, Measurement)
    assert (found.value, found.quality) == (None, Quality.NO_VALUE)


@pytest.mark.parametrize(("raw", "error"), [
    ("b5320400", UnknownFrameError),
    ("", UnknownFrameError),
    ("a53204", ShortFrameError),
])  # fmt: skip
def test_frame_that_is_another_is_refused(raw: str, error: type[DecodeError]) -> None:
    (found,) = outcomes(GATT + value(), bytes.fromhex(raw))
    assert type(found) is error


def test_digit_that_is_no_decimal_is_refused() -> None:
    (found,) = outcomes(GATT + value(type="bcd16"), bytes.fromhex("a51a0000"))
    assert isinstance(found, MalformedError)


def test_value_its_unit_cannot_have_does_not_hide_the_next() -> None:
    text = GATT + value(unit="%EL", channel="battery", type="u8") + value(at=2, scale=0.1)
    first, second = outcomes(text, bytes.fromhex("a5653204"))
    assert isinstance(first, OutOfRangeError)
    assert isinstance(second, Measurement)
    assert (second.channel, second.quantity, second.value) == ("core", Quantity.TEMPERATURE, 107.4)


@pytest.mark.parametrize(("byte", "stable"), [("04", True), ("03", False)])
def test_steadiness_is_a_bit(byte: str, stable: bool) -> None:
    text = GATT + value(unit="g") + "[stable]\nat = 3\nmask = 4\n"
    (found,) = outcomes(text, bytes.fromhex(f"a50100{byte}"))
    assert isinstance(found, Measurement)
    assert found.stable is stable


def test_serial_line_gives_its_groups() -> None:
    found = outcomes(SERIAL, b"S  +  450.5 g 1234 C\r\nU - 3 g\r\n")
    assert [
        (one.channel, one.value, one.unit, one.stable)
        for one in found
        if isinstance(one, Measurement)
    ] == [
        ("mass", 450.5, "g", True),
        ("heat", 118.4, "Cel", True),
        ("mass", -3.0, "g", False),
    ]


def test_a_group_that_took_no_part_is_no_value_where_an_empty_text_is_a_sentinel() -> None:
    text = SERIAL.replace("scale = 0.1\n", 'scale = 0.1\nsentinels = [""]\n')
    _, heat = outcomes(text, b"S 450.5 g\n")
    assert isinstance(heat, Measurement)
    assert (heat.channel, heat.value, heat.quality) == ("heat", None, Quality.NO_VALUE)


@pytest.mark.parametrize("mass", ["----", "99999"])
def test_serial_sentinel_is_a_word_or_a_number(mass: str) -> None:
    (found,) = outcomes(SERIAL, f"S {mass} g\n".encode())
    assert isinstance(found, Measurement)
    assert found.value is None


@pytest.mark.parametrize("line", ["X 1 g", "S 1..2 g", "S 1,2,3 g", "S 1 g abc C"])
def test_serial_line_that_does_not_fit_is_refused(line: str) -> None:
    assert any(isinstance(one, DecodeError) for one in outcomes(SERIAL, line.encode() + b"\n"))


def test_source_carries_what_a_transport_needs() -> None:
    source = parse(SERIAL).source
    assert isinstance(source, SerialSource)
    assert (source.baud, source.format, source.poll) == (4800, "7E1", "W\r\n")


def test_advertisement_is_told_by_company_or_service() -> None:
    text = 'name = "beacon"\n[source]\nkind = "advertisement"\ncompany = 0xFFFF\n' + value()
    source = parse(text).source
    assert isinstance(source, AdvertisementSource)
    assert source.company == 0xFFFF


@pytest.mark.parametrize(("text", "part"), [
    ("name = ", "Invalid value"),
    (GATT, "value"),
    (GATT + value(unit="K"), "unknown unit 'K'"),
    (GATT + value(type=None), "at and type belong together"),
    (GATT + value(at=None, type=None), "either at"),
    (GATT + value(at=None, type=None, group="x"), "has at for each"),
    (GATT + value(scale=0), "other than 0"),
    (GATT + value() + value(), "declared twice"),
    (GATT + value(colour="red"), "colour"),
    (GATT.replace("gatt", "radio") + value(), "radio"),
    (GATT.replace("0000fff1", "fff1") + value(), "characteristic"),
    (SERIAL.replace("(?P<flag>", "("), "no group 'flag'"),
    (SERIAL.replace("(?P<flag>", "(?P<flag"), "regular expression"),
    (SERIAL.replace('words = ["S"]', ""), "words is missing"),
    ('name = "b"\n[source]\nkind = "advertisement"\n' + value(), "company or service"),
])  # fmt: skip
def test_unusable_declaration_says_what_is_wrong(text: str, part: str) -> None:
    with pytest.raises(ConfigError, match=part):
        parse(text)
