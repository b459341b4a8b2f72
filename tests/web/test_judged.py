"""The food log is judged apart from the shared reader, and from few readings."""

from __future__ import annotations

import asyncio
import random
from dataclasses import replace
from itertools import pairwise

import pytest

from pitlogger.bootstrap.policies import policies_of
from pitlogger.clock import rfc3339
from pitlogger.config import parse_config
from pitlogger.formats.cook_file import parse_cook
from pitlogger.model.cooks import Stage
from pitlogger.model.folding import fold
from pitlogger.model.journal import CookStarted, Entry, StageSet
from pitlogger.model.readings import Quality, Reading, Site, Tagged
from pitlogger.reports.gathering import STILL_MS, without_repeats
from pitlogger.safety.judge import judge
from pitlogger.safety.recorded import histories
from tests.web.conftest import COOK, START_MS, Node

HOUR_S = 3600


def _core_c(hour: float) -> float:
    """A piece that warms in 8 h, is held for 3 h and cools: our own invention."""
    if hour < 8:
        return 4.0 + 90.0 * hour / 8
    return 94.0 - 9.0 * (hour - 8) if hour < 11 else 67.0 * 0.62 ** (hour - 11)


def _readings() -> list[Tagged]:
    noise = random.Random(3)
    found = []
    for second in range(0, 16 * HOUR_S, 2):
        for channel, c in (("pit", 115.0), ("brisket-1/core", _core_c(second / HOUR_S))):
            value = round((c + noise.gauss(0, 0.02)) * 10) * 100  # a probe that shows tenths
            quality = Quality.OPEN if 20_000 < second < 20_040 else Quality.GOOD
            t_ms = START_MS + second * 1000
            found.append(Tagged(channel, t_ms, value, value, quality, Site.NONE, None))
    return found


def _entries() -> list[Entry]:
    bodies = [CookStarted(parse_cook(COOK))] + [
        StageSet("brisket-1", stage, START_MS + hour * 3_600_000)
        for stage, hour in (
            (Stage.SMOKING, 0), (Stage.RESTING, 8), (Stage.HOLDING, 9), (Stage.COOLING, 11)
        )
    ]  # fmt: skip
    return [Entry("r", seq, START_MS, body) for seq, body in enumerate(bodies, 1)]


def test_what_stands_still_is_left_out_and_the_verdicts_stay() -> None:
    book, readings = fold(_entries()), _readings()
    _, policy = policies_of(parse_config('[node]\nname = "barn"\n'))
    few = list(without_repeats(readings))
    whole, lean = (judge(histories(book, given)[0], policy) for given in (readings, few))
    assert len(few) < len(readings) / 2
    assert lean.lethality.log10 == pytest.approx(whole.lethality.log10, rel=1e-6)
    assert whole.lethality.met_ms is not None
    assert lean.lethality.met_ms == pytest.approx(whole.lethality.met_ms, abs=STILL_MS)
    same = replace(lean.lethality, log10=whole.lethality.log10, met_ms=whole.lethality.met_ms)
    assert replace(lean, lethality=same) == whole


def test_a_channel_that_stands_still_keeps_its_ends() -> None:
    made = [
        Tagged("pit", second * 1000, 5, 5, Quality.GOOD, Site.NONE, None) for second in range(95)
    ]
    times = [reading.t_ms for reading in without_repeats(made)]
    assert (times[0], times[-1]) == (0, 94_000)
    assert max(b - a for a, b in pairwise(times)) <= STILL_MS


async def test_the_log_is_read_without_the_shared_reader(node: Node) -> None:
    await node.begin()
    node.daemon.feed(Reading("pit", START_MS, 115_000))

    async def never(question: object) -> None:
        raise AssertionError("the shared reader was asked")

    node.daemon.ask = never  # type: ignore[assignment,method-assign]
    answer = await node.local.get("/api/v1/log")
    assert (answer.status_code, answer.json()["entries"]) == (200, 1)


async def test_an_unknown_cook_is_refused_in_words(node: Node) -> None:
    assert (await node.local.get("/api/v1/log")).status_code == 409
    await node.begin()
    answer = await node.local.get("/api/v1/log", params={"cook": "nobody"})
    assert answer.status_code == 400
    assert "nobody" in answer.json()["error"]


async def test_what_a_piece_that_cooks_has_not_reached_is_not_missed(node: Node) -> None:
    await node.begin()
    ask = {"piece": "brisket-1", "stage": "smoking"}
    assert (await node.local.post("/api/v1/stages", json=ask)).status_code == 200
    for minute in range(90):
        node.daemon.feed(Reading("brisket-1/core", node.clock.engine_ms(), 5_000 + minute * 300))
        node.clock.advance(60_000)
        node.daemon.tick(node.clock.engine_ms())
    await asyncio.wrap_future(node.daemon.store.flush())
    log = (await node.local.get("/api/v1/log")).json()
    assert any(row["what"] == "lethality" and row["met"] is False for row in log["rows"])
    page = (await node.local.get("/food")).text
    assert "limit not met" not in page
    assert "not reached yet" in page


async def test_a_cook_entered_late_is_judged_from_when_it_began(node: Node) -> None:
    began = rfc3339(node.clock.utc_ms())
    for minute in range(300):
        core_mc = min(4_000 + minute * 300, 85_000)
        node.daemon.feed(Reading("brisket-1/core", node.clock.engine_ms(), core_mc))
        node.clock.advance(60_000)
        node.daemon.tick(node.clock.engine_ms())
    started = await node.local.post("/api/v1/cooks", json={"toml": COOK, "at": began})
    assert started.status_code == 200, started.text
    ask = {"piece": "brisket-1", "stage": "smoking", "at": began}
    assert (await node.local.post("/api/v1/stages", json=ask)).status_code == 200
    await asyncio.wrap_future(node.daemon.store.flush())
    log = (await node.local.get("/api/v1/log")).json()
    assert [row["met"] for row in log["rows"] if row["what"] == "lethality"] == [True]


async def _held_at_70_c(node: Node) -> None:
    await node.begin()
    for stage, minutes, step_mc in (("smoking", 300, 300), ("holding", 60, 0)):
        ask = {"piece": "brisket-1", "stage": stage}
        assert (await node.local.post("/api/v1/stages", json=ask)).status_code == 200
        for minute in range(minutes):
            core_mc = min(4_000 + minute * step_mc, 85_000) if step_mc else 85_000 - minute * 250
            node.daemon.feed(Reading("brisket-1/core", node.clock.engine_ms(), core_mc))
            node.clock.advance(60_000)
            node.daemon.tick(node.clock.engine_ms())
    await node.daemon.flushed()


async def _hot_hold(node: Node) -> tuple[bool | None, str]:
    log = (await node.local.get("/api/v1/log")).json()
    (row,) = (row for row in log["rows"] if row["what"] == "hot holding")
    return row["met"], row["value"]


async def test_a_cook_that_runs_is_judged_by_what_came_after_its_last_entry(node: Node) -> None:
    await _held_at_70_c(node)
    met, reason = await _hot_hold(node)
    assert met is True
    assert "158.4 F" in reason  # 85 C less 59 times 0.25, as of the last reading


async def test_silence_since_the_last_reading_of_a_cook_that_runs_is_not_shown(node: Node) -> None:
    await _held_at_70_c(node)
    node.clock.advance(2 * 3_600_000)
    met, reason = await _hot_hold(node)
    assert met is None
    assert "brisket-1/core: no reading for 2 h" in reason
    sheet = (await node.local.get("/print/food-log")).text
    assert "no reading for 2 h" in sheet
