"""A way that is open while its sources fail: told once, also where they come and go."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator

from pitlogger.devices.contract import Chunk
from pitlogger.devices.supervisor import Link
from pitlogger.errors import SilentError, TransportError
from pitlogger.testing import until
from tests.devices.test_supervisor import Rig, ScriptedDriver, sends


async def test_an_open_way_that_gives_faults_alone_is_not_called_up_again() -> None:
    node = Rig()
    refused = SilentError("it refuses")

    async def script() -> AsyncIterator[Chunk]:
        yield Chunk("", b"", refused)
        raise refused

    driver = ScriptedDriver(script)
    async with node.supervisor:
        node.start(driver)
        await until(lambda: driver.opened >= 4)
        assert [link for _, link, _, _ in node.said] == [Link.UP, Link.UP, Link.LOST]
        driver.script = sends(b"1", stay=True)
        await until(lambda: len(node.said) >= 4)
    assert node.said[3][1:3] == (Link.UP, "it speaks")


async def test_a_source_that_comes_and_goes_is_told_once_and_well_after_a_quiet_minute() -> None:
    node = Rig()
    fault = Chunk("point", b"", TransportError("reading point failed", remedy="Look at its plug"))
    well = Chunk("point", b"1")

    async def script() -> AsyncIterator[Chunk]:
        for chunk in (fault, fault, well, *(fault, well) * 20):
            node.clock.advance(500)
            yield chunk
        node.clock.advance(59_000)
        yield well
        node.clock.advance(2_000)
        yield well
        await asyncio.Event().wait()

    async with node.supervisor:
        node.start(ScriptedDriver(script))
        await until(lambda: len(node.values) >= 23)
    assert [message for _, _, message, _ in node.said] == [
        "connected",
        "connected, but reading point failed",
        "connected",
        "connected, but reading point failed: now and then",
        "connected",
    ]
    assert node.said[3][3] == "Look at its plug"
