"""Wired devices for the storm: each says one number over and over, and can be hurt at every step.

``SCALE`` seconds of a device's life pass in one of ours: pauses, patience and silences of the
code under test are shortened by it. ``value`` is what the device says from now on, a whole
number; a device that says a new one after it was healed has been read again.
"""

from __future__ import annotations

import asyncio
import shutil
import socket
import struct
from abc import ABC, abstractmethod
from collections.abc import Awaitable, Callable
from pathlib import Path
from typing import Any, ClassVar

from pitlogger.devices.transports.hidraw import HidSettings, HidTransport
from pitlogger.testing import PseudoPort
from pitlogger_drivers.hid_scale.driver import HidScale
from pitlogger_drivers.modbus.decode import crc16
from pitlogger_drivers.sma_scale.decode import REQUESTS

SCALE = 20.0
Act = Callable[[], Awaitable[None] | None]


class Storm(ABC):
    """One device and what can happen to it: a name, what hurts, what heals."""

    driver: ClassVar[str]
    channel: ClassVar[str]
    steps: dict[str, tuple[Act, Act]]

    def __init__(self) -> None:
        self.value = 1
        self.is_mute = False
        self.turn = asyncio.Lock()  # shared by devices that would suffer from each other

    @property
    def id(self) -> str:
        return self.driver

    @abstractmethod
    def keys(self) -> dict[str, Any]:
        """Return the driver's configuration."""

    @abstractmethod
    def speak(self) -> None:
        """Say the number, if the device can."""

    def close(self) -> None:  # noqa: B027 - most have nothing to close
        """Leave nothing behind."""

    def mute(self) -> None:
        self.is_mute = True

    def unmute(self) -> None:
        self.is_mute = False


class OnPort(Storm):
    """A device on a pseudo-terminal."""

    def __init__(self, folder: Path) -> None:
        super().__init__()
        self.port = PseudoPort(folder / self.driver)
        self.port.plug()
        self.is_plugged = True
        self.steps = {"unplugged": (self.unplug, self.plug), "silent": (self.mute, self.unmute)}

    def keys(self) -> dict[str, Any]:
        return {"port": str(self.port.path), "silence_s": 15.0 / SCALE}

    def unplug(self) -> None:
        self.is_plugged = False
        self.port.unplug()

    def plug(self) -> None:
        self.port.plug()
        self.is_plugged = True

    def close(self) -> None:
        self.port.unplug()

    def write(self, data: bytes) -> None:
        if self.is_plugged and not self.is_mute:
            try:
                self.port.write(data)
            except OSError:
                return  # nobody reads, and the buffer is full


class SerialScaleStorm(OnPort):
    driver, channel = "serial-scale", "mass"

    def __init__(self, folder: Path) -> None:
        super().__init__(folder)
        self.line = b"ST,GS,+%5d kg\r\n"
        self.steps["noise"] = (self.rave, self.calm)

    def rave(self) -> None:
        self.line = b"\xff\x81%d\x80\r\n"

    def calm(self) -> None:
        self.line = b"ST,GS,+%5d kg\r\n"

    def speak(self) -> None:
        self.write(self.line % self.value)


class SmaStorm(OnPort):
    driver, channel = "sma-scale", "mass"

    def keys(self) -> dict[str, Any]:
        return {**super().keys(), "ask_every_s": 0.05}

    def speak(self) -> None:
        if self.is_plugged and REQUESTS["weight"] in self.port.read():
            self.write(b"\n 1G%12dkg \r" % self.value)


class ModbusStorm(OnPort):
    driver, channel = "modbus", "register-0"

    def __init__(self, folder: Path) -> None:
        super().__init__(folder)
        self.refuses = False
        self.steps["refusing"] = (self.refuse, self.obey)

    def keys(self) -> dict[str, Any]:
        return {**super().keys(), "map": "0:i16:1:Cel", "every_s": 0.05, "patience_s": 1.0 / SCALE}

    def refuse(self) -> None:
        self.refuses = True

    def obey(self) -> None:
        self.refuses = False

    def speak(self) -> None:
        if self.is_plugged and self.port.read():
            value = b"\x01\x03\x02" + struct.pack(">h", self.value)
            reply = b"\x01\x83\x04" if self.refuses else value
            self.write(reply + crc16(reply).to_bytes(2, "little"))


class HidStorm(Storm):
    """A USB scale: a socket that keeps report boundaries, behind a folder like the kernel's."""

    driver, channel = "hid-scale", "mass"
    # Usage page 0x8D, usage 0x20, collection, report id 3 (USB HID 1.11, 6.2.2).
    descriptor = bytes.fromhex("058d0920a1018503c0")

    def __init__(self, folder: Path) -> None:
        super().__init__()
        self.sysfs = folder / "hidraw"
        self.number = 0
        self.is_denied = False
        self.ours: socket.socket | None = None
        self.steps = {"unplugged": (self.unplug, self.plug), "denied": (self.deny, self.allow)}
        self.plug()

    def keys(self) -> dict[str, Any]:
        return {"sysfs": self.sysfs}

    def plug(self) -> None:
        self.number += 1  # node numbers change with every plug
        device = self.sysfs / f"hidraw{self.number}" / "device"
        device.mkdir(parents=True)
        (device / "report_descriptor").write_bytes(self.descriptor)
        (device / "uevent").write_text("HID_UNIQ=A1\n", encoding="ascii")

    def unplug(self) -> None:
        shutil.rmtree(self.sysfs)
        self.close()

    def deny(self) -> None:
        self.is_denied = True
        self.close()

    def allow(self) -> None:
        self.is_denied = False

    def open_node(self, path: str) -> int:
        if self.is_denied:
            raise PermissionError(13, "Permission denied", path)
        if not path.endswith(f"hidraw{self.number}"):
            raise FileNotFoundError(2, "No such file or directory", path)
        self.close()
        self.ours, theirs = socket.socketpair(socket.AF_UNIX, socket.SOCK_SEQPACKET)
        self.ours.setblocking(False)
        theirs.setblocking(False)
        return theirs.detach()

    def speak(self) -> None:
        if self.ours is not None:
            try:
                self.ours.send(struct.pack("<BBBbH", 3, 4, 3, 0, self.value))
            except OSError:
                return  # the other end is closed, or slow

    def close(self) -> None:
        ours, self.ours = self.ours, None
        if ours is not None:
            ours.close()

    def made(self) -> type[HidScale]:
        """Return the driver with a node of ours in place of the kernel's."""
        opener = self.open_node

        class Opened(HidScale):
            def transport(self, config: Any) -> HidTransport:
                return HidTransport(HidSettings(0x8D, 0x20, sysfs=config.sysfs), opener)

        return Opened


class OneWireStorm(Storm):
    """A sensor as the kernel shows it; byte 6 is not that of the power-on state."""

    driver, channel = "w1", "temperature"
    usual = "91 01 4b 46 7f ff 0b 10 70 : crc=70 YES\n91 01 4b 46 7f ff 0b 10 70 t=%d000\n"

    def __init__(self, folder: Path) -> None:
        super().__init__()
        self.root = folder / "w1"
        self.home = self.root / "28-00000000000a"
        self.form = self.usual
        self.home.mkdir(parents=True)
        broken = self.usual.replace("YES", "NO")
        self.steps = {
            "pulled": (lambda: shutil.rmtree(self.home), self.home.mkdir),
            "empty": (lambda: self.say(""), lambda: self.say(self.usual)),
            "wrong sum": (lambda: self.say(broken), lambda: self.say(self.usual)),
        }

    def keys(self) -> dict[str, Any]:
        return {"root": self.root, "sensor": self.home.name, "every_s": 0.05, "silence_s": 1.0}

    def say(self, form: str) -> None:
        self.form = form

    def speak(self) -> None:
        if self.home.exists():
            fresh = self.home / "fresh"
            fresh.write_text(self.form % self.value if self.form else "", encoding="ascii")
            fresh.replace(self.home / "w1_slave")


class BrokerStorm(Storm):
    """The least of an MQTT broker (MQTT 3.1.1: CONNACK 3.2, SUBACK 3.9, PUBLISH 3.3)."""

    driver, channel = "mqtt-senml", "pit"

    def __init__(self) -> None:
        super().__init__()
        self.server: asyncio.Server | None = None
        self.port = 0
        self.code = 0
        self.writers: set[asyncio.StreamWriter] = set()
        self.listening: set[asyncio.StreamWriter] = set()
        self.steps = {
            "down": (self.stop, self.start),
            "refusing": (self.refuse, self.accept),
            "cut": (self.cut, lambda: None),
        }

    async def start(self) -> None:
        self.server = await asyncio.start_server(self.serve, "127.0.0.1", self.port)
        self.port = self.server.sockets[0].getsockname()[1]

    def stop(self) -> None:
        assert self.server is not None
        self.server.close()
        self.cut()

    def refuse(self) -> None:
        self.code = 5
        self.cut()

    def accept(self) -> None:
        self.code = 0

    def cut(self) -> None:
        for writer in self.writers:
            writer.close()

    def close(self) -> None:
        self.stop()

    def keys(self) -> dict[str, Any]:
        return {"host": "127.0.0.1", "port": self.port, "topic": "s"}

    async def serve(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        self.writers.add(writer)
        try:
            while True:
                kind, length = await reader.readexactly(2)
                body = await reader.readexactly(length)
                if kind >> 4 == 1:
                    writer.write(bytes((0x20, 2, 0, self.code)))
                elif kind >> 4 == 8:
                    writer.write(bytes((0x90, 3)) + body[:2] + b"\x00")
                    self.listening.add(writer)
        except (asyncio.IncompleteReadError, ConnectionError):
            return
        finally:
            self.writers.discard(writer)
            self.listening.discard(writer)
            writer.close()

    def speak(self) -> None:
        payload = b'[{"n":"pit","u":"Cel","v":%d}]' % self.value
        body = b"\x00\x01s" + payload
        for writer in self.listening:
            if not writer.is_closing():
                writer.write(bytes((0x30, len(body))) + body)
