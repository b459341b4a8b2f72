"""A configuration written from what is in reach."""

from __future__ import annotations

import asyncio
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from pitlogger.bootstrap.devices import channels_of, configured_devices
from pitlogger.cli.installation.config import config
from pitlogger.config import Config, parse_config
from pitlogger.devices.drafting import Tried, draft
from pitlogger.devices.reach import Find, heard
from pitlogger.devices.registry import Registry
from pitlogger.devices.sampling import sample
from pitlogger.errors import UsageError
from pitlogger.model.readings import Site
from pitlogger.testing import PseudoPort
from pitlogger_simulators.bluetooth.peripherals import Peripheral
from pitlogger_simulators.bluetooth.service import SimulatedBluez
from tests.devices.peripherals import probe_hub

ADDRESS = "02:00:00:00:00:10"


async def written(finds: list[Find], seconds: float = 0.4) -> tuple[str, Config]:
    """Return the text for what was found, and what it says."""
    registry = Registry()
    tried, strangers = await sample(finds, registry, registry.descriptions()[0], seconds)
    text = draft("pit", tried, strangers)
    return text, parse_config(text)


def channels(read: Config) -> list[str]:
    """Return all channels, as a daemon would have them."""
    return [channel.id for channel in channels_of(read, configured_devices(read))]


async def test_probes_are_listed_by_the_names_they_send(bluez: SimulatedBluez) -> None:
    hub = probe_hub(ADDRESS, ("point", "flat"), name="Tray probes")
    for probe in hub.services[0].characteristics:
        probe.value = b"\xca\x09"
    bluez.world.add(hub)
    text, read = await written(await heard(0.2), seconds=3.0)
    assert channels(read) == [
        "tray-probes/temperature/flat", "tray-probes/temperature/point", "tray-probes/battery",
    ]  # fmt: skip
    assert '# site = "core"' in text


async def test_a_device_without_a_driver_is_named_as_one_to_declare(
    bluez: SimulatedBluez,
) -> None:
    bluez.world.add(Peripheral(ADDRESS, "mystery"))
    text, read = await written(await heard(0.2))
    assert read.device == ()
    assert f"#   {ADDRESS} mystery" in text


@pytest.mark.parametrize(
    ("line", "driver", "channel"),
    [
        (b"ST,GS,+   4.218kg\r\n", "serial-scale", "serial-scale/mass"),
        (b"pit_c,core_c\r\n107.4,65.2\r\n", "csv-line", "csv-line/core"),
    ],
)
async def test_the_driver_of_a_serial_port_is_the_one_that_reads_it(
    tmp_path: Path, line: bytes, driver: str, channel: str
) -> None:
    with PseudoPort(tmp_path / "port") as port:
        find = Find("serial", str(port.path), "port", frozenset(("port",)),
                    (("port", str(port.path)),))  # fmt: skip

        async def speak() -> None:
            while True:
                port.write(line)
                await asyncio.sleep(0.05)

        speaking = asyncio.create_task(speak())
        _, read = await written([find])
        speaking.cancel()
        await asyncio.wait({speaking})
        assert port.read() == b"", "something was written to an unknown device"
    assert [device.driver for device in read.device] == [driver]
    assert channel in channels(read)


async def test_a_silent_port_says_which_drivers_may_suit() -> None:
    find = Find("serial", "/dev/none", "none", frozenset(("port",)), (("port", "/dev/none"),))
    text, _ = await written([find])
    assert "# Other drivers that may suit: " in text
    assert "there is no serial port /dev/none" in text


async def test_what_was_not_tried_has_the_channels_its_driver_names() -> None:
    find = Find("hid", "/dev/hidraw0", "A1", frozenset(("hid:8d:20",)), (("serial", "A1"),))
    _, read = await written([find], seconds=0)
    (channel,) = read.device[0].channel
    assert (channel.id, channel.site) == ("a1/mass", Site.BENCH)


def tried(way: str, driver: str, name: str, address: str = "x") -> Tried:
    return Tried(Find(way, address, name, frozenset(), (("name", name),)),
                 Registry().load(driver).info)  # fmt: skip


def test_the_boards_own_heat_is_left_as_a_comment() -> None:
    text = draft("pit", [tried("hwmon", "hwmon", "cpu_thermal")])
    assert parse_config(text).device == ()
    assert '# driver = "hwmon"' in text


def test_two_devices_of_one_name_get_ids_of_their_own() -> None:
    text = draft("pit", [tried("iio", "iio", "amplifier"), tried("iio", "iio", "amplifier")])
    assert [device.id for device in parse_config(text).device] == ["amplifier", "amplifier-2"]


def run(*arguments: str) -> Any:
    """Run ``pitlogger config``; its errors pass through."""
    result = CliRunner().invoke(config, list(arguments))
    if result.exception is not None and not isinstance(result.exception, SystemExit):
        raise result.exception
    return result


def test_init_never_overwrites(tmp_path: Path) -> None:
    out = tmp_path / "node.toml"
    out.touch()
    with pytest.raises(UsageError, match="exists already"):
        run("init", "--out", str(out))


def test_init_writes_a_file_that_passes_the_check(tmp_path: Path) -> None:
    out = tmp_path / "node.toml"
    run("init", "--no-bluetooth", "--seconds", "0", "--node", "yard", "--out", str(out))
    assert "good" in run("check", str(out)).stdout
    assert parse_config(out.read_text("utf-8")).node.name == "yard"
