"""A message that is told again says how it is now, beside the value at the crossing."""

from __future__ import annotations

from pathlib import Path

import pytest

from pitlogger.engine.inputs import Command
from pitlogger.formats.cook_file import parse_cook
from pitlogger.model.cooks import Stage
from pitlogger.model.journal import CookStarted, StageSet
from pitlogger.model.quantities import milli_c_from_fahrenheit
from pitlogger.model.readings import Reading
from tests.notify.conftest import WebServer
from tests.notify.test_service import MINUTE_MS, Night

ALERT = "hot-hold-low/b"
COOK = """
[cook]
name = "supper"
[[piece]]
id = "b"
cut = "brisket-packer"
[[channel]]
id = "b/core"
site = "core"
piece = "b"
"""


@pytest.fixture
def night(tmp_path: Path, web_server: WebServer) -> Night:
    return Night(tmp_path, web_server)


async def held_at(night: Night, fahrenheit: float, minutes: int) -> None:
    for _ in range(minutes):
        core = Reading("b/core", night.clock.engine_ms(), milli_c_from_fahrenheit(fahrenheit))
        night.daemon.feed(core)
        await night.after(MINUTE_MS // 2)
        night.daemon.feed(Reading("b/core", night.clock.engine_ms(), core.value))
        await night.after(MINUTE_MS // 2)


def texts(night: Night, kind: str) -> list[str]:
    return [
        taken.document["text"]
        for taken in night.server.taken
        if taken.document["kind"] == kind and ALERT in taken.document["alerts"]
    ]


async def test_what_is_told_again_names_the_value_then_and_now(night: Night) -> None:
    async with night.running():
        at_ms = night.clock.engine_ms()
        for body in (CookStarted(parse_cook(COOK)), StageSet("b", Stage.HOLDING, at_ms)):
            night.daemon.feed(Command(at_ms, body, "AB"))
        await held_at(night, 150, 3)
        await held_at(night, 130, 3)
        assert len(texts(night, "raised")) == 1
        assert "130 F" in texts(night, "raised")[0]
        await held_at(night, 126, 5)
        again = texts(night, "repeated")
        assert again
        assert "at 130 F at " in again[-1]
        assert "now 126 F" in again[-1]
