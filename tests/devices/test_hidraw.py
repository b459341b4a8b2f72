"""HID reports, over a SEQPACKET socket in place of a node."""

from __future__ import annotations

import asyncio
import socket
from pathlib import Path

import pytest

from pitlogger.devices.contract import Chunk
from pitlogger.devices.transports.hidraw import HidSettings, HidTransport, nodes, read_descriptor
from pitlogger.errors import TransportError
from pitlogger.testing import until

# Usage page 0x8D, usage 0x20, collection, report id 3, usage 0x70.
SCALE = bytes.fromhex("058d0920a10185030970")
UNNUMBERED = bytes.fromhex("058d0920a1010970")
KEYBOARD = bytes.fromhex("05010906a101")
REPORT = bytes.fromhex("03040bff3419")


def plug(sysfs: Path, number: int, descriptor: bytes, serial: str = "") -> None:
    """Let a HID device be there."""
    device = sysfs / f"hidraw{number}" / "device"
    device.mkdir(parents=True)
    (device / "report_descriptor").write_bytes(descriptor)
    (device / "uevent").write_text(f"HID_NAME=thing\nHID_UNIQ={serial}\n", encoding="utf-8")


def settings(sysfs: Path, serial: str = "") -> HidSettings:
    """A scale of that sysfs."""
    return HidSettings(0x8D, 0x20, serial=serial, report_id=3, sysfs=sysfs)


class DeviceEnd:
    """The device's end of a node."""

    def __init__(self) -> None:
        self.device, host = socket.socketpair(socket.AF_UNIX, socket.SOCK_SEQPACKET)
        host.setblocking(False)
        self._host = host

    def open(self, path: str) -> int:
        """Return the host's descriptor."""
        return self._host.detach()


async def next_chunk(transport: HidTransport) -> Chunk:
    """Return the next report."""
    async with asyncio.timeout(3):
        return await anext(transport.chunks())


def test_a_descriptor_tells_page_usage_and_numbering() -> None:
    assert read_descriptor(SCALE) == (0x8D, 0x20, True)
    assert read_descriptor(UNNUMBERED) == (0x8D, 0x20, False)


@pytest.mark.parametrize("end", range(len(SCALE)))
def test_a_cut_descriptor_is_no_crash(end: int) -> None:
    read_descriptor(SCALE[:end])


async def test_reports_keep_their_boundaries(tmp_path: Path) -> None:
    plug(tmp_path, 0, SCALE)
    node = DeviceEnd()
    async with HidTransport(settings(tmp_path), node.open) as transport:
        node.device.send(REPORT)
        node.device.send(REPORT[:5])
        assert (await next_chunk(transport)).data == REPORT
        assert (await next_chunk(transport)).data == REPORT[:5]
    node.device.close()


async def test_an_unnumbered_report_gets_its_number(tmp_path: Path) -> None:
    plug(tmp_path, 0, UNNUMBERED)
    node = DeviceEnd()
    async with HidTransport(settings(tmp_path), node.open) as transport:
        node.device.send(REPORT[1:])
        assert (await next_chunk(transport)).data == REPORT
    node.device.close()


async def test_unplugging_ends_the_stream(tmp_path: Path) -> None:
    plug(tmp_path, 0, SCALE)
    node = DeviceEnd()
    async with HidTransport(settings(tmp_path), node.open) as transport:
        node.device.close()
        with pytest.raises(TransportError, match="went away"):
            await next_chunk(transport)


def test_the_scale_is_found_among_other_devices(tmp_path: Path) -> None:
    plug(tmp_path, 0, KEYBOARD)
    plug(tmp_path, 3, SCALE)
    found = settings(tmp_path).find()
    assert found is not None
    assert found.path == "/dev/hidraw3"
    assert len(list(nodes(tmp_path))) == 2


def test_two_scales_are_told_apart_by_serial_number(tmp_path: Path) -> None:
    plug(tmp_path, 0, SCALE, "A1")
    plug(tmp_path, 1, SCALE, "B2")
    found = settings(tmp_path, "B2").find()
    assert found is not None
    assert found.path == "/dev/hidraw1"


async def test_a_missing_scale_says_it_may_sleep(tmp_path: Path) -> None:
    with pytest.raises(TransportError, match="gone to sleep"):
        await HidTransport(settings(tmp_path)).__aenter__()


async def test_a_forbidden_node_names_the_udev_rule(tmp_path: Path) -> None:
    plug(tmp_path, 0, SCALE)

    def denied(path: str) -> int:
        raise PermissionError(13, "Permission denied")

    with pytest.raises(TransportError, match="udev rule"):
        await HidTransport(settings(tmp_path), denied).__aenter__()


async def test_a_scale_is_noticed_under_another_number(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("pitlogger.devices.transports.hidraw._LOOK_S", 0.005)
    waiting = asyncio.ensure_future(HidTransport(settings(tmp_path)).appears())
    await asyncio.sleep(0)
    plug(tmp_path, 7, SCALE)
    await until(waiting.done)


async def test_a_node_may_be_a_socket_of_another_program(tmp_path: Path) -> None:
    plug(tmp_path, 0, SCALE)
    with socket.socket(socket.AF_UNIX, socket.SOCK_SEQPACKET) as node:
        node.bind(str(tmp_path / "n"))
        node.listen()
        (tmp_path / "dev").mkdir()
        (tmp_path / "dev" / "hidraw0").symlink_to(tmp_path / "n")
        found = HidSettings(0x8D, 0x20, report_id=3, sysfs=tmp_path, dev=tmp_path / "dev")
        async with HidTransport(found) as transport:
            device, _ = node.accept()
            device.send(REPORT)
            assert (await next_chunk(transport)).data == REPORT
            device.close()
            with pytest.raises(TransportError, match="went away"):
                await next_chunk(transport)


async def test_a_socket_where_nobody_listens_cannot_be_opened(tmp_path: Path) -> None:
    plug(tmp_path, 0, SCALE)
    with socket.socket(socket.AF_UNIX, socket.SOCK_SEQPACKET) as node:
        node.bind(str(tmp_path / "hid"))
    (tmp_path / "dev").mkdir()
    (tmp_path / "dev" / "hidraw0").symlink_to(tmp_path / "hid")
    with pytest.raises(TransportError, match="cannot be opened"):
        async with HidTransport(HidSettings(0x8D, 0x20, sysfs=tmp_path, dev=tmp_path / "dev")):
            pass
