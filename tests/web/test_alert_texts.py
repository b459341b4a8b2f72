"""What an alert says is made when it is shown: the value at the crossing, and now."""

from __future__ import annotations

from pitlogger.model.quantities import milli_c_from_fahrenheit as f
from pitlogger.model.readings import Reading
from pitlogger.views.shown import Shown
from tests.web.conftest import Node
from tests.web.test_corrections import HOUR_MS, post

CORE = "brisket-1/core"


def read(node: Node, fahrenheit: float, minutes: int, channel: str = CORE) -> None:
    for _ in range(minutes * 6):
        node.clock.advance(10_000)
        node.daemon.feed(Reading(channel, node.clock.engine_ms(), f(fahrenheit)))


async def fallen(node: Node) -> None:
    """Let held meat fall under the limit at once."""
    await node.begin()
    await post(node, "/stages", piece="brisket-1", stage="smoking")
    read(node, 180, 3)
    node.clock.advance(3 * HOUR_MS)
    await post(node, "/stages", piece="brisket-1", stage="holding")
    read(node, 180, 3)
    read(node, 104, 12)


async def test_an_alert_says_its_value_at_the_crossing_and_now(node: Node) -> None:
    await fallen(node)
    watch = node.daemon.engine.state.watches["hot-hold-low/brisket-1"]
    at = Shown(node.daemon.units, node.clock.engine_ms()).clock(watch.raised_ms)
    before = {row["kind"]: row for row in (await node.local.get("/api/v1/alerts")).json()}
    assert before["hot-hold-low"]["message"].startswith("brisket-1: coldest core at 104 F, below")
    read(node, 110, 3)
    told = {row["kind"]: row for row in (await node.local.get("/api/v1/alerts")).json()}
    assert told["hot-hold-low"]["message"].startswith(
        f"brisket-1: coldest core at 104 F at {at}, now 110 F, below the hot-hold limit 135 F"
    )
    answer = await node.network.get(
        "/alarms", headers={"Cookie": f"{node.cookie()['Cookie']}; units=C.kg"}
    )
    assert f"40 C at {at}, now 43 C, below the hot-hold limit 57 C" in answer.text
