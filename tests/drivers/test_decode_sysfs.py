"""Kernel sensor files: 1-Wire, IIO, hwmon.

Vectors: tests/data/sysfs_vectors.csv, from the Linux kernel's documents of the three.
"""

from __future__ import annotations

import csv
import json
from pathlib import Path
from typing import Any

import pytest

from pitlogger.devices.contract import Chunk, Measurement
from pitlogger.devices.decoders import DecodeOptions, load
from pitlogger.errors import (
    ChecksumError,
    DecodeError,
    MalformedError,
    OutOfRangeError,
    ShortFrameError,
)
from pitlogger.model.readings import Quality

DATA = Path(__file__).parents[1] / "data" / "sysfs_vectors.csv"
BYTES = "91 01 4b 46 7f ff 0c 10 70"
DECODER = {"w1_slave": "w1", "w1 temperature": "w1", "iio": "iio", "hwmon": "hwmon"}


def rows() -> list[dict[str, str]]:
    with DATA.open(newline="") as file:
        return list(csv.DictReader(file))


def outcomes(name: str, text: str) -> list[Measurement | DecodeError]:
    data = text.replace("\\n", "\n").encode()
    return list(load(name).build(DecodeOptions()).feed(Chunk("", data)))


@pytest.mark.parametrize("row", rows(), ids=lambda row: f"{row['abi']} {row['case']}")
def test_file_is_read_as_the_kernel_says(row: dict[str, str]) -> None:
    expected: dict[str, Any] = json.loads(row["decoded_json"])
    text = row["text"]
    if row["case"] == "temp1_fault=1":  # the content of one file of two
        text = "temp1_input=107500 temp1_fault=1"
    values = [
        one.value for one in outcomes(DECODER[row["abi"]], text) if isinstance(one, Measurement)
    ]
    assert (values or [None]) == [expected["C"]]


@pytest.mark.parametrize(
    ("name", "text", "error"),
    [
        ("w1", "", ShortFrameError),
        ("w1", "\n", ShortFrameError),
        ("w1", f"{BYTES} : crc=70 NO\n{BYTES} t=25062", ChecksumError),
        ("w1", "91 01 4b 46 7f ff 0c 10 70 : crc=70 YES\n", MalformedError),
        ("w1", "abc", MalformedError),
        ("w1", "1e5", MalformedError),
        ("w1", "\u00e9", MalformedError),
        ("iio", "", ShortFrameError),
        ("iio", "107500", MalformedError),
        ("iio", "in_temp_raw=430", MalformedError),
        ("iio", "name=max", MalformedError),
        ("iio", "in_temp_input=107500 fault_oc=x", MalformedError),
        ("iio", "in_temp_input=-300000", OutOfRangeError),
        ("hwmon", "", ShortFrameError),
        ("hwmon", "temp1_fault=0", MalformedError),
        ("hwmon", "temp1_label=pit", MalformedError),
        ("hwmon", "-300000", OutOfRangeError),
    ],
)
def test_refusal_has_its_own_name(name: str, text: str, error: type[DecodeError]) -> None:
    (found,) = outcomes(name, text)
    assert type(found) is error


@pytest.mark.parametrize(
    ("text", "quality"),
    [
        ("00 00 00 00 00 00 00 00 00 : crc=00 YES\n00 00 00 00 00 00 00 00 00 t=0", Quality.FAULT),
        (
            "50 05 4b 46 7f ff 0c 10 1c : crc=1c YES\n50 05 4b 46 7f ff 0c 10 1c t=85000",
            Quality.NO_VALUE,
        ),
        ("127937", Quality.FAULT),
        ("<ENODEV>", Quality.OPEN),
    ],
)
def test_w1_without_a_value_says_why(text: str, quality: Quality) -> None:
    (found,) = outcomes("w1", text)
    assert isinstance(found, Measurement)
    assert (found.value, found.quality) == (None, quality)


def test_w1_85_degrees_alone_is_a_heat_like_any_other() -> None:
    (found,) = outcomes("w1", "85000\n")
    assert isinstance(found, Measurement)
    assert (found.value, found.quality) == (85.0, Quality.GOOD)


@pytest.mark.parametrize("text", ["125062", "-55062"])
def test_w1_beyond_the_sensor_is_kept_and_marked(text: str) -> None:
    (found,) = outcomes("w1", text)
    assert isinstance(found, Measurement)
    assert (found.value, found.quality) == (int(text) / 1000, Quality.OUT_OF_RANGE)


def test_iio_raw_takes_offset_and_scale() -> None:
    (found,) = outcomes("iio", "in_temp_raw=100 in_temp_offset=-10.5 in_temp_scale=62.5")
    assert isinstance(found, Measurement)
    assert found.value == 5.59375


def test_iio_scale_may_be_shared_by_all_channels() -> None:
    first, second = outcomes("iio", "in_temp0_raw=4 in_temp1_raw=8 in_temp_scale=250")
    assert isinstance(first, Measurement)
    assert isinstance(second, Measurement)
    assert (first.channel, first.value) == ("temperature-0", 1.0)
    assert (second.channel, second.value) == ("temperature-1", 2.0)


@pytest.mark.parametrize(("fault", "quality"), [
    ("fault_oc=1", Quality.OPEN), ("fault_ovuv=1", Quality.FAULT), ("fault_oc=0", Quality.GOOD),
])  # fmt: skip
def test_iio_fault_counts_for_the_hot_junction_alone(fault: str, quality: Quality) -> None:
    text = f"in_temp_input=107500 in_temp_ambient_input=25000 {fault}"
    hot, cold = outcomes("iio", text)
    assert isinstance(hot, Measurement)
    assert isinstance(cold, Measurement)
    assert hot.quality is quality
    assert (cold.channel, cold.value) == ("cold-junction", 25.0)


def test_hwmon_channels_of_one_chip() -> None:
    text = "temp10_input=1000 temp1_input=107500 temp2_input=65200 temp2_fault=1 temp1_label=pit"
    assert [
        (one.channel, one.value, one.quality)
        for one in outcomes("hwmon", text)
        if isinstance(one, Measurement)
    ] == [
        ("temperature", 107.5, Quality.GOOD),
        ("temperature-2", None, Quality.FAULT),
        ("temperature-10", 1.0, Quality.GOOD),
    ]


def test_hwmon_channel_switched_off_has_no_value() -> None:
    (found,) = outcomes("hwmon", "temp1_input=<ENODATA>")
    assert isinstance(found, Measurement)
    assert (found.value, found.quality) == (None, Quality.NO_VALUE)
