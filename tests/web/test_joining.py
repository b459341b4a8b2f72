"""A device is joined from the page: pointed at, looked at, written, read."""

from __future__ import annotations

import asyncio
import re
from collections.abc import Callable, Iterator
from pathlib import Path

import httpx
import pytest

from pitlogger.config import load_config
from pitlogger.devices import reach
from pitlogger.devices.pointing.session import Pointing
from pitlogger.devices.reach import Find
from pitlogger.testing import PseudoPort
from pitlogger.testing import until as until_within
from pitlogger.web.access.roles import Role
from pitlogger.web.joining import Talk
from tests.devices.test_pointing_session import ROOM_C, Probes, sending
from tests.web.conftest import Node, make_node


async def until(condition: Callable[[], bool]) -> None:
    """Wait for what real bytes on a real port do, on a crowded machine too."""
    await until_within(condition, 60.0)


@pytest.fixture(autouse=True)
def soon(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(Pointing.__init__.__kwdefaults__ or {}, "rest_s", 0.4)


@pytest.fixture
def port(tmp_path: Path) -> Iterator[PseudoPort]:
    with PseudoPort(tmp_path / "port") as plugged:
        yield plugged


async def asked(node: Node, wanted: str) -> httpx.Response:
    """Return the screen as soon as it says what is wanted."""
    for _ in range(2400):
        page = await node.local.get("/join")
        if wanted in page.text:
            return page
        await asyncio.sleep(0.05)
    raise AssertionError(f"'{wanted}' was not asked: {page.text}")


async def answer(node: Node, page: httpx.Response, text: str) -> None:
    turn = re.search(r'name="turn" value="(\d+)"', page.text)
    assert turn is not None
    sent = await node.local.post("/join/answer", data={"turn": turn[1], "answer": text})
    assert sent.status_code == 303


async def test_a_serial_device_is_pointed_at_written_and_read(
    port: PseudoPort, tmp_path: Path
) -> None:
    probes = Probes()

    def send() -> None:
        probes.count += 1
        said = ["-999.9" if c is None else f"{c:.1f}" for c in probes.true_c]
        port.write(f"{probes.count};{';'.join(said)};ok\r\n".encode())

    async def hold(true_c: float | None) -> None:
        probes.set(true_c)
        had = probes.count
        await until(lambda: probes.count > had + 130)  # what the last three seconds hold

    async with make_node(tmp_path) as node, sending(send):
        begun = await node.local.post("/join/point", data={"port": str(port.path)})
        assert begun.status_code == 303
        second = await node.local.post("/join/point", data={"port": str(port.path)})
        assert second.status_code == 409
        page = await asked(node, "Warm one probe")
        for step in range(8):
            probes.set(ROOM_C + 1.4 * step)
            await until(lambda had=probes.count: probes.count > had + 2)  # type: ignore[misc]
        seen = (await node.local.get("/join/state")).json()
        assert ";ok" in seen["live"]
        await answer(node, page, "")
        await answer(node, page, "")  # tapped twice: the second answers nothing
        page = await asked(node, "ice water")
        await hold(0.0)
        await answer(node, page, "zero")
        page = await asked(node, "zero")  # it says what was wrong and asks again
        await answer(node, page, "0 C")
        page = await asked(node, "somewhere warm")
        await hold(75.0)
        await answer(node, page, "167F")
        page = await asked(node, "Unplug that probe")
        probes.set(None)
        await until(lambda had=probes.count: probes.count > had + 8)  # type: ignore[misc]
        await answer(node, page, "")
        page = await asked(node, "Nothing is written yet")
        assert not (tmp_path / "devices.d").exists()
        wrong = await node.local.post("/join/write", data={"name": "tray", "site.probe-9": "pit"})
        assert wrong.status_code == 400
        form = {"name": "tray", "site.probe-1": "pit"}
        done = await node.local.post("/join/write", data=form)
        assert "tray is written, and read from now on" in done.text
        again = await node.local.post("/join/write", data=form)
        assert again.status_code == 409
        probes.set(107.0)
        lanes = node.daemon.engine.lanes
        await until(lambda: "tray/probe-1" in lanes or "tray/probe-1" in node.daemon.engine.lanes)
        await until(
            lambda: abs((node.daemon.engine.lanes["tray/probe-1"].state.value or 0) - 107_000) < 300
        )
    kept = tmp_path / "pitlogger.toml"
    kept.write_text(f'[node]\ndata = "{tmp_path}"\n')
    assert [device.id for device in load_config(kept).device] == ["tray"]


async def test_what_sends_nothing_is_told_and_let_go(port: PseudoPort, tmp_path: Path) -> None:
    async with make_node(tmp_path) as node:
        await node.local.post("/join/point", data={"port": str(port.path)})
        await asked(node, "Going through the customary rates")
        stopped = await node.local.post("/join/stop")
        assert stopped.headers["location"] == "/reach"
        page = await node.local.get("/join")
        assert "No device is being joined" in page.text


async def test_an_answer_without_a_question_and_an_unknown_step_do_nothing(node: Node) -> None:
    assert (await node.local.post("/join/answer", data={"turn": "x"})).status_code == 400
    assert (await node.local.post("/join/melt", data={})).status_code == 400
    assert (await node.local.post("/join/point", data={})).status_code == 400
    assert (await node.local.post("/join/point", data={"hid": "zz"})).status_code == 400
    assert (await node.local.post("/join/write", data={})).status_code == 409


async def test_hands_do_not_join_devices(node: Node) -> None:
    for role, status in ((Role.HANDS, 403), (Role.OWNER, 400)):
        sent = await node.network.post("/join/point", data={"port": ""}, headers=node.cookie(role))
        assert sent.status_code == status


async def test_nobody_who_comes_back_ends_the_talk(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("pitlogger.web.joining.PATIENCE_S", 0.01)
    talk = Talk("tray")
    assert await talk.ask("passkey") is None
    assert "Nobody answered" in talk.lines[-1]


async def test_a_device_of_a_known_driver_is_read_by_one_form(
    port: PseudoPort, tmp_path: Path
) -> None:
    form = {"own": "Kitchen scale", "driver": "csv-line", "key.port": str(port.path)}
    async with make_node(tmp_path) as node:
        done = await node.local.post("/join/add", data=form)
        assert "kitchen-scale is written, and read from now on" in done.text
        assert "kitchen-scale" in node.daemon.supervisor.links()
        for wrong in ({}, {"driver": "melt"}, {"own": "other", "key.no_such_key": "x"}):
            refused = await node.local.post("/join/add", data={**form, **wrong})
            assert refused.status_code in (400, 409)
    assert [path.stem for path in (tmp_path / "devices.d").glob("*.toml")] == ["kitchen-scale"]


async def test_one_that_suits_several_drivers_is_listened_to_first(
    port: PseudoPort, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("pitlogger.web.page.setup.join.LISTEN_S", 0.5)
    suits = "csv-line,modbus,scpi,serial-scale,sma-scale"
    form = {"own": "Bench", "driver": suits, "key.port": str(port.path)}
    async with make_node(tmp_path) as node:
        silent = await node.local.post("/join/add", data=form)
        assert silent.status_code == 409
        assert "othing could be read from it" in silent.text
        async with sending(lambda: port.write(b"ST,GS,+   4.218kg\r\n")):
            done = await node.local.post("/join/add", data=form)
        assert "bench is written, and read from now on" in done.text
        assert node.daemon.config.device[-1].driver == "serial-scale"


async def test_a_device_that_was_joined_here_is_read_no_more(
    port: PseudoPort, tmp_path: Path
) -> None:
    form = {"own": "bench", "driver": "csv-line", "key.port": str(port.path)}
    async with make_node(tmp_path) as node:
        await node.local.post("/join/add", data=form)
        assert "Read bench no more" in (await node.local.get("/settings")).text
        for other in ("", "pit", "../drivers"):
            refused = await node.local.post("/join/drop", data={"device": other})
            assert refused.status_code == 400
        done = await node.local.post("/join/drop", data={"device": "bench"})
        assert "bench is read no more" in done.text
        assert "bench" not in node.daemon.supervisor.links()
        again = await node.local.post("/join/add", data=form)
        assert "bench is written" in again.text
    assert sorted(path.name for path in (tmp_path / "devices.d").glob("bench.*")) == [
        "bench.old", "bench.toml",
    ]  # fmt: skip


async def test_what_is_read_already_and_the_computers_own_heat_are_said_to_be_that(
    port: PseudoPort, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    plugged = Find("serial", str(port.path), "board", frozenset({"port"}),
                   (("port", str(port.path)),))  # fmt: skip
    own = Find("hwmon", "hwmon0", "cpu_thermal", frozenset({"hwmon"}), (("name", "cpu_thermal"),))

    async def nothing(listen_s: float) -> list[Find]:
        return []

    monkeypatch.setattr(reach, "wired", lambda: [plugged, own])
    monkeypatch.setattr(reach, "heard", nothing)
    form = {"own": "bench", "driver": "csv-line", "key.port": str(port.path)}
    async with make_node(tmp_path) as node:
        await node.local.post("/join/add", data=form)
        answer = await node.local.get("/reach")
    assert "It is read already, as <b>bench</b>" in answer.text
    assert 'name="key.port"' not in answer.text
    assert "Mostly the heat of the computer itself" in answer.text


async def test_a_device_that_is_pointed_at_keeps_the_name_it_advertises(tmp_path: Path) -> None:
    async with make_node(tmp_path) as node:
        form = {"address": "02:00:00:00:00:20", "called": "Tray probes"}
        await node.local.post("/join/point", data=form)
        assert "Tray probes" in (await node.local.get("/join")).text
        await node.local.post("/join/stop")


async def test_what_is_plugged_in_is_offered_with_a_form(
    node: Node, monkeypatch: pytest.MonkeyPatch
) -> None:
    plugged = Find("serial", "/dev/null", "a scale", frozenset({"port"}), (("port", "/dev/null"),))

    async def nothing(listen_s: float) -> list[Find]:
        return []

    monkeypatch.setattr(reach, "wired", lambda: [plugged])
    monkeypatch.setattr(reach, "heard", nothing)
    answer = await node.network.get("/reach", headers=node.cookie())
    assert answer.status_code == 200
    assert 'name="key.port" value="/dev/null"' in answer.text
    assert "Read it from now on" in answer.text
