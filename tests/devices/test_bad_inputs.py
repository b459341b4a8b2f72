"""What can be wrong with a device: each has its own message and remedy, in doctor and log."""

from __future__ import annotations

import asyncio
import logging
from pathlib import Path
from typing import Any

import pytest

from pitlogger.devices.checks import Check, CheckState
from pitlogger.devices.configured import read_each, told_by_daemon, verdict
from pitlogger.devices.registry import Registry, configure
from pitlogger.devices.runner import NEVER_READ, Device
from pitlogger.devices.transports.hidraw import HidSettings, HidTransport
from pitlogger.devices.transports.serial import SerialSettings, open_error, open_port
from pitlogger.devices.trial import Trial
from pitlogger.testing import PseudoPort, until
from pitlogger_drivers.hid_scale.driver import HidScale
from pitlogger_simulators.bluetooth.peripherals import Peripheral
from pitlogger_simulators.bluetooth.service import SimulatedBluez
from tests.devices.peripherals import probe_hub

ADDRESS = "54:48:E6:8F:80:A5"  # address, key and frame: example of the BTHome v2 encryption page
KEY = "231d39c1d7cc1ab1aee224cd096db932"
FRAME = "41e445f3c9962b332211006c7c4519"


def device(driver: str, **keys: Any) -> Device:
    """Return a configured device."""
    found = Registry().load(driver)
    return Device("it", found({}), configure(found.info, keys, "test"))


async def look(one: Device, seconds: float = 0.4, *wanted: str) -> Check:
    """Return the one thing the doctor finds."""
    (check,) = await read_each([one], seconds, {"it": wanted})
    return check


async def repeat(port: PseudoPort, data: bytes) -> None:
    """Send the same over and over."""
    while True:
        port.write(data)
        await asyncio.sleep(0.01)


async def sending(port: PseudoPort, data: bytes, one: Device, *wanted: str) -> Check:
    """Return what the doctor finds while the device sends."""
    task = asyncio.create_task(repeat(port, data))
    try:
        return await look(one, 0.4, *wanted)
    finally:
        task.cancel()
        await asyncio.wait({task})


# Ports


async def test_a_wrong_port(tmp_path: Path) -> None:
    check = await look(device("serial-scale", port=str(tmp_path / "none")))
    assert check.state is CheckState.TROUBLE
    assert check.found.startswith("there is no serial port")
    assert "/dev/serial/by-id" in check.remedy


@pytest.mark.parametrize(
    ("driver", "keys"), [("serial-scale", {}), ("modbus", {"map": "0:i16:0.1:Cel"})]
)
async def test_a_busy_port(port: PseudoPort, driver: str, keys: dict[str, str]) -> None:
    with open_port(SerialSettings(str(port.path))):
        check = await look(device(driver, port=str(port.path), **keys))
    assert check.found.endswith("is held by another program")
    assert "ModemManager" in check.remedy


def test_no_permission_for_a_port() -> None:
    error = open_error(SerialSettings("/dev/ttyUSB0"), PermissionError(13, "Permission denied"))
    assert error.message == "no permission to open serial port /dev/ttyUSB0"
    assert "usermod -aG dialout" in error.remedy


async def test_no_permission_for_a_usb_scale(tmp_path: Path) -> None:
    folder = tmp_path / "hidraw0" / "device"
    folder.mkdir(parents=True)
    (folder / "report_descriptor").write_bytes(bytes.fromhex("058d0920a1018503c0"))
    (folder / "uevent").touch()

    def refuse(path: str) -> int:
        raise PermissionError(13, "Permission denied", path)

    class Denied(HidScale):
        def transport(self, config: Any) -> HidTransport:
            return HidTransport(HidSettings(0x8D, 0x20, sysfs=tmp_path), refuse)

    check = await look(Device("it", Denied({}), configure(Denied.info, {}, "test")))
    assert check.found == "no permission to open /dev/hidraw0"
    assert "udev rule" in check.remedy


async def test_a_wrong_baud_rate_is_binary_noise(port: PseudoPort) -> None:
    noise = b"\xf8\x00\x9c\xe6\x18\r"
    check = await sending(port, noise, device("serial-scale", port=str(port.path)))
    assert check.found.startswith("it sends, but nothing can be read")
    assert "wrong baud rate" in check.found
    assert "Set baud" in check.remedy


async def test_seven_data_bits_read_as_eight(port: PseudoPort) -> None:
    line = bytes(byte | 0x80 if byte.bit_count() % 2 else byte for byte in b"ST,GS,+1.234kg\r\n")
    check = await sending(port, line, device("serial-scale", port=str(port.path)))
    assert 'framing = "7E1"' in check.remedy


async def test_a_unit_that_is_nowhere_given(port: PseudoPort) -> None:
    check = await sending(port, b"+1.234\r\n", device("serial-scale", port=str(port.path)))
    assert "came without a unit" in check.found
    assert 'unit = "kg"' in check.remedy


async def test_a_port_where_nobody_speaks(port: PseudoPort) -> None:
    check = await look(device("serial-scale", port=str(port.path), silence_s=0.1))
    assert check.found == "nothing came for 0.1 s"
    assert "battery" in check.remedy


async def test_a_port_where_nobody_has_spoken_yet(port: PseudoPort) -> None:
    check = await look(device("serial-scale", port=str(port.path)))
    assert (check.state, check.found) == (
        CheckState.ADVICE, "it is there and sent nothing; it may be silent for 1 s",
    )  # fmt: skip


async def test_modbus_nobody_answers(port: PseudoPort) -> None:
    one = device("modbus", port=str(port.path), map="0:i16:0.1:Cel", patience_s=0.02, every_s=0.02)
    check = await look(one, 1.0)
    assert "did not answer" in check.found
    assert "address, baud rate" in check.remedy


# Probes


async def test_a_pulled_probe(port: PseudoPort) -> None:
    one = device("csv-line", port=str(port.path), map="pit:Cel,core:Cel")
    check = await sending(port, b"107.4,open\n", one)
    assert (check.about, check.found) == ("device 'it', core", "open")
    assert check.remedy.startswith("Push its plug home")


async def test_a_channel_that_does_not_come(port: PseudoPort) -> None:
    one = device("csv-line", port=str(port.path), map="pit:Cel")
    check = await sending(port, b"107.4\n", one, "pitt")
    assert (check.state, check.found) == (CheckState.ADVICE, "pitt did not come; what came: pit")


async def test_a_device_that_is_well(port: PseudoPort) -> None:
    one = device("csv-line", port=str(port.path), map="pit:Cel")
    check = await sending(port, b"107.4\n", one, "pit")
    assert (check.state, check.found) == (CheckState.GOOD, "pit 107.4 degC")


# On the air


async def test_no_adapter(bluez: SimulatedBluez) -> None:
    bluez.world.pull_adapter()
    check = await look(device("bthome", address=ADDRESS), 1.5)
    assert "there is no Bluetooth adapter" in check.found
    assert "rfkill" in check.remedy


async def heard(bluez: SimulatedBluez, keys: dict[str, Any]) -> Check:
    """Return what the doctor finds of a device that sends the encrypted example frame."""
    beacon = Peripheral(ADDRESS, "beacon", service_data={"fcd2": bytes.fromhex(FRAME)})
    bluez.world.add(beacon)
    trial = Trial(device("bthome", address=ADDRESS, **keys), lambda _line: None)
    task = asyncio.create_task(trial.run(0.5))
    await until(lambda: bluez.world.scanning)
    bluez.world.hear(beacon)
    await task
    assert "signal" in trial.latest, "which is no reading of what it measures"
    (check,) = verdict(trial)
    return check


async def test_a_wrong_key(bluez: SimulatedBluez) -> None:
    check = await heard(bluez, {"key": "00" * 16})
    assert "wrong key, wrong address" in check.found
    assert check.remedy.startswith("Compare key and address")


async def test_a_missing_key(bluez: SimulatedBluez) -> None:
    check = await heard(bluez, {})
    assert "is encrypted" in check.found
    assert "key and address" in check.remedy


async def test_a_device_without_the_expected_characteristic(bluez: SimulatedBluez) -> None:
    bluez.world.add(probe_hub(ADDRESS, ("core",)))
    check = await look(device("weight-scale", address=ADDRESS), 1.5)
    assert "none of the characteristics 2a9d" in check.found
    assert check.remedy.startswith("Check that the right driver is named")


# The log, and the daemon's word


async def test_the_log_says_what_is_wrong_and_what_to_do(
    port: PseudoPort, caplog: pytest.LogCaptureFixture
) -> None:
    caplog.set_level(logging.INFO, "pitlogger")
    await sending(port, b"\xf8\x00\x9c\r", device("serial-scale", port=str(port.path)))
    said = [record.getMessage() for record in caplog.records]
    assert said[0] == "device 'it' is up: connected"
    assert said[1].startswith("device 'it' is lost: it sends, but nothing can be read")
    assert said[1].endswith("1200 to 115200")
    assert len(said) == 2, "it is told once"


async def test_what_was_never_read_counts_as_lost_sooner(port: PseudoPort) -> None:
    said: list[str] = []
    trial = Trial(device("serial-scale", port=str(port.path)), said.append)
    task = asyncio.create_task(trial.run(0.5))
    await until(lambda: trial.was_up)
    for _ in range(NEVER_READ + 1):  # what comes before the first line end is dropped
        port.write(b"noise\r\n")
    await task
    assert trial.message.startswith("it sends, but nothing can be read")


def test_a_daemon_that_runs_is_asked() -> None:
    probe = {"alert": "probe-fault/core", "kind": "probe-fault", "message": "open", "remedy": "x"}
    food = {"alert": "pit-low/pit", "kind": "pit-low", "message": "cold", "remedy": "y"}
    devices: list[dict[str, Any]] = [
        {"device": "a", "link": "up", "message": "connected", "remedy": ""},
        {"device": "b", "link": "lost", "message": "gone", "remedy": "Plug it in"},
        {"device": "c", "link": None, "message": "", "remedy": ""},
    ]
    assert told_by_daemon(devices, [probe, food]) == [
        Check("device 'a'", CheckState.GOOD, "connected"),
        Check("device 'b'", CheckState.TROUBLE, "gone", "Plug it in"),
        Check("device 'c'", CheckState.ADVICE, "the daemon is looking for it"),
        Check("probe-fault/core", CheckState.TROUBLE, "open", "x"),
    ]
