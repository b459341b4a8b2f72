"""A cook under test: an engine, a clock that is just a number, and short words for inputs."""

from __future__ import annotations

import pytest

from pitlogger.bootstrap.policies import load_policy
from pitlogger.engine.feed import feed, ticks_until
from pitlogger.engine.inputs import Command, Input, Output
from pitlogger.engine.state import EngineState
from pitlogger.engine.step import Engine
from pitlogger.formats.cook_file import parse_cook
from pitlogger.model.cooks import Channel, Stage
from pitlogger.model.journal import AlertChanged, Body, CookStarted, Entry, StageSet
from pitlogger.model.quantities import milli_c_from_fahrenheit
from pitlogger.model.readings import Quality, Reading, Tagged

COOK = """
[cook]
name = "harvest supper"
[[piece]]
id = "brisket-1"
cut = "brisket-packer"
wrap_at = "165F"
pull_at = "203F"
[[channel]]
id = "brisket-1/core"
site = "core"
piece = "brisket-1"
[[channel]]
id = "brisket-1/point"
site = "core"
piece = "brisket-1"
[[channel]]
id = "pit"
site = "pit"
"""
START_MS = 1_700_000_000_000


class Kitchen:
    """An engine with a cook, fed second by second."""

    def __init__(self, cook: str | None = COOK, channels: tuple[Channel, ...] = ()) -> None:
        self.engine = Engine(EngineState("r"), load_policy(), channels=channels)
        self.t_ms = START_MS
        self.out: list[Output] = []
        if cook is not None:
            self.say(CookStarted(parse_cook(cook)))

    def feed(self, given: Input) -> None:
        for out in feed(self.engine, given):
            self.out += out

    def say(self, body: Body, by: str = "", key: str = "") -> None:
        self.feed(Command(self.t_ms, body, by, key))

    def stage(self, stage: Stage, piece: str = "brisket-1") -> None:
        self.say(StageSet(piece, stage, self.t_ms))

    def read(self, fahrenheit: float, channel: str = "brisket-1/core") -> None:
        self.feed(Reading(channel, self.t_ms, milli_c_from_fahrenheit(fahrenheit)))

    def bad(self, quality: Quality, channel: str = "brisket-1/core") -> None:
        self.feed(Reading(channel, self.t_ms, None, quality))

    def hold(self, fahrenheit: float, seconds: int, channel: str = "brisket-1/core") -> None:
        """Read the same every second for so long."""
        for _ in range(seconds):
            self.t_ms += 1000
            self.read(fahrenheit, channel)

    def wait(self, seconds: float) -> None:
        """Let time pass in silence."""
        self.t_ms += round(seconds * 1000)
        for out in ticks_until(self.engine, self.t_ms):
            self.out += out

    def entries(self) -> list[Entry]:
        return [output for output in self.out if isinstance(output, Entry)]

    def alerts(self, kind: str | None = None) -> list[tuple[int, str]]:
        """Return (seconds since the start, state) of the states alerts entered."""
        return [
            ((entry.t_ms - START_MS) // 1000, entry.body.now.value)
            for entry in self.entries()
            if isinstance(entry.body, AlertChanged) and kind in (None, entry.body.alert_kind)
        ]

    def tagged(self) -> list[Tagged]:
        return [output for output in self.out if isinstance(output, Tagged)]


@pytest.fixture
def kitchen() -> Kitchen:
    return Kitchen()
