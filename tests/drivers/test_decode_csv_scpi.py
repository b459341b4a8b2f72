"""Micro-controller lines and SCPI answers.

Vectors: tests/data/serial_scale_lines.csv, families micro-csv and scpi.
"""

from __future__ import annotations

import codecs
import csv
import json
from pathlib import Path
from typing import Any

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
)
from pitlogger.model.quantities import Quantity
from pitlogger.model.readings import Quality
from pitlogger_drivers.scpi.decode import Identity, identity

DATA = Path(__file__).parents[1] / "data" / "serial_scale_lines.csv"
NAN = None


def rows(family: str) -> list[dict[str, str]]:
    with DATA.open(newline="") as file:
        return [row for row in csv.DictReader(file) if row["family"] == family]


def outcomes(name: str, text: str, mapping: str = "") -> list[Measurement | DecodeError]:
    data = codecs.decode(text, "unicode_escape").encode("latin-1")
    return list(load(name).build(DecodeOptions(map=mapping)).feed(Chunk("", data)))


def found(name: str, text: str, mapping: str = "") -> list[tuple[str, float | None, str]]:
    measurements = outcomes(name, text, mapping)
    assert all(isinstance(one, Measurement) for one in measurements)
    return [(m.channel, m.value, m.unit) for m in measurements if isinstance(m, Measurement)]


@pytest.mark.parametrize("row", rows("micro-csv"), ids=lambda row: row["line_escaped"])
def test_csv_line_is_read_as_written_down(row: dict[str, str]) -> None:
    expected: dict[str, Any] = json.loads(row["decoded_json"])
    values = [value for _, value, _ in found("csv-line", row["line_escaped"])]
    if "comment" in expected:
        assert values == []
    elif "channels" in expected:
        assert values == expected["channels"]
    elif "ms" in expected:
        assert expected["ms"] not in values
        assert values == [107.4]
    else:
        assert values == [107.4, 65.2, 4.53]


def test_header_gives_names_and_units() -> None:
    text = r"millis,pit_c,core (F),bench_g,rh_pct,batt_pct,x\n1,107.4,203,4530,40,80,9\n"
    assert found("csv-line", text) == [
        ("pit", 107.4, "Cel"),
        ("core", 203.0, "degF"),
        ("bench", 4530.0, "g"),
        ("rh", 40.0, "%RH"),
        ("batt", 80.0, "%EL"),
        ("x", 9.0, ""),
    ]


def test_header_without_units_guesses_none() -> None:
    measurements = outcomes("csv-line", r"ms,temp1,weight\n5,107.4,4.5\n")
    assert [(m.quantity, m.unit) for m in measurements if isinstance(m, Measurement)] == [
        (Quantity.TEMPERATURE, ""),
        (Quantity.MASS, ""),
    ]


def test_header_in_midstream_names_the_columns_anew() -> None:
    text = r"pit_c,core_c\n107,65\ncore_c,pit_c\n66,108\n"
    assert [name for name, _, _ in found("csv-line", text)] == ["pit", "core", "core", "pit"]


def test_map_of_a_person_outlives_a_header() -> None:
    text = r"a_c,b_c\n120,107.4,4.5\n"
    assert found("csv-line", text, "ms,pit:degF,bench:kg") == [
        ("pit", 107.4, "degF"),
        ("bench", 4.5, "kg"),
    ]


@pytest.mark.parametrize(
    ("field", "quality"),
    [
        ("nan", Quality.NO_VALUE),
        ("NAN", Quality.NO_VALUE),
        ("", Quality.NO_VALUE),
        ("--", Quality.NO_VALUE),
        ("inf", Quality.OVERLOAD),
        ("err", Quality.FAULT),
        ("open", Quality.OPEN),
    ],
)
def test_field_without_a_value_says_why(field: str, quality: Quality) -> None:
    first, second = outcomes("csv-line", rf"pit_c,core_c\n{field},65.2\n")
    assert isinstance(first, Measurement)
    assert isinstance(second, Measurement)
    assert (first.value, first.quality, second.value) == (None, quality, 65.2)


@pytest.mark.parametrize("line", [r"107.4\n", r"107.4,65.2,1\n"])
def test_line_with_other_columns_than_the_header_is_refused(line: str) -> None:
    (error,) = outcomes("csv-line", r"pit_c,core_c\n" + line)
    assert isinstance(error, MalformedError)


def test_checksum_is_verified() -> None:
    assert [value for _, value, _ in found("csv-line", r"$107.4,65.2*1F\n")] == [107.4, 65.2]
    (error,) = outcomes("csv-line", r"$107.4,65.3*1F\n")
    assert isinstance(error, ChecksumError)


@pytest.mark.parametrize(
    "line", ["107.4,1e400", "1_0,2.5", "0x10,2.5", "{", '{"t":true}', '{"t":{}}']
)
def test_field_that_is_no_number_is_refused(line: str) -> None:
    (error,) = outcomes("csv-line", line + r"\n")
    assert isinstance(error, MalformedError)


def test_word_at_start_up_is_no_header() -> None:
    (error,) = outcomes("csv-line", r"ready\n")
    assert isinstance(error, MalformedError)


def test_json_list_counts_its_probes() -> None:
    text = r'{"ms":5,"pit_c":[107.4,null],"bench_kg":4.53,"x":"nan"}\n'
    assert found("csv-line", text) == [
        ("pit-1", 107.4, "Cel"),
        ("pit-2", NAN, "Cel"),
        ("bench", 4.53, "kg"),
        ("x", NAN, ""),
    ]


def test_value_its_unit_cannot_have_does_not_hide_the_next() -> None:
    first, second = outcomes("csv-line", r"rh_pct,pit_c\n101,107.4\n")
    assert isinstance(first, OutOfRangeError)
    assert isinstance(second, Measurement)


@pytest.mark.parametrize("mapping", ["pit", "pit:K", ":Cel"])
def test_unusable_map_is_a_configuration_error(mapping: str) -> None:
    with pytest.raises(ConfigError):
        outcomes("csv-line", r"1\n", mapping)


@pytest.mark.parametrize("row", rows("scpi"), ids=lambda row: row["line_escaped"])
def test_scpi_answer_is_read_as_written_down(row: dict[str, str]) -> None:
    expected: dict[str, Any] = json.loads(row["decoded_json"])
    if expected.get("error"):
        (error,) = outcomes("scpi", row["line_escaped"])
        assert isinstance(error, DeviceRefusalError)
        return
    values = [value for _, value, _ in found("scpi", row["line_escaped"])]
    if "values" in expected:
        assert values == expected["values"]
    elif "value" in expected:
        assert values == [expected["value"]]
    else:
        assert values == []


@pytest.mark.parametrize(
    ("text", "quality"),
    [
        ("9.9E37", Quality.OVERLOAD),
        ("-9.900E+37", Quality.UNDERLOAD),
        ("+9.91E+37", Quality.NO_VALUE),
    ],
)
def test_scpi_special_number_has_no_value(text: str, quality: Quality) -> None:
    (measurement,) = outcomes("scpi", text + r"\n")
    assert isinstance(measurement, Measurement)
    assert (measurement.value, measurement.quality) == (None, quality)


def test_scpi_channels_are_numbered_in_order() -> None:
    assert found("scpi", r"107.4,65;20\n") == [
        ("temperature", 107.4, "Cel"),
        ("temperature-2", 65.0, "Cel"),
        ("temperature-3", 20.0, "Cel"),
    ]


def test_scpi_unit_comes_from_the_map() -> None:
    assert found("scpi", r"225.3\n", "pit:degF") == [("pit", 225.3, "degF")]


@pytest.mark.parametrize("text", ["abc", "1e", "nano", "107.4,abc", "--1"])
def test_scpi_answer_that_is_no_number_is_refused(text: str) -> None:
    (error,) = outcomes("scpi", text + r"\n")
    assert isinstance(error, MalformedError)


def test_scpi_identity_has_four_fields() -> None:
    assert identity("GENERIC,TC4,0001,1.2") == Identity("GENERIC", "TC4", "0001", "1.2")
    assert identity("1,2,3,4") is None
