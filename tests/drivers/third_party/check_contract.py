"""The contract suite, as the kettle's author runs it: ``pytest check_contract.py``."""

from __future__ import annotations

from pathlib import Path

from pitlogger_tea_kettle import TeaKettle

from pitlogger.testing import DriverContract


class TestTeaKettle(DriverContract):
    """The kettle meets the contract."""

    driver = TeaKettle
    config = {"port": "/dev/ttyUSB0"}  # noqa: RUF012
    recording = Path(__file__).parent / "capture.jsonl"
