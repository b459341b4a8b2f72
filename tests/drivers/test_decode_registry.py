"""Decoders by name, and the ``decode`` command."""

from __future__ import annotations

import json
import shlex
import tomllib
from importlib.metadata import entry_points
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

from pitlogger.cli.instruments.decode import decode
from pitlogger.devices import decoders
from pitlogger.errors import ConfigError, DecodeError, DriverError, UsageError

ROOT = Path(__file__).parents[2]
NAMES = [
    "bthome",
    "csv-line",
    "gatt-2a19",
    "gatt-2a1c",
    "gatt-2a1e",
    "gatt-2a6e",
    "gatt-2a6f",
    "gatt-2a9d",
    "hid-scale",
    "hwmon",
    "iio",
    "keyboard-scanner",
    "line-scanner",
    "modbus",
    "scpi",
    "senml",
    "serial-scale",
    "sma-scale",
    "thermistor",
    "type-k",
    "w1",
]
DECLARATION = """
name = "tray-probe"
[source]
kind = "gatt"
characteristic = "0000fff1-0000-1000-8000-00805f9b34fb"
[[value]]
channel = "core"
at = 1
type = "i16"
scale = 0.1
unit = "Cel"
"""


@pytest.fixture(autouse=True)
def no_declared_devices(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Path:
    folder = tmp_path / "devices"
    folder.mkdir()
    monkeypatch.setattr(decoders, "declaration_folders", lambda: (folder,))
    return folder


def run(*arguments: str) -> Result:
    return CliRunner().invoke(decode, list(arguments), catch_exceptions=True)


def document(*arguments: str) -> dict[str, Any]:
    found: dict[str, Any] = json.loads(run(*arguments, "--json").stdout)
    return found


def test_installed_decoders_are_those_of_the_project_file() -> None:
    table = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]["entry-points"]
    installed = {point.name: point.value for point in entry_points(group=decoders.GROUP)}
    assert table[decoders.GROUP].items() <= installed.items(), "run: pip install -e ."


def test_names_are_the_contract() -> None:
    assert decoders.names() == NAMES


@pytest.mark.parametrize("name", NAMES)
def test_decoder_knows_itself_and_its_example_gives_a_value(name: str) -> None:
    info = decoders.load(name)
    assert info.name == name
    assert info.summary
    found = document(name, *shlex.split(info.example))
    assert found["error"] is None
    assert all(reading["value"] is not None or reading["text"] for reading in found["readings"])
    assert found["readings"]


def test_unknown_decoder_names_the_nearest() -> None:
    with pytest.raises(DriverError, match="did you mean 'modbus'"):
        decoders.load("modbux")


def test_document_has_the_keys_of_the_contract() -> None:
    assert document("hid-scale", "--hex", "030402ff3930") == {
        "readings": [
            {
                "channel": "mass",
                "quantity": "mass",
                "value": 1234.5,
                "unit": "g",
                "quality": "good",
                "stable": True,
            }
        ],
        "error": None,
    }


def test_refused_bytes_are_printed_and_exit_1() -> None:
    result = run("gatt-2a9d", "--hex", "", "--json")
    found = json.loads(result.stdout)
    assert found["readings"] == []
    assert found["error"]["type"] == "ShortFrameError"
    assert isinstance(result.exception, DecodeError)
    assert result.exception.exit_code == 1


def test_no_value_is_no_refusal() -> None:
    result = run("gatt-2a9d", "--hex", "00ffff", "--json")
    assert result.exit_code == 0
    assert json.loads(result.stdout)["readings"][0]["quality"] == "no-value"


def test_text_for_people_shows_value_and_unit() -> None:
    assert "1.234  kg" in run("serial-scale", "--text", r"ST,GS,+  1.234kg\r\n").stdout


def test_text_takes_escapes() -> None:
    found = document("serial-scale", "--text", r"\x021.234kg G\x03\r\n")
    assert [reading["value"] for reading in found["readings"]] == [1.234]


def test_file_holds_raw_bytes(tmp_path: Path) -> None:
    path = tmp_path / "frame.bin"
    path.write_bytes(bytes.fromhex("00c800"))
    assert document("gatt-2a9d", "--file", str(path))["readings"][0]["value"] == 1.0


def test_frames_that_follow_each_other_share_the_state() -> None:
    found = document("bthome", "--hex", "400009453204", "--hex", "400009453304")
    assert len(found["readings"]) == 1
    assert found["error"]["type"] == "DuplicateFrameError"


def test_encrypted_frame_needs_key_and_address() -> None:
    frame = ("bthome", "--hex", "41e445f3c9962b332211006c7c4519")
    key = ("--key", "231d39c1d7cc1ab1aee224cd096db932", "--address", "54:48:E6:8F:80:A5")
    assert document(*frame)["error"]["type"] == "KeyMissingError"
    assert [reading["value"] for reading in document(*frame, *key)["readings"]] == [25.06, 50.55]


@pytest.mark.parametrize("arguments", [
    (),
    ("gatt-2a9d",),
    ("gatt-2a9d", "--hex", "0"),
    ("gatt-2a9d", "--hex", "xy"),
    ("gatt-2a9d", "--hex", "00", "--text", "a"),
    ("gatt-2a9d", "--hex", "00c800", "--map", "0:i16:1:Cel"),
    ("scpi", "--text", r"\q"),
    ("scpi", "--text", "1\\"),
    ("bthome", "--hex", "40", "--key", "00"),
    ("bthome", "--hex", "40", "--key", "0" * 32),
    ("modbus", "--hex", "00", "--map", "0:i17:1:Cel"),
    ("nowhere.toml", "--hex", "00"),
])  # fmt: skip
def test_wrong_usage_is_named(arguments: tuple[str, ...]) -> None:
    result = run(*arguments)
    assert isinstance(result.exception, UsageError | ConfigError)
    assert result.exception.exit_code == 2


def test_list_names_all_decoders() -> None:
    assert [row["name"] for row in document("--list")["decoders"]] == NAMES
    assert "sma-scale" in run("--list").stdout


def test_declared_device_is_decoded_by_its_path(tmp_path: Path) -> None:
    path = tmp_path / "probe.toml"
    path.write_text(DECLARATION)
    assert document(str(path), "--hex", "a53204")["readings"][0]["value"] == 107.4


def test_declared_device_is_listed_and_decoded_by_its_name(no_declared_devices: Path) -> None:
    (no_declared_devices / "tray-probe.toml").write_text(DECLARATION)
    assert decoders.names() == [*NAMES, "tray-probe"]
    assert document("tray-probe", "--hex", "a53204")["readings"][0]["value"] == 107.4


def test_broken_declaration_names_its_fault(tmp_path: Path) -> None:
    path = tmp_path / "probe.toml"
    path.write_text(DECLARATION.replace("Cel", "K"))
    result = run(str(path), "--hex", "a53204")
    assert isinstance(result.exception, ConfigError)
    assert "unknown unit 'K'" in str(result.exception)
