"""Every registered driver meets the contract, each with a recording of its own."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from pitlogger.devices.registry import Registry
from pitlogger.devices.transports.recording import read_recording
from pitlogger.testing import DriverContract

RECORDINGS = Path(__file__).parents[1] / "recordings"
DRIVERS = Registry().names()


def recording_of(name: str) -> Path:
    """Return a driver's recording."""
    found = (path for path in sorted(RECORDINGS.glob("*/capture.jsonl")) if _driver(path) == name)
    return next(found)


def _driver(path: Path) -> str:
    return read_recording(path)[0].driver


def _with_paths(config: dict[str, Any]) -> dict[str, Any]:
    """Let files named from the root of the repository be found from anywhere."""
    root = RECORDINGS.parents[1]
    return {k: str(root / v) if str(v).startswith("tests/") else v for k, v in config.items()}


class TestEveryDriver(DriverContract):
    """The suite, over all of them."""

    @pytest.fixture(autouse=True, params=DRIVERS)
    def _one_driver(self, request: pytest.FixtureRequest) -> None:
        cls = type(self)
        cls.driver = Registry().load(request.param)
        cls.recording = recording_of(request.param)
        cls.config = _with_paths(read_recording(cls.recording)[0].config)


def test_there_is_a_driver_for_every_open_kind_of_device() -> None:
    assert set(DRIVERS) >= {
        "bthome", "csv-line", "declared", "environmental-sensing", "health-thermometer",
        "hid-scale", "hwmon", "iio", "modbus", "mqtt-senml", "replay", "scpi", "serial-scale",
        "sma-scale", "w1", "weight-scale", "keyboard-scanner", "line-scanner",
    }  # fmt: skip
