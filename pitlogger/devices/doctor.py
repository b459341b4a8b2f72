"""What on this host keeps devices from being read, and what to do about it, in words."""

from __future__ import annotations

import asyncio
import grp
import os
import re
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from pitlogger.devices.checks import Check, CheckState
from pitlogger.devices.transports.hidraw import SCALE, nodes
from pitlogger.devices.transports.ports import known_ports
from pitlogger.errors import TransportError
from pitlogger.files import text_of

_OLDEST = (5, 55)  # the oldest Bluetooth service bleak works with
_CURED = (5, 88)  # the one that cures the scan that finds nothing any more (BlueZ issue 807)
_PATIENCE_S = 5.0


def _groups_of_user() -> frozenset[str]:
    return frozenset(group.gr_name for group in grp.getgrall() if group.gr_gid in os.getgroups())


@dataclass(frozen=True, slots=True)
class Host:
    """Where to look; tests give folders of their own."""

    sys: Path = Path("/sys")
    proc: Path = Path("/proc")
    groups: frozenset[str] = field(default_factory=_groups_of_user)


async def examine(host: Host | None = None) -> list[Check]:
    """Return all checks of this host."""
    where = host or Host()
    wired = await asyncio.to_thread(lambda: list(wired_checks(where)))
    return [*await bluetooth_checks(where), *wired]


# Bluetooth


async def bluetooth_checks(host: Host) -> list[Check]:
    """Look at the message bus, the Bluetooth service and its adapters."""
    from pitlogger.devices.transports.ble.adapters import managed_objects

    blocks = list(_radio_switches(host))
    try:
        objects = await managed_objects()
    except TransportError as refused:
        remedy = refused.remedy
        return [*blocks, Check("Bluetooth service", CheckState.TROUBLE, refused.message, remedy)]
    except OSError:
        return [
            *blocks,
            Check(
                "Bluetooth service",
                CheckState.TROUBLE,
                "the system's message bus cannot be reached",
                "Start it: sudo systemctl start dbus",
            ),
        ]
    if objects is None:
        return [
            *blocks,
            Check(
                "Bluetooth service",
                CheckState.TROUBLE,
                "it is not running",
                "Install and start it: sudo apt install bluez; sudo systemctl start bluetooth",
            ),
        ]
    return [*blocks, await _service_version(), *_adapters(objects), *_bonds(objects)]


def _radio_switches(host: Host) -> Iterator[Check]:
    """Look for a radio that is switched off (Linux kernel documentation, rfkill)."""
    for folder in sorted((host.sys / "class/rfkill").glob("rfkill*")):
        if text_of(folder / "type") != "bluetooth":
            continue
        for file, word, remedy in (
            ("soft", "switched off by software", "Switch it on: rfkill unblock bluetooth"),
            ("hard", "switched off by a switch or a pin", "Use the switch, or dtoverlay settings"),
        ):
            if text_of(folder / file) == "1":
                yield Check("Bluetooth radio", CheckState.TROUBLE, word, remedy)


async def _service_version() -> Check:
    about = "Bluetooth service version"
    version = await _bluetoothctl_version()
    if version is None:
        return Check(
            about,
            CheckState.ADVICE,
            "it cannot be told, since bluetoothctl is missing",
            "sudo apt install bluez",
        )
    said = ".".join(str(part) for part in version)
    if version < _OLDEST:
        return Check(about, CheckState.TROUBLE, said, "Update the system: 5.55 or later is needed")
    if version < _CURED:
        return Check(
            about,
            CheckState.ADVICE,
            f"{said}: its scan can get stuck; pitlogger then starts scan and adapter anew",
            "5.88 or later cures it",
        )
    return Check(about, CheckState.GOOD, said)


async def _bluetoothctl_version() -> tuple[int, int] | None:
    try:
        program = await asyncio.create_subprocess_exec(
            "bluetoothctl",
            "--version",
            stdout=asyncio.subprocess.PIPE,
            stderr=asyncio.subprocess.DEVNULL,
        )
    except OSError:
        return None
    said, _ = await program.communicate()
    match = re.search(rb"(\d+)\.(\d+)", said)
    return (int(match[1]), int(match[2])) if match else None


def _adapters(objects: dict[str, dict[str, Any]]) -> Iterator[Check]:
    adapters = {
        path: interfaces["org.bluez.Adapter1"]
        for path, interfaces in objects.items()
        if "org.bluez.Adapter1" in interfaces
    }
    if not adapters:
        yield Check(
            "Bluetooth adapter", CheckState.ABSENT, "there is none", "Plug one in, if wanted"
        )
    for path, adapter in sorted(adapters.items()):
        about = f"Bluetooth adapter {path.rpartition('/')[2]}"
        if not adapter.get("Powered"):
            yield Check(
                about, CheckState.TROUBLE, "it is off", "Switch it on: bluetoothctl power on"
            )
        elif "central" not in adapter.get("Roles", ["central"]):
            yield Check(
                about, CheckState.TROUBLE, "no Low Energy", "Use one of Bluetooth 4.0 or later"
            )
        elif adapter.get("Discovering"):
            yield Check(
                about,
                CheckState.ADVICE,
                "it is on, and somebody scans on it",
                "If that is not pitlogger, end it: one adapter serves one scanner well",
            )
        else:
            yield Check(about, CheckState.GOOD, "it is on")


def _bonds(objects: dict[str, dict[str, Any]]) -> Iterator[Check]:
    """Name what this computer is paired with: whether a device forgot it shows in use alone.

    Source: BlueZ D-Bus API documents, org.bluez.Device, ``Paired`` and ``Connected``.
    """
    from pitlogger.devices.transports.ble.troubles import PAIR_ANEW

    devices = (interfaces.get("org.bluez.Device1", {}) for interfaces in objects.values())
    paired = sorted(
        f"{device.get('Alias') or device['Address']} "
        f"({'linked' if device.get('Connected') else 'not linked now'})"
        for device in devices
        if device.get("Paired")
    )
    if paired:
        remedy = (
            "One that was paired with a phone or another computer since, or was reset, may have "
            f"lost this pairing. {PAIR_ANEW}"
        )
        yield Check("Bluetooth pairings", CheckState.ADVICE, ", ".join(paired), remedy)


# Wires


def wired_checks(host: Host) -> Iterator[Check]:
    """Look at serial ports, USB scales, 1-Wire, power."""
    yield from _serial(host)
    yield from _scales(host)
    yield _one_wire(host)
    yield from _power(host)
    yield from _usb_power(host)


def _serial(host: Host) -> Iterator[Check]:
    ports = known_ports()
    if not ports:
        yield Check(
            "serial ports", CheckState.ABSENT, "there is none", "Plug a scale or adapter in"
        )
    for port in ports:
        about = f"serial port {port}"
        if os.access(port, os.R_OK | os.W_OK):
            yield Check(about, CheckState.GOOD, "it may be opened")
        else:
            member = "dialout" in host.groups
            remedy = (
                "Log out and in again, or restart the service"
                if member
                else "sudo usermod -aG dialout $USER, then log in again"
            )
            yield Check(about, CheckState.TROUBLE, "this user may not open it", remedy)
    if ports and _is_running(host, "ModemManager"):
        yield Check(
            "ModemManager",
            CheckState.ADVICE,
            "it runs, and tries new serial ports for modems",
            "If a port is busy at first: sudo systemctl disable --now ModemManager",
        )


def _scales(host: Host) -> Iterator[Check]:
    found = [n for n in nodes(host.sys / "class/hidraw") if (n.usage_page, n.usage) == SCALE]
    for node in found:
        if os.access(node.path, os.R_OK):
            yield Check(f"USB scale {node.path}", CheckState.GOOD, "it may be read")
        else:
            yield Check(
                f"USB scale {node.path}",
                CheckState.TROUBLE,
                f"this user may not read it: its udev rule is missing: {node.rule}",
                "Put it in place: sudo pitlogger service rules, then plug the scale in again",
            )


def _one_wire(host: Host) -> Check:
    bus = host.sys / "bus/w1/devices"
    if not bus.is_dir():
        remedy = "If there is one: add dtoverlay=w1-gpio to config.txt and restart"
        return Check("1-Wire bus", CheckState.ABSENT, "the kernel shows none", remedy)
    sensors = sorted(path.name for path in bus.glob("28-*"))
    if not sensors:
        remedy = "Check the wires and the pull-up resistor of 4.7 kOhm"
        return Check("1-Wire bus", CheckState.TROUBLE, "no sensor of family 28 answers", remedy)
    return Check("1-Wire bus", CheckState.GOOD, f"{len(sensors)} sensors: {', '.join(sensors)}")


def _power(host: Host) -> Iterator[Check]:
    """Look at the board's own word on its supply: bit 0 low now, bit 16 was low (from memory)."""
    text = text_of(host.sys / "devices/platform/soc/soc:firmware/get_throttled")
    with suppress(ValueError):
        bits = int(text, 16)
        if bits & 0x1_0001:
            now = "is" if bits & 1 else "was"
            remedy = "Use the supply made for the board, and a hub with its own for USB devices"
            yield Check("power", CheckState.TROUBLE, f"the supply voltage {now} too low", remedy)
        else:
            yield Check("power", CheckState.GOOD, "the supply voltage was never too low")


def _usb_power(host: Host) -> Iterator[Check]:
    """Look for USB ports that cut their power (Linux kernel documentation, sysfs-bus-usb)."""
    for file in sorted((host.sys / "bus/usb/devices").glob("*/*port*/over_current_count")):
        count = text_of(file)
        if count not in ("", "0"):
            yield Check(
                f"USB port {file.parent.name}",
                CheckState.TROUBLE,
                f"too much current was drawn {count} times, and its power cut",
                "Take off what draws it, or use a hub with a supply of its own",
            )


def _is_running(host: Host, program: str) -> bool:
    return any(text_of(path) == program for path in host.proc.glob("[0-9]*/comm"))
