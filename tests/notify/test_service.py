"""The notifier in a daemon: alerts become messages, survive restarts, and failures are alarmed."""

from __future__ import annotations

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any

import pytest

from pitlogger.clock import ManualClock
from pitlogger.config import parse_config
from pitlogger.engine.inputs import Command
from pitlogger.errors import ConfigError
from pitlogger.model.alerts import AlertState
from pitlogger.model.journal import AlertActed, TroubleChanged
from pitlogger.node.daemon import Daemon
from pitlogger.store.queries import Reader
from pitlogger.testing.waiting import until
from tests.notify.conftest import WebServer

NOW_MS = 1_790_000_000_000
DISK = "disk-low/node"
SECOND_MS = 1000
MINUTE_MS = 60_000


class Night:
    """A daemon that notifies one web server, and the hand that turns its clock."""

    def __init__(self, folder: Path, server: WebServer, now_ms: int = NOW_MS) -> None:
        self.clock = ManualClock(now_ms)
        self.server = server
        self.config = parse_config(
            f'[node]\ndata = "{folder}"\n[[notify.way]]\nkind = "webhook"\n'
            f'url = "{server.url}/hook"\n'
        )
        self.daemon: Daemon

    @asynccontextmanager
    async def running(self) -> AsyncIterator[Daemon]:
        async with Daemon(self.config, self.clock) as self.daemon:
            yield self.daemon

    def trouble(self, active: bool) -> None:
        changed = TroubleChanged(
            "disk-low", "node", active, "2 % of the disk are free", "Make room"
        )
        self.daemon.feed(Command(self.clock.engine_ms(), changed))

    def acknowledge(self) -> None:
        self.daemon.feed(Command(self.clock.engine_ms(), AlertActed(DISK, "acknowledge"), "JD"))

    async def after(self, ms: int) -> None:
        """Let time pass, and let the notifier do what is due then."""
        await until(lambda: self.daemon.journalling.is_settled)
        self.clock.advance(ms)
        self.daemon.tick(self.clock.engine_ms())
        self.daemon.notifier.tick()
        await self.daemon.notifier.settle()

    def kinds(self) -> list[str]:
        """Return what was told of the disk; other alerts may come and go."""
        return [t.document["kind"] for t in self.server.taken if DISK in t.document["alerts"]]

    def state(self, key: str) -> AlertState:
        return self.daemon.engine.state.watches[key].state


@pytest.fixture
def night(tmp_path: Path, web_server: WebServer) -> Night:
    return Night(tmp_path, web_server)


async def test_an_alert_reaches_the_way_after_the_wait_for_its_group(night: Night) -> None:
    async with night.running():
        night.trouble(True)
        await until(lambda: DISK in night.daemon.notifier.outbox.standing)
        await night.after(9 * SECOND_MS)
        assert night.kinds() == []
        await night.after(SECOND_MS)
        assert night.kinds() == ["raised"]
        text = night.server.taken[0].document["text"]
        assert "2 % of the disk are free" in text
        assert "Do: Make room" in text


async def test_a_whole_night_gives_each_message_once_with_an_id_of_its_own(night: Night) -> None:
    async with night.running():
        night.trouble(True)
        await until(lambda: DISK in night.daemon.notifier.outbox.standing)
        for _ in range(20):
            await night.after(MINUTE_MS)
        ids = [taken.document["id"] for taken in night.server.taken]
        assert len(night.kinds()) == 4
        assert len(ids) == len(set(ids))


async def test_acknowledging_and_mending_ends_with_a_note(night: Night) -> None:
    async with night.running():
        night.trouble(True)
        await until(lambda: DISK in night.daemon.notifier.outbox.standing)
        await night.after(10 * SECOND_MS)
        night.acknowledge()
        await until(lambda: night.daemon.notifier.outbox.standing[DISK].silenced)
        await night.after(30 * MINUTE_MS)
        night.trouble(False)
        await until(lambda: night.state(DISK) is AlertState.NORMAL)
        await until(lambda: night.kinds() == ["raised", "returned"])


async def test_a_message_that_waits_survives_a_restart_and_is_not_doubled(night: Night) -> None:
    night.server.status = 503
    async with night.running():
        night.trouble(True)
        await until(lambda: DISK in night.daemon.notifier.outbox.standing)
        await night.after(10 * SECOND_MS)
    before = {taken.document["id"] for taken in night.server.taken}
    night.server.status = 200
    night.server.taken.clear()
    night.clock.advance(MINUTE_MS)
    async with night.running():
        await until(lambda: bool(night.server.taken))
        await night.after(0)
        assert [taken.document["id"] for taken in night.server.taken] == list(before)


async def test_the_repeats_go_on_over_a_restart(night: Night) -> None:
    async with night.running():
        night.trouble(True)
        await until(lambda: DISK in night.daemon.notifier.outbox.standing)
        await night.after(10 * SECOND_MS)
    async with night.running():
        await until(lambda: DISK in night.daemon.notifier.outbox.standing)
        await night.after(MINUTE_MS)
        assert night.kinds() == ["raised"]
        await night.after(2 * MINUTE_MS)
        assert night.kinds() == ["raised", "repeated"]


async def test_no_repeats_pile_up_while_a_way_is_away(night: Night) -> None:
    night.server.status = 503
    async with night.running():
        night.trouble(True)
        await until(lambda: DISK in night.daemon.notifier.outbox.standing)
        for _ in range(60):
            await night.after(MINUTE_MS)
        courier = night.daemon.notifier.couriers["webhook"]
        assert sum(DISK in parcel.message.alerts for parcel in courier.waiting) == 1


async def test_a_way_that_fails_is_itself_an_alarm_and_ends_when_it_works(night: Night) -> None:
    failing = "notify-failing/webhook"
    night.server.status = 503
    async with night.running():
        night.trouble(True)
        await until(lambda: DISK in night.daemon.notifier.outbox.standing)
        await night.after(10 * SECOND_MS)
        for _ in range(7):
            await night.after(10 * SECOND_MS)
        assert night.state(failing) is AlertState.UNACKNOWLEDGED
        assert "503" in night.daemon.engine.state.watches[failing].message
        night.server.status = 200
        await night.after(5 * MINUTE_MS)
        await night.after(MINUTE_MS)
        assert night.state(failing) is not AlertState.UNACKNOWLEDGED


async def test_a_failing_way_is_not_told_of_its_own_failure(night: Night) -> None:
    night.server.status = 503
    async with night.running():
        night.trouble(True)
        await until(lambda: DISK in night.daemon.notifier.outbox.standing)
        for _ in range(12):
            await night.after(30 * SECOND_MS)
        about = [a for taken in night.server.taken for a in taken.document["alerts"]]
        assert "notify-failing/webhook" not in about


async def test_rows_of_the_outbox_tell_what_waits_and_why(night: Night) -> None:
    night.server.status = 503
    async with night.running() as daemon:
        night.trouble(True)
        await until(lambda: DISK in night.daemon.notifier.outbox.standing)
        await night.after(10 * SECOND_MS)
        await daemon.ask(lambda reader: None)
        await until(lambda: _errors(night) == ["webhook: 503"])


def _errors(night: Night) -> list[str]:
    with Reader.open(night.config.database) as reader:
        return [
            f"{row.channel}: {'503' if '503' in row.last_error else row.last_error}"
            for row in reader.outbox()
            if row.channel
        ]


# -- beside the outbox ----------------------------------------------------------------------


async def test_a_heartbeat_is_sent_while_all_is_well(night: Night) -> None:
    url = f'[notify]\nheartbeat_url = "{night.server.url}/alive"\n'
    data = night.config.node.data
    night.config = parse_config(f'[node]\nname = "barn"\ndata = "{data}"\n{url}')
    async with night.running():
        await until(lambda: bool(night.server.taken))
        assert (night.server.taken[0].path, night.server.taken[0].document) == (
            "/alive", {"node": "barn"},
        )  # fmt: skip


async def test_the_sounder_sounds_at_once_and_its_button_acknowledges(
    night: Night, pins: Any
) -> None:
    data = night.config.node.data
    night.config = parse_config(
        f'[node]\ndata = "{data}"\n[notify.sounder]\npin = 17\nbutton_pin = 27\nhealthy_pin = 22\n'
    )
    async with night.running():
        await until(lambda: pins.pin(22).state == 1)
        night.trouble(True)
        await until(lambda: pins.pin(17).state == 1)
        pins.pin(27).drive_low()
        await until(lambda: night.state(DISK) is AlertState.ACKNOWLEDGED)
        await until(lambda: pins.pin(17).state == 0)


async def test_pins_that_cannot_be_used_are_an_alarm_and_nothing_else_stops(night: Night) -> None:
    data = night.config.node.data
    night.config = parse_config(f'[node]\ndata = "{data}"\n[notify.sounder]\npin = 17\n')
    async with night.running():
        await until(lambda: "notify-failing/sounder" in night.daemon.engine.state.watches)
        night.trouble(True)
        await until(lambda: DISK in night.daemon.notifier.outbox.standing)


async def test_a_way_of_choice_hears_that_the_node_lives(night: Night) -> None:
    data, url = night.config.node.data, night.server.url
    night.config = parse_config(
        f'[node]\nname = "barn"\ndata = "{data}"\n[notify]\nheartbeat_way = "watcher"\n'
        f'[[notify.way]]\nid = "watcher"\nkind = "webhook"\nurl = "{url}/alive"\n'
    )
    async with night.running():
        await until(lambda: bool(night.server.taken))
    document = night.server.taken[0].document
    assert (document["kind"], document["title"]) == ("alive", "barn is alive")
    assert "Nothing heard for 3 min" in document["text"]


def test_a_heartbeat_by_a_way_that_is_not_there_is_refused() -> None:
    with pytest.raises(ConfigError, match="heartbeat_way 'x' is no way"):
        parse_config('[notify]\nheartbeat_way = "x"\n')
