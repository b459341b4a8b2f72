"""A Bluetooth device is paired from the page."""

from __future__ import annotations

from pathlib import Path

from pitlogger_simulators.bluetooth.peripherals import Pairing, PairingWay, Peripheral
from pitlogger_simulators.bluetooth.service import SimulatedBluez
from tests.web.conftest import make_node
from tests.web.test_joining import answer, asked

ADDRESS = "02:00:00:00:00:10"


async def test_a_device_is_paired_with_the_digits_it_shows(
    bluez: SimulatedBluez,
    tmp_path: Path,
) -> None:
    probe = Peripheral(ADDRESS, "deep probe")
    probe.pairing = Pairing(PairingWay.TYPED, 123_456)
    bluez.world.add(probe)
    async with make_node(tmp_path) as node:
        await node.local.post("/join/pair", data={"address": ADDRESS})
        page = await asked(node, "six digits")
        await answer(node, page, "123456")
        await asked(node, "Deep probe is paired")
        assert probe.pairing.bonded
