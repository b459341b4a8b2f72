"""The simulated service as a program: JSON lines in, JSON lines out.

Each line on standard input is one object with ``do`` and its own keys:

    {"do": "add", "address": A, "name": N, "rssi": -60, "services": [{"uuid": "181a",
        "characteristics": [{"uuid": "2a6e", "flags": ["read", "notify"], "value": HEX,
                             "descriptors": [{"uuid": "2901", "value": HEX}]}]}]}
    {"do": "remove" | "drop" | "silence" | "speak", "address": A}
    {"do": "rotate", "address": A, "fresh": A}
    {"do": "notify", "address": A, "characteristic": "2a6e#2", "value": HEX}
    {"do": "advertise", "address": A, "rssi": -60, "service_data": {"fcd2": HEX},
        "manufacturer_data": {"65535": HEX}}
    {"do": "fault", "step": S, "kind": K, "address": A, "error": E, "text": T, "times": 1,
        "characteristic": "2a6e#2", "chance": 0.5}
    {"do": "well"}                          no more faults
    {"do": "adapter", "powered": false} or {"do": "adapter", "present": false}
    {"do": "service", "running": false}

Each line on standard output is one object with ``event``: ``ready`` with the bus
``address`` first, then ``connected``, ``disconnected``, ``subscribed`` with ``address`` (and
``characteristic``), ``refused`` with a ``message`` for a line that cannot be done. The
program ends with its input.
"""

from __future__ import annotations

import asyncio
import json
import sys
from collections.abc import Callable
from typing import Any, TextIO

from pitlogger_simulators.bluetooth.bus import private_bus
from pitlogger_simulators.bluetooth.faults import RadioFault, RadioFaultKind, RadioFaultPoint
from pitlogger_simulators.bluetooth.peripherals import (
    Characteristic,
    Descriptor,
    GattService,
    Peripheral,
)
from pitlogger_simulators.bluetooth.service import SimulatedBluez


def peripheral_from(given: dict[str, Any]) -> Peripheral:
    """Return the peripheral a JSON object describes.

    Raises:
        KeyError, ValueError: A key is missing or bytes are not hexadecimal.
    """
    services = tuple(
        GattService(s["uuid"], tuple(_characteristic_from(c) for c in s["characteristics"]))
        for s in given.get("services", ())
    )
    return Peripheral(
        given["address"],
        given.get("name", ""),
        services,
        rssi=given.get("rssi", -60),
        service_data=_bytes(given.get("service_data", {})),
        manufacturer_data={
            int(k): v for k, v in _bytes(given.get("manufacturer_data", {})).items()
        },
    )


def _characteristic_from(given: dict[str, Any]) -> Characteristic:
    return Characteristic(
        given["uuid"],
        tuple(given.get("flags", ("read", "notify"))),
        bytes.fromhex(given.get("value", "")),
        tuple(
            Descriptor(d["uuid"], bytes.fromhex(d["value"])) for d in given.get("descriptors", ())
        ),
    )


def _bytes(given: dict[str, str]) -> dict[str, bytes]:
    return {key: bytes.fromhex(value) for key, value in given.items()}


class Control:
    """Does what a line says to a running service."""

    def __init__(self, bluez: SimulatedBluez) -> None:
        self._bluez = bluez
        self._world = bluez.world
        self._table: dict[str, Callable[[dict[str, Any]], None]] = {
            "add": lambda g: self._world.add(peripheral_from(g)),
            "remove": lambda g: self._world.remove(g["address"]),
            "drop": lambda g: self._world.drop(g["address"]),
            "silence": lambda g: self._set_heard(g["address"], False),
            "speak": lambda g: self._set_heard(g["address"], True),
            "rotate": lambda g: self._world.rotate(g["address"], g["fresh"]),
            "notify": self._notify,
            "advertise": self._advertise,
            "fault": self._fault,
            "well": lambda _g: self._world.faults.clear(),
            "adapter": self._adapter,
        }

    async def do(self, line: str) -> None:
        """Do one line.

        Raises:
            ValueError, KeyError, TypeError: The line cannot be done; nothing was changed.
        """
        given = json.loads(line)
        if given["do"] == "service":
            await (self._bluez.start() if given["running"] else self._bluez.stop())
            return
        self._table[given["do"]](given)

    def _set_heard(self, address: str, heard: bool) -> None:
        self._world.peripherals[address].heard = heard

    def _notify(self, given: dict[str, Any]) -> None:
        data = bytes.fromhex(given["value"])
        self._world.notify(given["address"], given["characteristic"], data)

    def _advertise(self, given: dict[str, Any]) -> None:
        peripheral = self._world.peripherals[given["address"]]
        peripheral.rssi = given.get("rssi", peripheral.rssi)
        peripheral.service_data.update(_bytes(given.get("service_data", {})))
        for maker, data in _bytes(given.get("manufacturer_data", {})).items():
            peripheral.manufacturer_data[int(maker)] = data
        self._world.hear(peripheral)

    def _fault(self, given: dict[str, Any]) -> None:
        known = ("address", "error", "text", "times", "characteristic", "chance")
        rest = {key: given[key] for key in known if key in given}
        self._world.faults.add(
            RadioFault(RadioFaultPoint(given["step"]), RadioFaultKind(given["kind"]), **rest)
        )

    def _adapter(self, given: dict[str, Any]) -> None:
        if "powered" in given:
            self._world.set_powered(given["powered"])
        if given.get("present") is True:
            self._world.plug_adapter()
        elif given.get("present") is False:
            self._world.pull_adapter()


async def _lines(source: TextIO) -> asyncio.StreamReader:
    reader = asyncio.StreamReader()
    loop = asyncio.get_running_loop()
    await loop.connect_read_pipe(lambda: asyncio.StreamReaderProtocol(reader), source)
    return reader


async def run(address: str, source: TextIO, sink: TextIO) -> None:
    """Serve on a bus until ``source`` ends."""

    def tell(event: str, **facts: str) -> None:
        sink.write(json.dumps({"event": event} | {k: v for k, v in facts.items() if v}) + "\n")
        sink.flush()

    async with SimulatedBluez(address) as bluez:
        bluez.world.observe = lambda event, device, characteristic: tell(
            event, address=device, characteristic=characteristic
        )
        control = Control(bluez)
        tell("ready", address=address)
        reader = await _lines(source)
        while line := await reader.readline():
            try:
                await control.do(line.decode())
            except (ValueError, KeyError, TypeError) as fault:
                tell("refused", message=f"{type(fault).__name__}: {fault}")


def main() -> None:
    """Run a private bus and the simulated service on it."""
    with private_bus() as address:
        asyncio.run(run(address, sys.stdin, sys.stdout))
