"""What a person does to a device through the daemon: a command sent, a count forgotten."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from pitlogger.devices.memory import load_memories, save_memories
from pitlogger.files import settle_files
from pitlogger.model.journal import Noted
from pitlogger.testing import PseudoPort, until
from pitlogger_drivers.sma_scale.decode import REQUESTS
from tests.web.conftest import Node, make_node

BUTTON = '[[device]]\nid = "button"\ndriver = "bthome"\naddress = "02:00:00:00:00:10"\n'
KEPT = {"bthome": {"counter": 1002, "packet_id": None}}


def scale(port: PseudoPort) -> str:
    """Return the scale's configuration; it is asked seldom, so that a command stands alone."""
    return (
        f'[[device]]\nid = "scale"\ndriver = "sma-scale"\nport = "{port.path}"\n'
        "ask_every_s = 3600\nsilence_s = 7200\n"
    )


def noted(node: Node) -> list[tuple[str, str]]:
    """Return the notes of the journal, with who made them."""
    entries = node.daemon.engine.state.entries
    return [(one.body.text, one.by) for one in entries if isinstance(one.body, Noted)]


async def test_devices_are_listed_with_what_can_be_sent(port: PseudoPort, tmp_path: Path) -> None:
    async with make_node(tmp_path, scale(port)) as node:
        await until(lambda: node.daemon.supervisor.links()["scale"] is not None)
        (row,) = (await node.local.get("/api/v1/devices")).json()
    assert row == {
        "device": "scale", "driver": "sma-scale", "link": "up", "message": "connected",
        "remedy": "", "commands": ["zero", "tare"],
    }  # fmt: skip


async def test_a_command_reaches_the_scale_and_the_journal(
    port: PseudoPort, tmp_path: Path
) -> None:
    async with make_node(tmp_path, scale(port)) as node:
        await node.begin()
        await until(lambda: port.read() == REQUESTS["weight"])
        answer = await node.local.post("/api/v1/devices/scale/commands/zero", json={"by": "AK"})
        assert answer.status_code == 200, answer.text
        await until(lambda: port.read() == REQUESTS["zero"])
        assert noted(node) == [("'zero' was sent to scale", "AK")]


@pytest.mark.parametrize(
    ("path", "message"),
    [
        ("scale/commands/zerro", "did you mean 'zero'?"),
        ("scales/commands/zero", "unknown device 'scales' (did you mean 'scale'?)"),
        ("scales/forget", "unknown device 'scales'"),
    ],
)
async def test_what_does_not_exist_is_refused_and_not_noted(
    port: PseudoPort, tmp_path: Path, path: str, message: str
) -> None:
    async with make_node(tmp_path, scale(port)) as node:
        await node.begin()
        answer = await node.local.post(f"/api/v1/devices/{path}", json={})
        assert answer.status_code == 409
        assert message in answer.json()["error"]
        assert noted(node) == []


async def test_a_device_that_is_gone_takes_no_command(port: PseudoPort, tmp_path: Path) -> None:
    port.unplug()
    async with make_node(tmp_path, scale(port)) as node:
        await until(lambda: node.daemon.supervisor.links()["scale"] is not None)
        answer = await node.local.post("/api/v1/devices/scale/commands/zero", json={})
    assert (answer.status_code, answer.json()["error"]) == (
        409, "device 'scale' is not connected",
    )  # fmt: skip


async def test_a_count_is_forgotten_at_once_and_on_disk(tmp_path: Path) -> None:
    file = tmp_path / "drivers.json"
    file.write_text(json.dumps({"button": KEPT}), encoding="utf-8")
    async with make_node(tmp_path, BUTTON) as node:
        await node.begin()
        assert node.daemon.keeping.memories["button"] == KEPT
        answer = await node.local.post("/api/v1/devices/button/forget", json={"by": "AK"})
        assert answer.status_code == 200, answer.text
        settle_files(3.0)
        assert load_memories(file) == {}
        assert noted(node) == [("what was remembered of button is forgotten", "AK")]
    assert load_memories(file) == {}


def test_nothing_is_written_where_nothing_was_ever_kept(tmp_path: Path) -> None:
    memories: dict[str, Any] = {"button": {}}
    save_memories(tmp_path / "drivers.json", memories)
    settle_files(3.0)
    assert list(tmp_path.iterdir()) == []


def test_what_did_not_change_is_not_written_again(tmp_path: Path) -> None:
    file = tmp_path / "drivers.json"
    save_memories(file, {"button": KEPT})
    settle_files(3.0)
    written = file.stat().st_ino
    save_memories(file, {"button": KEPT})
    settle_files(3.0)
    assert file.stat().st_ino == written
    save_memories(file, {"button": {"bthome": {"counter": 1003}}})
    settle_files(3.0)
    assert load_memories(file) == {"button": {"bthome": {"counter": 1003}}}


async def test_the_page_says_at_once_what_is_wrong_and_what_to_do(
    port: PseudoPort, tmp_path: Path
) -> None:
    port.unplug()
    async with make_node(tmp_path, scale(port)) as node:
        await until(lambda: node.daemon.supervisor.links()["scale"] is not None)
        page = (await node.local.get("/settings")).text.casefold()
    assert "there is no serial port" in page
    assert "name its port from /dev/serial/by-id" in page
