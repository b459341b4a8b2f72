"""What a device can be told is a button in Settings, and reaches a real port."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from pitlogger.model.journal import Noted
from pitlogger.testing import PseudoPort, until
from pitlogger_drivers.sma_scale.decode import REQUESTS
from tests.web.conftest import make_node

PATIENCE_S = 60.0  # what a real port takes on a crowded machine


def _sent(port: PseudoPort, wanted: bytes) -> Callable[[], bool]:
    """Return whether a request has come, in however many parts the port hands it over."""
    got = bytearray()

    def has_come() -> bool:
        got.extend(port.read())
        return bytes(got) == wanted

    return has_come


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
        await until(_sent(port, REQUESTS["weight"]), PATIENCE_S)
        page = await node.local.get("/settings")
        assert "Zero: scale" in page.text
        form = {"device": "scale", "command": "zero"}
        headers = {"Accept": "application/json"}
        answer = await node.local.post("/do/device-command", data=form, headers=headers)
        assert (answer.status_code, answer.json()) == (200, {"said": "scale: zero sent."})
        await until(_sent(port, REQUESTS["zero"]), PATIENCE_S)
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
