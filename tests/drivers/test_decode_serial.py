"""Serial scales: header lines, bare numbers, the SMA standard, noise.

Vectors: tests/data/serial_scale_lines.csv; its ``verified`` column says how each row was
obtained.
"""

from __future__ import annotations

import codecs
import csv
import json
from pathlib import Path
from typing import Any

import pytest

from pitlogger.devices.contract import Chunk, Decoder, Measurement
from pitlogger.devices.decoders import DecodeOptions, load
from pitlogger.devices.framing import LineDecoder
from pitlogger.errors import (
    DecodeError,
    DeviceRefusalError,
    MalformedError,
    ShortFrameError,
    UnknownFrameError,
)
from pitlogger.model.readings import Quality
from pitlogger_drivers.serial_scale.decode import decode as decode_line
from pitlogger_drivers.sma_scale.decode import decode as decode_sma

DATA = Path(__file__).parents[1] / "data" / "serial_scale_lines.csv"
DECODER = {
    "header-csv": "serial-scale",
    "bare-number": "serial-scale",
    "faults": "serial-scale",
    "standard-sma": "sma-scale",
}
STATUS = {
    "overload": Quality.OVERLOAD,
    "underload": Quality.UNDERLOAD,
    "invalid": Quality.NO_VALUE,
    "zero error": Quality.FAULT,
    "tare error": Quality.FAULT,
}


def rows() -> list[dict[str, str]]:
    with DATA.open(newline="") as file:
        return [row for row in csv.DictReader(file) if row["family"] in DECODER]


def unescape(text: str) -> bytes:
    return codecs.decode(text, "unicode_escape").encode("latin-1")


def feed(decoder: Decoder, data: bytes) -> list[Measurement | DecodeError]:
    return list(decoder.feed(Chunk("", data)))


@pytest.mark.parametrize("row", rows(), ids=lambda row: row["line_escaped"][:24])
def test_line_is_read_as_written_down(row: dict[str, str]) -> None:
    expected: dict[str, Any] = json.loads(row["decoded_json"])
    decoder = load(DECODER[row["family"]]).build(DecodeOptions())
    outcomes = feed(decoder, unescape(row["line_escaped"]))
    (found,) = outcomes
    if expected.get("mode") == "count" or expected.get("status", "") in (
        "malformed",
        "unknown command",
        "communication error",
    ):
        assert isinstance(found, DecodeError)
        return
    assert isinstance(found, Measurement)
    assert found.value == expected["value"]
    if expected["value"] is None:
        assert found.quality is STATUS[expected["status"]]
    else:
        assert found.unit == (expected["unit"] or "")
        assert found.stable is expected["stable"]


@pytest.mark.parametrize(("line", "value", "unit", "stable"), [
    ("US,NT,+  2.500kg", 2.5, "kg", False),
    ("ST,GS,      0.0 g", 0.0, "g", True),
    ("ST,GS,-     0 g", 0.0, "g", True),
    ("ST,+  1.234kg", 1.234, "kg", True),
    ("ST,GS,+   12.3", 12.3, "", True),
    ("ST,GS,+  7,5lb", 7.5, "lb", True),
    ("Net: 12.50 LBS", 12.5, "lb", None),
    ("-0.005 kg", -0.005, "kg", None),
    ("- 0.005 kg", -0.005, "kg", None),
    ("450 g", 450.0, "g", None),
    ("  5 kg", 5.0, "kg", None),
    ("1.234 kg M", 1.234, "kg", False),
    ("1.234 kg N ?", 1.234, "kg", False),
    ("N   0.834 kg", 0.834, "kg", None),
    ("GROSS 12.50lb", 12.5, "lb", None),
    ("G+ 1.234kg ?", 1.234, "kg", False),
    ("Total: 1.234 kg", 1.234, "kg", None),
    ("123.45oz", 123.45, "oz", None),
])  # fmt: skip
def test_further_lines_of_the_families(
    line: str, value: float, unit: str, stable: bool | None
) -> None:
    (found,) = decode_line(line.encode())
    assert (found.channel, found.value, found.unit, found.stable) == ("mass", value, unit, stable)


@pytest.mark.parametrize("line", ["ST,TR,+  0.400kg", "0.400 kg T", "T 0.400 kg", "Tare: 0.400 kg"])
def test_tare_shown_by_the_scale_is_no_load(line: str) -> None:
    assert decode_line(line.encode())[0].channel == "tare"


@pytest.mark.parametrize(
    ("line", "ounces"),
    [
        ("13 lb 7.0 oz", 215.0),
        ("ST,GS,+ 13lb 7.0oz", 215.0),
        ("ST,NT,-  0lb 3.2oz", -3.2),
        ("0 lb 15,5 oz", 15.5),
    ],
)
def test_pounds_with_ounces_become_ounces(line: str, ounces: float) -> None:
    (found,) = decode_line(line.encode())
    assert (found.value, found.unit) == (ounces, "oz")


@pytest.mark.parametrize("line", ["12.5 lb 7 oz", "13 lb 17.0 oz", "13 lb -7 oz", "1,3 lb 7 oz"])
def test_pounds_and_ounces_that_do_not_go_together_are_refused(line: str) -> None:
    with pytest.raises(DecodeError):
        decode_line(line.encode())


def test_minus_zero_is_zero() -> None:
    assert str(decode_line(b"ST,GS,-  0.000kg")[0].value) == "0.0"


@pytest.mark.parametrize("tail", ["34kg", "4kg", "234kg", ".234kg", "50lb", "kg", "GS,+  1.2kg"])
def test_tail_of_a_line_is_never_a_mass(tail: str) -> None:
    with pytest.raises(DecodeError):
        decode_line(tail.encode())


@pytest.mark.parametrize(
    "line",
    [
        "ST,GS,+ 1e400kg",
        "ST,GS,+ 1_000kg",
        "ST,GS,+ nanokg",
        "ST,GS,+ 1.2.3kg",
        "ST",
        "ST,GS",
        "1.234 G",
        "+ - 1.2 kg",
        "1.234 kg kg",
        "٣.٤ kg",
        "ST,GS,+  1.234kg ST,GS,+  1.234kg",
    ],
)
def test_malformed_line_is_refused(line: str) -> None:
    with pytest.raises(DecodeError):
        decode_line(line.encode())


@pytest.mark.parametrize("line", ["25 pcs", "ST,GS,+ 3 tl", "1.234 t"])
def test_unit_that_is_no_mass_is_named(line: str) -> None:
    with pytest.raises((UnknownFrameError, MalformedError)):
        decode_line(line.encode())


def test_seven_data_bits_read_as_eight_get_their_own_message() -> None:
    sent = bytes(byte | (0x80 if byte.bit_count() % 2 else 0) for byte in b"ST,GS,+  1.234kg")
    with pytest.raises(MalformedError, match="7E1"):
        decode_line(sent)


def test_wrong_baud_rate_gets_its_own_message() -> None:
    with pytest.raises(MalformedError, match="baud"):
        decode_line(b"\xfe\x00\x80\x1f\xe0")


@pytest.mark.parametrize("ending", ["\r\n", "\r", "\n", "\n\r"])
def test_each_line_ending_ends_one_line(ending: str) -> None:
    decoder = LineDecoder(decode_line, refuse_blank=True)
    outcomes = feed(decoder, f"1.1 kg{ending}1.2 kg{ending}".encode())
    assert [found.value for found in outcomes if isinstance(found, Measurement)] == [1.1, 1.2]
    assert len(outcomes) == 2


def test_stx_begins_a_frame_and_drops_nothing_in_silence() -> None:
    decoder = LineDecoder(decode_line, refuse_blank=True)
    outcomes = feed(decoder, b"x\x021.234kg\x03\r\n\x021.235kg\x03\r\n")
    assert [type(found) for found in outcomes] == [MalformedError, Measurement, Measurement]


def test_stream_opened_in_the_middle_loses_its_first_line_only() -> None:
    decoder = LineDecoder(decode_line, midstream=True)
    outcomes = feed(decoder, b"34.5kg\r\n1.2 kg\r\n")
    assert [found.value for found in outcomes if isinstance(found, Measurement)] == [1.2]


def test_line_without_end_is_refused_once_and_the_next_is_read() -> None:
    decoder = LineDecoder(decode_line)
    outcomes = [found for _ in range(4) for found in feed(decoder, b"A" * 200)]
    outcomes += feed(decoder, b"\n1.2 kg\n")
    assert [type(found) for found in outcomes] == [MalformedError, Measurement]


def test_rest_without_a_terminator_is_named_at_the_end() -> None:
    decoder = LineDecoder(decode_line)
    assert feed(decoder, b"ST,GS,+  1.2") == []
    (found,) = decoder.finish()
    assert isinstance(found, ShortFrameError)
    assert decoder.finish() == []


def test_bad_line_does_not_hide_the_next() -> None:
    outcomes = feed(LineDecoder(decode_line), b"garbage\r\n1.2 kg\r\n")
    assert [type(found) for found in outcomes] == [MalformedError, Measurement]


@pytest.mark.parametrize(("line", "error"), [
    ("?", DeviceRefusalError),
    ("!", DeviceRefusalError),
    (" 1GM      7.650", ShortFrameError),
    (" 1XM      7.650kg ", UnknownFrameError),
    ("Q1G       7.650kg ", UnknownFrameError),
    (" 1G       7.6_0kg ", MalformedError),
    (" 1G       7.650l/o", UnknownFrameError),
    (" 1GX      7.650kg ", MalformedError),
    (" 1GM      7.650kg 99", MalformedError),
])  # fmt: skip
def test_sma_refusal_has_its_own_name(line: str, error: type[DecodeError]) -> None:
    with pytest.raises(error):
        decode_sma(line.encode())


def test_sma_in_tare_mode_shows_the_tare() -> None:
    assert decode_sma(b" 1T       0.400kg ")[0].channel == "tare"


def test_sma_initial_zero_error_has_no_value() -> None:
    assert decode_sma(b"I1G       0.400kg ")[0].quality is Quality.FAULT


def test_sma_reply_after_noise_is_read() -> None:
    decoder = load("sma-scale").build(DecodeOptions())
    outcomes = feed(decoder, b"~~\n 1G       7.650kg \r")
    assert [type(found) for found in outcomes] == [ShortFrameError, Measurement]
