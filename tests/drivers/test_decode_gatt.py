"""GATT decoders against the published layouts.

Vectors: tests/data/gatt_vectors.csv, made from the Bluetooth GATT definitions, the GATT
Specification Supplement and IEEE 11073-20601; each row names its own source.
"""

from __future__ import annotations

import csv
import json
from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest

from pitlogger.devices.contract import Measurement
from pitlogger.devices.transports.ble import facts
from pitlogger.errors import (
    DecodeError,
    MalformedError,
    OutOfRangeError,
    ShortFrameError,
)
from pitlogger.model.readings import Quality
from pitlogger_drivers.battery.decode import decode as decode_battery
from pitlogger_drivers.environmental.decode import decode_humidity, decode_temperature
from pitlogger_drivers.health_thermometer.decode import decode as decode_thermometer
from pitlogger_drivers.health_thermometer.decode import measured_at as thermometer_time
from pitlogger_drivers.weight_scale.decode import decode as decode_weight
from pitlogger_drivers.weight_scale.decode import measured_at as weight_time

DATA = Path(__file__).parents[1] / "data" / "gatt_vectors.csv"
DECODERS: dict[str, Callable[[bytes], tuple[Measurement, ...]]] = {
    "2A9D": decode_weight,
    "2A1C": decode_thermometer,
    "2A1E": decode_thermometer,
    "2A6E": decode_temperature,
    "2A6F": decode_humidity,
    "2A19": decode_battery,
}
TIME = datetime.fromisoformat("2026-07-04T11:30:15")  # sent without a zone
UNIT = {"C": "Cel", "F": "degF", "kg": "kg", "lb": "lb", "%": "%RH"}


def rows(*characteristics: str) -> list[Any]:
    with DATA.open(newline="") as file:
        found = [
            row for row in csv.DictReader(file) if row["characteristic"][:4] in characteristics
        ]
    return [
        pytest.param(row["characteristic"][:4], row["hex"], json.loads(row["decoded_json"]))
        for row in found
    ]


@pytest.mark.parametrize(("kind", "data", "expected"), rows(*DECODERS))
def test_measurement_is_as_published(kind: str, data: str, expected: dict[str, Any]) -> None:
    decode = DECODERS[kind]
    frame = bytes.fromhex(data)
    if "error" in expected:
        with pytest.raises(DecodeError):
            decode(frame)
        return
    (measurement,) = decode(frame)
    value = expected.get("weight", expected.get("value", expected.get("percent")))
    assert measurement.value == value
    if "unit" in expected:
        assert measurement.unit == UNIT[expected["unit"]]
    assert (measurement.quality is Quality.GOOD) == (value is not None)


def test_reading_prints_as_the_decimals_of_the_layout() -> None:
    printed = [
        repr(decode_weight(bytes.fromhex("00" + raw.to_bytes(2, "little").hex()))[0].value)
        for raw in range(0, 65535, 7)
    ]
    assert max(len(text.partition(".")[2]) for text in printed) <= 3


@pytest.mark.parametrize(("word", "quality"), [
    ("ffff7f00", Quality.NO_VALUE),
    ("00008000", Quality.NO_VALUE),
    ("01008000", Quality.NO_VALUE),
    ("feff7f00", Quality.OVERLOAD),
    ("02008000", Quality.UNDERLOAD),
])  # fmt: skip
def test_special_float_words_have_no_value(word: str, quality: Quality) -> None:
    (measurement,) = decode_thermometer(bytes.fromhex("00" + word))
    assert (measurement.value, measurement.quality) == (None, quality)


def test_precision_of_a_float_does_not_change_its_value() -> None:
    assert decode_thermometer(bytes.fromhex("006b000000")) == decode_thermometer(
        bytes.fromhex("002e0400ff")
    )


@pytest.mark.parametrize(("decode", "data"), [
    (decode_thermometer, "000000807f"),  # -8388608e127
    (decode_thermometer, "00fdff7f7f"),
    (decode_thermometer, "0001000007"),  # ten million
    (decode_thermometer, "004c95fffe"),  # -273.16
    (decode_temperature, "4c95"),  # -273.16
    (decode_humidity, "1127"),  # 100.01
    (decode_battery, "65"),
])  # fmt: skip
def test_value_the_layout_forbids_is_refused(
    decode: Callable[[bytes], tuple[Measurement, ...]], data: str
) -> None:
    with pytest.raises(OutOfRangeError):
        decode(bytes.fromhex(data))


def test_lowest_allowed_temperature_is_kept() -> None:
    assert decode_temperature(bytes.fromhex("4d95"))[0].value == -273.15


@pytest.mark.parametrize("flags", range(256))
def test_every_flag_byte_fixes_the_shortest_weight_frame(flags: int) -> None:
    length = 3 + 7 * (flags >> 1 & 1) + (flags >> 2 & 1) + 4 * (flags >> 3 & 1)
    frame = bytes([flags]) + bytes(length - 1)
    assert decode_weight(frame)[0].value == 0
    with pytest.raises(ShortFrameError):
        decode_weight(frame[:-1])


def test_device_time_of_a_weight_tells_a_stored_one() -> None:
    assert weight_time(bytes.fromhex("02c800ea0707040b1e0f")) == TIME
    assert weight_time(bytes.fromhex("00c800")) is None


def test_device_time_of_a_temperature() -> None:
    frame = bytes.fromhex("026c0100ffea0707040b1e0f")
    assert thermometer_time(frame) == TIME


@pytest.mark.parametrize(("kind", "data", "expected"), rows("2A08", "2A2B"))
def test_date_time(kind: str, data: str, expected: dict[str, Any]) -> None:
    read = facts.current_time if kind == "2A2B" else facts.date_time
    found = read(bytes.fromhex(data))
    assert (found and found.isoformat()) == expected["time"]


def test_impossible_date_is_refused() -> None:
    with pytest.raises(MalformedError, match="month"):
        facts.date_time(bytes.fromhex("ea070d040b1e0f"))


@pytest.mark.parametrize("data", ["412d3100", "412d31", "20412d312000"])
def test_string_attribute_loses_its_padding(data: str) -> None:
    assert facts.text(bytes.fromhex(data)) == "A-1"
