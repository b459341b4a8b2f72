"""What a finished cook teaches the next ones: in the daemon, on disk, and in a replay."""

from __future__ import annotations

import asyncio
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from pitlogger.bootstrap.engines import replay_files
from pitlogger.clock import ManualClock
from pitlogger.config import parse_config
from pitlogger.model.cooks import Channel, Cook, Piece, Stage
from pitlogger.model.journal import (
    CookFinished,
    CookStarted,
    CookWithdrawn,
    Entry,
    ForecastMade,
    ForecastScored,
    ForecastTaught,
    LearningSet,
    StageSet,
    Undone,
)
from pitlogger.model.readings import Quality, Reading, Site
from pitlogger.node.daemon import Daemon
from pitlogger.reports.capture_export import capture_lines
from tests.forecast.made import PIT_C, cook_c

START_MS = 1_790_000_000_000
MINUTE_MS = 60_000
HOURS = 9.0
SUPPER = Cook(
    "supper",
    (Piece("brisket", "brisket-packer", mass_mg=5_200_000, pull_at_mc=93_000),),
    (Channel("core", Site.CORE, "brisket"), Channel("pit", Site.PIT)),
)


class SameCookAgain:
    """A daemon whose time is ours, cooking the same brisket again and again."""

    def __init__(self, folder: Path) -> None:
        self.clock = ManualClock(START_MS)
        self.config = parse_config(f'[node]\ndata = "{folder}"\n[web]\nenabled = false\n')
        self.daemon = Daemon(self.config, clock=self.clock)

    async def cook(self, name: str, hours: float = HOURS) -> str:
        """Cook a brisket to its end, or to ``hours`` and leave it on; return the cook's id."""
        daemon = self.daemon
        await daemon.submit(CookStarted(replace(SUPPER, name=name)))
        began_ms = self.clock.engine_ms()
        await daemon.submit(StageSet("brisket", Stage.SMOKING, began_ms))
        await daemon.forecasting.settled()
        minutes = np.arange(int(hours * 60))
        core = cook_c(np.maximum(minutes / 60.0, 1e-9))
        for minute in minutes:
            self.clock.advance(MINUTE_MS)
            now_ms = self.clock.engine_ms()
            daemon.feed(Reading("pit", now_ms, round(PIT_C * 1000), Quality.GOOD, None))
            daemon.feed(Reading("core", now_ms, round(core[minute] * 1000), Quality.GOOD, None))
            await daemon.forecasting.settled()
        cook = daemon.cook or ""
        if hours == HOURS:
            await daemon.submit(StageSet("brisket", Stage.RESTING, self.clock.engine_ms()))
            await daemon.submit(CookFinished(name))
            await daemon.forecasting.settled()
            self.clock.advance(10 * MINUTE_MS)
        daemon.tick(self.clock.engine_ms())
        await asyncio.wrap_future(daemon.store.flush())
        return cook

    async def entries(self, cook: str) -> list[Entry]:
        found: list[Entry] = await self.daemon.ask(lambda reader: reader.entries(cook=cook))
        return found


def made(entries: list[Entry]) -> list[ForecastMade]:
    return [entry.body for entry in entries if isinstance(entry.body, ForecastMade)]


@pytest.fixture
def kitchen(tmp_path: Path) -> SameCookAgain:
    return SameCookAgain(tmp_path / "data")


async def test_a_finished_cook_is_scored_and_teaches_the_next(kitchen: SameCookAgain) -> None:
    async with kitchen.daemon:
        first = await kitchen.cook("first")
        second = await kitchen.cook("second", hours=1.0)
        scored = [e.body for e in await kitchen.entries(first) if e.body.kind == "forecast-scored"]
        entries = await kitchen.entries(second)
    assert len(scored) == 1
    assert isinstance(scored[0], ForecastScored)
    assert len(scored[0].scores) == 3
    assert {(score.cook, score.family) for score in scored[0].scores} == {(first, "brisket")}
    assert [e.body for e in entries][1] == ForecastTaught(scored[0].scores)


async def test_the_interval_is_widened_until_five_own_cooks_are_stored(
    kitchen: SameCookAgain,
) -> None:
    widened = []
    async with kitchen.daemon:
        for number in range(5):
            cook = await kitchen.cook(f"supper {number}")
            widened.append({said.widened for said in made(await kitchen.entries(cook))} - {False})
    # A new process: what was learnt lies on disk.
    again = SameCookAgain(kitchen.config.node.data)
    again.clock.advance(5 * 24 * 60 * MINUTE_MS)
    async with again.daemon:
        cook = await again.cook("the sixth")
        said = [one for one in made(await again.entries(cook)) if one.p50_ms is not None]
    assert widened == [{True}] * 5
    assert said
    assert not any(one.widened for one in said)


async def test_the_record_of_a_taught_cook_replays_to_the_same_forecasts(
    kitchen: SameCookAgain, tmp_path: Path
) -> None:
    async with kitchen.daemon:
        for number in range(5):
            await kitchen.cook(f"supper {number}")
        cook = await kitchen.cook("the sixth")
        lived = made(await kitchen.entries(cook))
        lines = await kitchen.daemon.ask(lambda reader: list(capture_lines(reader, cook)))
    capture = tmp_path / "sixth.senml"
    capture.write_text("".join(lines), encoding="utf-8")
    gathered, _ = replay_files(capture)
    assert made(gathered.entries) == lived
    assert not any(said.widened for said in lived)


async def test_a_finish_taken_back_and_made_anew_counts_once(kitchen: SameCookAgain) -> None:
    async with kitchen.daemon:
        first = await kitchen.cook("first")
        finish = (await kitchen.entries(first))[-2]
        assert isinstance(finish.body, CookFinished)
        await kitchen.daemon.submit(Undone(finish.run, finish.seq))
        await kitchen.daemon.submit(CookFinished("first"))
        await kitchen.daemon.forecasting.settled()
        await asyncio.wrap_future(kitchen.daemon.store.flush())
        kinds = [entry.body.kind for entry in await kitchen.entries(first)]
        second = await kitchen.cook("second", hours=0.2)
        taught = (await kitchen.entries(second))[1].body
    assert kinds.count("forecast-scored") == 2
    assert isinstance(taught, ForecastTaught)
    assert len(taught.scores) == 3


async def test_a_cook_that_never_was_on_the_pit_teaches_nothing(kitchen: SameCookAgain) -> None:
    async with kitchen.daemon:
        await kitchen.daemon.submit(CookStarted(SUPPER))
        cook = kitchen.daemon.cook or ""
        await kitchen.daemon.submit(CookFinished("supper"))
        await kitchen.daemon.forecasting.settled()
        kinds = [entry.body.kind for entry in await kitchen.entries(cook)]
        await kitchen.cook("next", hours=0.2)
        following = [e.body.kind for e in await kitchen.entries(kitchen.daemon.cook or "")]
    assert "forecast-scored" not in kinds
    assert "forecast-taught" not in following


async def test_the_physical_model_is_run_anew_every_half_hour(kitchen: SameCookAgain) -> None:
    async with kitchen.daemon:
        await kitchen.cook("supper", hours=4.0)
        carried = kitchen.daemon.engine.state.forecasts["brisket/pull"].carried
        now_s = kitchen.clock.engine_ms() / 1000
    assert carried is not None
    assert now_s - carried.made_s <= 2400


async def test_what_was_withdrawn_or_excluded_teaches_no_forecast(kitchen: SameCookAgain) -> None:
    async with kitchen.daemon:
        cooks = [await kitchen.cook(name) for name in ("first", "second", "third")]
        withdrawn = await kitchen.daemon.submit(CookWithdrawn(cooks[0], "twice"), past=cooks[0])
        await kitchen.daemon.submit(LearningSet(False, "fell apart"), past=cooks[1])
        await kitchen.daemon.forecasting.settled()
        later = await kitchen.cook("fourth")
        assert taught(await kitchen.entries(later)) == {cooks[2]}
    again = SameCookAgain(kitchen.config.node.data)  # a new process reads it from disk
    again.clock.advance(24 * 60 * MINUTE_MS)
    async with again.daemon:
        back = await again.cook("fifth")
        assert taught(await again.entries(back)) == {cooks[2], later}
        await again.daemon.submit(Undone(withdrawn.run, withdrawn.seq), past=cooks[0])
        await again.daemon.forecasting.settled()
        last = await again.cook("sixth", hours=1.0)
        assert taught(await again.entries(last)) == {cooks[0], cooks[2], later, back}


def taught(entries: list[Entry]) -> set[str]:
    """Return the cooks that taught the one whose entries these are."""
    told = [entry.body for entry in entries if isinstance(entry.body, ForecastTaught)]
    return {score.cook for body in told for score in body.scores}
