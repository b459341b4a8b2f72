"""Devices on the air for the storm, with all that goes wrong there and in the service."""

from __future__ import annotations

import struct
from typing import Any

from pitlogger_simulators.bluetooth.faults import (
    RadioFault,
    RadioFaultKind,
    RadioFaultPoint,
    att_error,
)
from pitlogger_simulators.bluetooth.peripherals import Peripheral
from pitlogger_simulators.bluetooth.service import SimulatedBluez
from tests.devices.peripherals import probe_hub
from tests.devices.storm_devices import SCALE, Act, Storm

PROBES, BEACON = "02:00:00:00:00:10", "02:00:00:00:00:20"
_AT, _WHAT = RadioFaultPoint, RadioFaultKind
_TROUBLES = [
    (_AT.CONNECT, _WHAT.DROP), (_AT.CONNECT, _WHAT.ERROR), (_AT.DISCOVER, _WHAT.DROP),
    (_AT.DISCOVER, _WHAT.INCOMPLETE), (_AT.SUBSCRIBE, _WHAT.DROP), (_AT.READ, _WHAT.ERROR),
]  # fmt: skip


class RadioStorm(Storm):
    """Probes that are connected to; all that goes wrong on the air and in the service."""

    driver, channel = "environmental-sensing", "temperature/core"

    def __init__(self, bluez: SimulatedBluez) -> None:
        super().__init__()
        self.bluez = bluez
        bluez.world.add(probe_hub(PROBES, ("core", "pit")))
        world = bluez.world
        self.steps = {
            "link lost": (lambda: world.drop(PROBES), lambda: None),
            "not heard": (self.leave, self.come),
            "adapter off": (lambda: world.set_powered(False), lambda: world.set_powered(True)),
            "adapter pulled": (world.pull_adapter, world.plug_adapter),
            "service killed": (bluez.stop, bluez.start),
            **{f"{step} {kind}": self.struck(step, kind) for step, kind in _TROUBLES},
        }

    def keys(self) -> dict[str, Any]:
        return {"address": PROBES, "poll_s": 0.2, "check_s": 0.4}

    def struck(self, step: RadioFaultPoint, kind: RadioFaultKind) -> tuple[Act, Act]:
        """Return a link that is lost, and a trouble that strikes twice while it is made anew."""

        def hurt() -> None:
            fault = att_error(step, 0x0E, PROBES, 2) if kind is RadioFaultKind.ERROR else None
            self.bluez.world.faults.add(fault or RadioFault(step, kind, PROBES, times=2))
            self.bluez.world.drop(PROBES)

        return hurt, self.bluez.world.faults.clear

    def leave(self) -> None:
        self.bluez.world.peripherals[PROBES].heard = False
        self.bluez.world.drop(PROBES)

    def come(self) -> None:
        self.bluez.world.peripherals[PROBES].heard = True

    def speak(self) -> None:
        self.bluez.world.notify(PROBES, "2a6e#1", struct.pack("<h", self.value * 100))


class BeaconStorm(Storm):
    """A sensor that only advertises; it suffers what its radio suffers, and goes out of reach."""

    driver, channel = "bthome", "temperature"

    def __init__(self, bluez: SimulatedBluez) -> None:
        super().__init__()
        self.bluez = bluez
        self.packet = 0
        self.peripheral = Peripheral(BEACON, "beacon", service_data={"fcd2": b"\x40"})
        bluez.world.add(self.peripheral)
        self.steps = {"not heard": (self.mute, self.unmute)}

    def keys(self) -> dict[str, Any]:
        return {"address": BEACON, "silence_s": 600.0 / SCALE}

    def mute(self) -> None:
        self.peripheral.heard = False

    def unmute(self) -> None:
        self.peripheral.heard = True

    def speak(self) -> None:
        if not (self.peripheral.heard and self.bluez.world.scanning):
            return  # else packet ids would run ahead in shortened time, as in no real outage
        self.packet = (self.packet + 1) % 256
        data = struct.pack("<BBBBh", 0x40, 0x00, self.packet, 0x02, self.value * 100)
        self.peripheral.service_data = {"fcd2": data}
        self.bluez.world.hear(self.peripheral)
