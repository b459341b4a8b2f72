"""SenML from a broker (RFC 8428): a name that could command a terminal becomes no channel."""

from __future__ import annotations

import json

import pytest

from pitlogger.devices.contract import Measurement
from pitlogger_drivers.mqtt_senml.decode import decode


@pytest.mark.parametrize("name", ["pit\x1b[2J", "pit\nforged", "pit\u202e", "\x00"])
def test_a_name_that_cannot_be_printed_is_refused_alone(name: str) -> None:
    pack = [{"n": name, "u": "Cel", "v": 1}, {"n": "pit", "u": "Cel", "v": 110}]
    refused, kept = decode(json.dumps(pack).encode())
    assert "cannot be printed" in str(refused)
    assert isinstance(kept, Measurement)
    assert kept.channel == "pit"
