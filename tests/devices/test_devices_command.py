"""``pitlogger devices``: as a person runs it."""

from __future__ import annotations

import asyncio
import json
import os
import signal
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from pitlogger.cli.instruments.devices import devices
from pitlogger.devices.checks import Check, CheckState
from pitlogger.devices.contract import Measurement
from pitlogger.devices.doctor import Host, bluetooth_checks, wired_checks
from pitlogger.devices.registry import Registry
from pitlogger.devices.transports.recording import read_recording
from pitlogger.devices.warmth import Warmth
from pitlogger.errors import TransportError, UsageError
from pitlogger.model.quantities import Quantity
from pitlogger.testing import PseudoPort
from pitlogger_simulators.bluetooth.peripherals import Characteristic, GattService, Peripheral
from pitlogger_simulators.bluetooth.service import SimulatedBluez

ROOT = Path(__file__).parents[2]
RECORDING = ROOT / "tests" / "recordings" / "environmental" / "capture.jsonl"


def run(*arguments: str) -> Any:
    """Run a command; its errors pass through."""
    result = CliRunner().invoke(devices, list(arguments))
    if result.exception is not None and not isinstance(result.exception, SystemExit):
        raise result.exception
    return result


def test_list_describes_every_driver_with_its_keys() -> None:
    document = json.loads(run("list", "--json").stdout)
    assert [driver["name"] for driver in document["drivers"]] == Registry().names()
    scale = next(d for d in document["drivers"] if d["name"] == "serial-scale")
    assert scale["keys"]["port"]["required"]


def test_try_shows_readings_of_each_probe() -> None:
    said = run("try", "replay", f"file={RECORDING}", "speed=0", "--seconds", "0.3").stdout
    assert "temperature/flat         95.12 degC" in said


def test_try_gives_the_last_reading_of_each_channel_as_json() -> None:
    result = run("try", "replay", f"file={RECORDING}", "speed=0", "--seconds", "0.3", "--json")
    found = {one["channel"]: one["value"] for one in json.loads(result.stdout)["readings"]}
    assert found["humidity"] == 50.55
    assert found["temperature/point"] is None


def test_a_device_that_gives_nothing_is_an_error_with_the_reason(tmp_path: Path) -> None:
    with pytest.raises(TransportError, match="no reading came: there is no serial port"):
        run("try", "serial-scale", f"port={tmp_path / 'none'}", "--seconds", "0.2")


def test_a_word_that_is_no_pair_is_refused() -> None:
    with pytest.raises(UsageError, match="'ttyUSB0' is no KEY=VALUE pair"):
        run("try", "serial-scale", "ttyUSB0")


def test_a_device_of_a_configuration_is_tried_by_its_id(tmp_path: Path) -> None:
    config = tmp_path / "node.toml"
    config.write_text(
        f'[[device]]\nid = "hub"\ndriver = "replay"\nfile = "{RECORDING}"\nspeed = 0\n',
        encoding="utf-8",
    )
    said = run("try", "hub", "--config", str(config), "--seconds", "0.3").stdout
    assert "50.55 %" in said


def test_an_id_that_is_not_in_the_configuration_names_the_nearest(tmp_path: Path) -> None:
    config = tmp_path / "node.toml"
    config.write_text(
        f'[[device]]\nid = "hub"\ndriver = "replay"\nfile = "{RECORDING}"\n', encoding="utf-8"
    )
    with pytest.raises(UsageError, match=r"unknown device 'hup'.*'hub'"):
        run("try", "hup", "--config", str(config))


def test_record_writes_what_the_device_sent(tmp_path: Path) -> None:
    out = tmp_path / "capture.jsonl"
    arguments = ("replay", f"file={RECORDING}", "speed=0", "--out", str(out))
    run("record", *arguments, "--seconds", "0.3", "--notes", "synthetic")
    header, chunks = read_recording(out)
    assert (header.driver, header.notes) == ("replay", "synthetic")
    assert [one.chunk for one in chunks] == [one.chunk for one in read_recording(RECORDING)[1]]


def test_record_never_overwrites(tmp_path: Path) -> None:
    out = tmp_path / "capture.jsonl"
    out.touch()
    with pytest.raises(UsageError, match="exists already"):
        run("record", "replay", f"file={RECORDING}", "--out", str(out))


def test_record_leaves_no_empty_file_behind(tmp_path: Path) -> None:
    out = tmp_path / "capture.jsonl"
    with pytest.raises(TransportError, match="there is no serial port"):
        run("record", "serial-scale", f"port={tmp_path / 'none'}", "--out", str(out))
    assert not out.exists()


async def test_scan_shows_bluetooth_devices_and_the_drivers_that_suit(
    bluez: SimulatedBluez, message_bus: str
) -> None:
    weight = GattService("181d", (Characteristic("2a9d", ("indicate",)),))
    bluez.world.add(Peripheral("02:00:00:00:00:10", "scale", (weight,), rssi=-90))
    program = await asyncio.create_subprocess_exec(
        sys.executable, "-c", "from pitlogger.cli import main; main()",
        "devices", "scan", "--seconds", "1", "--json",
        env=os.environ | {"DBUS_SYSTEM_BUS_ADDRESS": message_bus}, stdout=subprocess.PIPE,
    )  # fmt: skip
    told, _ = await program.communicate()
    assert program.returncode == 0
    found = [d for d in json.loads(told)["devices"] if d["way"] == "bluetooth"]
    assert [(d["name"], d["drivers"]) for d in found] == [("scale", ["weight-scale"])]
    assert found[0]["note"].startswith("weak")
    assert found[0]["keys"] == {"address": "02:00:00:00:00:10"}


# The probe in the hand


def reading(channel: str, value_c: float) -> Measurement:
    """A temperature."""
    return Measurement(channel, Quantity.TEMPERATURE, value_c, "Cel")


def test_the_probe_that_rises_alone_is_in_the_hand() -> None:
    warmth = Warmth()
    for channel, value_c in (("a", 20.0), ("b", 20.0), ("a", 20.1), ("b", 22.0)):
        warmth.take(reading(channel, value_c))
    assert warmth.warmed() == "b"


def test_probes_that_rise_together_are_not_in_the_hand() -> None:
    warmth = Warmth()
    for channel, value_c in (("a", 20.0), ("b", 20.0), ("a", 24.0), ("b", 26.0)):
        warmth.take(reading(channel, value_c))
    assert warmth.warmed() is None


def test_a_steady_probe_is_not_in_the_hand() -> None:
    warmth = Warmth()
    for value_c in (20.0, 20.9):
        warmth.take(reading("a", value_c))
    assert warmth.warmed() is None


# The doctor


def host(tmp_path: Path, **files: str) -> Host:
    """A host with these files; underscores of two lead into folders."""
    for name, text in files.items():
        path = tmp_path / name.replace("__", "/")
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8")
    return Host(sys=tmp_path, proc=tmp_path / "proc", groups=frozenset())


def about(checks: list[Check], word: str) -> Check:
    """Return the check about something."""
    return next(check for check in checks if word in check.about)


async def test_the_doctor_finds_a_healthy_adapter(bluez: SimulatedBluez, tmp_path: Path) -> None:
    checks = await bluetooth_checks(host(tmp_path))
    assert about(checks, "adapter hci0").state is CheckState.GOOD


async def test_the_doctor_says_how_to_switch_an_adapter_on(
    bluez: SimulatedBluez, tmp_path: Path
) -> None:
    bluez.world.set_powered(False)
    check = about(await bluetooth_checks(host(tmp_path)), "adapter hci0")
    assert (check.state, check.remedy) == (
        CheckState.TROUBLE,
        "Switch it on: bluetoothctl power on",
    )


async def test_the_doctor_names_what_is_paired_and_how_to_pair_it_anew(
    bluez: SimulatedBluez, tmp_path: Path
) -> None:
    probe = Peripheral("C0:FF:EE:00:00:21", name="deep probe")
    bluez.world.add(probe)
    bluez.world.known.add(bluez.world.path(probe.address))
    assert not [c for c in await bluetooth_checks(host(tmp_path)) if "pairings" in c.about]
    probe.pairing.bonded = True
    check = about(await bluetooth_checks(host(tmp_path)), "pairings")
    assert check.found == "deep probe (not linked now)"
    assert "devices pair ADDRESS --anew" in check.remedy


async def test_the_doctor_notices_a_pulled_adapter(bluez: SimulatedBluez, tmp_path: Path) -> None:
    bluez.world.pull_adapter()
    assert about(await bluetooth_checks(host(tmp_path)), "adapter").state is CheckState.ABSENT


async def test_the_doctor_notices_a_service_that_is_not_running(
    bluez: SimulatedBluez, tmp_path: Path
) -> None:
    await bluez.stop()
    check = about(await bluetooth_checks(host(tmp_path)), "service")
    assert check.state is CheckState.TROUBLE
    assert "systemctl start bluetooth" in check.remedy


async def test_the_doctor_notices_a_radio_switched_off(
    bluez: SimulatedBluez, tmp_path: Path
) -> None:
    off = host(tmp_path, class__rfkill__rfkill0__type="bluetooth", class__rfkill__rfkill0__soft="1")
    assert "rfkill unblock" in about(await bluetooth_checks(off), "radio").remedy


def test_the_doctor_asks_for_a_pull_up_where_no_sensor_answers(tmp_path: Path) -> None:
    (tmp_path / "bus/w1/devices").mkdir(parents=True)
    assert "pull-up" in about(list(wired_checks(host(tmp_path))), "1-Wire").remedy


@pytest.mark.parametrize(("bits", "state"), [("0", CheckState.GOOD), ("50000", CheckState.TROUBLE)])
def test_the_doctor_reads_the_boards_word_on_its_supply(
    tmp_path: Path, bits: str, state: CheckState
) -> None:
    folder = tmp_path / "devices/platform/soc/soc:firmware"
    folder.mkdir(parents=True)
    (folder / "get_throttled").write_text(bits, encoding="ascii")
    assert about(list(wired_checks(host(tmp_path))), "power").state is state


@pytest.mark.parametrize(("count", "troubles"), [("0", []), ("3", ["USB port usb1-port2"])])
def test_the_doctor_finds_a_usb_port_that_cut_its_power(
    tmp_path: Path, count: str, troubles: list[str]
) -> None:
    folder = tmp_path / "bus/usb/devices/1-0:1.0/usb1-port2"
    folder.mkdir(parents=True)
    (folder / "over_current_count").write_text(f"{count}\n", encoding="ascii")
    checks = wired_checks(host(tmp_path))
    assert [check.about for check in checks if check.state is CheckState.TROUBLE] == troubles


def test_breaking_off_without_a_terminal_is_no_missing_answer(port: PseudoPort) -> None:
    program = str(Path(sys.executable).with_name("pitlogger"))
    words = [program, "devices", "try", "csv-line", f"port={port.path}"]
    with subprocess.Popen(
        words, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    ) as trying:
        assert trying.stdout is not None
        assert "up: connected" in trying.stdout.readline()
        trying.send_signal(signal.SIGINT)
        _, said = trying.communicate(timeout=30)
    assert trying.returncode == 130
    assert said.strip() == "stopped"
