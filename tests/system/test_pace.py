"""A loop that does not get its turn: an alarm, a figure, and an end to both."""

from __future__ import annotations

import asyncio
from pathlib import Path

import pytest

from pitlogger.clock import ManualClock
from pitlogger.config import parse_config
from pitlogger.node import daemon as daemon_module
from pitlogger.node.daemon import Daemon
from pitlogger.node.pace import LoopPace
from pitlogger.testing.waiting import until


def test_one_long_wait_is_no_alarm() -> None:
    pace = LoopPace()
    assert pace.came(8.0, 100.0) is None
    assert pace.came(0.0, 130.0) is None
    assert pace.came(9.0, 170.0) is None  # more than a minute later
    assert pace.worst_s(171.0) == 9.0


def test_two_within_a_minute_are_one_and_it_ends() -> None:
    pace = LoopPace()
    assert [pace.came(late_s, at_s) for late_s, at_s in ((6.0, 10.0), (7.0, 40.0))] == [None, True]
    assert pace.came(6.0, 60.0) is None  # it stands already
    assert pace.came(0.1, 359.0) is None
    assert pace.came(0.1, 361.0) is False
    assert pace.worst_s(361.0) == 0.0
    assert pace.came(6.0, 370.0) is None


async def test_the_daemon_raises_it_and_lowers_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    answers = iter([True])
    monkeypatch.setattr(LoopPace, "came", lambda *_: next(answers, None))
    monkeypatch.setattr(LoopPace, "worst_s", lambda *_: 7.2)
    monkeypatch.setattr(daemon_module, "TICK_S", 0.01)
    config = parse_config(f'[node]\ndata = "{tmp_path}"\n[web]\nenabled = false\n')
    async with Daemon(config, clock=ManualClock(1_790_000_000_000)) as daemon:
        watches = daemon.engine.state.watches
        await until(lambda: "node-slow/node" in watches)
        assert "held the node up for 7 s" in watches["node-slow/node"].message
        answers = iter([False])
        await until(lambda: not watches["node-slow/node"].holds)
        await asyncio.sleep(0)
