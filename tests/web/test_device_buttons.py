"""What a device can be told is a button in Settings, and reaches a real port."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from pitlogger.model.journal import Noted
from pitlogger.testing import PseudoPort, until
from pitlogger_drivers.sma_scale.decode import REQUESTS
from tests.web.conftest import make_node


@pytest.fixture
def port(tmp_path: Path) -> Iterator[PseudoPort]:
    with PseudoPort(tmp_path / "scale") as plugged:
        yield plugged


async def test_a_scale_is_zeroed_from_the_page(port: PseudoPort, tmp_path: Path) -> None:
    device = (
        f'[[device]]\nid = "scale"\ndriver = "sma-scale"\nport = "{port.path}"\n'
        "ask_every_s = 3600\nsilence_s = 7200\n"
    )
    async with make_node(tmp_path, device) as node:
        await node.begin()
        await until(lambda: port.read() == REQUESTS["weight"])
        page = await node.local.get("/settings")
        assert "Zero: scale" in page.text
        form = {"device": "scale", "command": "zero"}
        headers = {"Accept": "application/json"}
        answer = await node.local.post("/do/device-command", data=form, headers=headers)
        assert (answer.status_code, answer.json()) == (200, {"said": "scale: zero sent."})
        await until(lambda: port.read() == REQUESTS["zero"])
        bodies = [entry.body for entry in node.daemon.engine.state.entries]
        assert [body.text for body in bodies if isinstance(body, Noted)] == [
            "'zero' was sent to scale"
        ]


async def test_a_command_that_is_not_there_is_refused(port: PseudoPort, tmp_path: Path) -> None:
    device = f'[[device]]\nid = "scale"\ndriver = "sma-scale"\nport = "{port.path}"\n'
    async with make_node(tmp_path, device) as node:
        form = {"device": "scale", "command": "melt"}
        headers = {"Accept": "application/json"}
        answer = await node.local.post("/do/device-command", data=form, headers=headers)
        assert answer.status_code in (400, 409)
        assert "melt" in answer.json()["error"]
