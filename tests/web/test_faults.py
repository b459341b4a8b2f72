"""What goes wrong is said in words: to a person on a screen, to a program as JSON."""

from __future__ import annotations

import httpx
import pytest

from pitlogger.errors import (
    DeliveryError,
    DriverError,
    PitloggerError,
    RefusedError,
    StoreError,
    TransportError,
    UsageError,
)
from pitlogger.web.app import make_apps
from tests.web.conftest import Node

HTML = {"Accept": "text/html"}


async def test_an_address_that_is_not_there_is_a_screen_for_a_person(node: Node) -> None:
    answer = await node.local.get("/nowhere", headers=HTML)
    assert answer.status_code == 404
    assert "Nothing was changed" in answer.text
    program = await node.local.get("/api/v1/nowhere")
    assert (program.status_code, list(program.json())) == (404, ["error"])


async def test_a_fault_that_nobody_foresaw_is_said_without_a_traceback(
    node: Node, monkeypatch: pytest.MonkeyPatch
) -> None:
    async def broken(question: object) -> None:
        raise ZeroDivisionError

    local, _ = make_apps(node.daemon, node.access)
    monkeypatch.setattr(node.daemon, "ask", broken)
    transport = httpx.ASGITransport(local, raise_app_exceptions=False)
    async with httpx.AsyncClient(transport=transport, base_url="http://pitlogger") as client:
        page = await client.get("/cooks", headers=HTML)
        program = await client.get("/api/v1/cooks")
    assert (page.status_code, program.status_code) == (500, 500)
    assert "logging and alarms go on" in page.text
    assert "ZeroDivisionError" not in page.text + program.text
    assert list(program.json()) == ["error"]


FAULTS: list[tuple[PitloggerError, int]] = [
    (UsageError("such a cook is not known"), 400),
    (RefusedError("the cook runs still"), 409),
    (TransportError("the scale went away"), 502),
    (DeliveryError("the hub did not answer"), 502),
    (StoreError("the disk is full"), 503),
    (DriverError("its driver will not load"), 500),
]


@pytest.mark.parametrize(("fault", "status"), FAULTS)
async def test_whose_fault_it_is_stands_in_the_status_and_why_in_words(
    node: Node, monkeypatch: pytest.MonkeyPatch, fault: PitloggerError, status: int
) -> None:
    async def broken(question: object) -> None:
        raise fault

    monkeypatch.setattr(node.daemon, "ask", broken)
    page = await node.local.get("/food", headers=HTML)
    program = await node.local.get("/api/v1/cooks")
    assert (page.status_code, program.status_code) == (status, status)
    assert str(fault).split()[-1] in page.text
    assert program.json() == {"error": str(fault)}
