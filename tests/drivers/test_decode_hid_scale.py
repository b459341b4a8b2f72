"""USB HID scale reports.

Vectors: tests/data/hid_scale_vectors.csv, from the USB-IF usage tables, page 0x8D.
"""

from __future__ import annotations

import csv
import json
from pathlib import Path

import pytest

from pitlogger.devices.contract import milli_units
from pitlogger.errors import DecodeError, OutOfRangeError, ShortFrameError, UnknownFrameError
from pitlogger.model.readings import Quality
from pitlogger_drivers.hid_scale.decode import decode

DATA = Path(__file__).parents[1] / "data" / "hid_scale_vectors.csv"
UNIT = {"ounce": "oz", "pound": "lb"}
UNKNOWN_STATUS = "reserved"


def rows() -> list[dict[str, str]]:
    with DATA.open(newline="") as file:
        return list(csv.DictReader(file))


@pytest.mark.parametrize("row", rows(), ids=lambda row: row["note"])
def test_report_is_as_published(row: dict[str, str]) -> None:
    expected = json.loads(row["decoded_json"])
    report = bytes.fromhex(row["report_hex"])
    if "error" in expected or expected["status"] == UNKNOWN_STATUS:
        with pytest.raises(DecodeError):
            decode(report)
        return
    (found,) = decode(report)
    assert found.value == expected["value"]
    assert found.unit == UNIT.get(expected["unit"], expected["unit"])
    assert found.stable is expected["stable"]
    if "kg" in expected:
        assert found.value is not None
        assert milli_units(found.value, found.unit) == round(expected["kg"] * 1e6)


@pytest.mark.parametrize(("status", "quality"), [
    (1, Quality.FAULT), (6, Quality.OVERLOAD), (7, Quality.FAULT), (8, Quality.FAULT),
])  # fmt: skip
def test_status_without_a_value_says_why(status: int, quality: Quality) -> None:
    (found,) = decode(bytes([3, status, 2, 0, 20, 0]))
    assert (found.value, found.quality) == (None, quality)


def test_fault_is_told_whatever_the_unit() -> None:
    assert decode(bytes([3, 1, 0, 0, 0, 0]))[0].quality is Quality.FAULT


@pytest.mark.parametrize(("unit", "grams"), [
    (1, 0.001), (2, 1.0), (3, 1000.0), (4, 0.2), (6, 0.06479891), (7, 1.55517384), (8, 1e6),
    (9, 907184.74), (10, 31.1034768), (11, 28.349523125), (12, 453.59237),
])  # fmt: skip
def test_unit_leads_to_its_mass(unit: int, grams: float) -> None:
    (found,) = decode(bytes([3, 4, unit, 0, 1, 0]))
    assert found.value is not None
    assert milli_units(found.value * 1e6, found.unit) == pytest.approx(grams * 1e9, rel=1e-12)


@pytest.mark.parametrize(("report", "error"), [
    ("0304050014 00", UnknownFrameError),  # tael
    ("0304000014 00", UnknownFrameError),
    ("03040d0014 00", UnknownFrameError),
    ("0404020014 00", UnknownFrameError),
    ("0300020014 00", UnknownFrameError),
    ("03040b7fffff", OutOfRangeError),
    ("", ShortFrameError),
])  # fmt: skip
def test_refusal_has_its_own_name(report: str, error: type[DecodeError]) -> None:
    with pytest.raises(error):
        decode(bytes.fromhex(report))


def test_unit_may_change_between_two_reports() -> None:
    first, second = decode(bytes.fromhex("030402001400")), decode(bytes.fromhex("03040bff1400"))
    assert [(found.value, found.unit) for found in (*first, *second)] == [(20, "g"), (2, "oz")]


def test_bytes_behind_the_report_are_accepted() -> None:
    assert decode(bytes.fromhex("0304020014000000")) == decode(bytes.fromhex("030402001400"))
