"""A configuration read again reaches the notifier, and nothing that waits is lost."""

from __future__ import annotations

from typing import Any

import pytest

from pitlogger.config import Config, parse_config
from pitlogger.model.journal import TroubleChanged
from pitlogger.notify.service import LEFT
from pitlogger.store.queries import Reader
from pitlogger.testing.waiting import until
from tests.notify.conftest import WebServer
from tests.notify.test_service import DISK, MINUTE_MS, SECOND_MS, Night

FAILING = "notify-failing/webhook"


@pytest.fixture
def night(tmp_path: Any, web_server: WebServer) -> Night:
    return Night(tmp_path, web_server)


def changed(night: Night, tables: str, ways: str | None = None) -> Config:
    """Return the night's configuration with other tables and, if given, other ways."""
    way = f'[[notify.way]]\nkind = "webhook"\nurl = "{night.server.url}/hook"\n'
    data = night.config.node.data
    return parse_config(f'[node]\ndata = "{data}"\n{tables}\n{way if ways is None else ways}')


async def raised(night: Night) -> None:
    night.trouble(True)
    await until(lambda: DISK in night.daemon.notifier.outbox.standing)
    await night.after(10 * SECOND_MS)


async def test_quiet_hours_hold_from_the_reload_on(night: Night) -> None:
    async with night.running() as daemon:
        await daemon.reload(changed(night, '[notify]\nquiet_from = "00:00"\nquiet_to = "23:59"'))
        await raised(night)
        assert night.kinds() == []  # a full disk does not wake
        found = await daemon.reload(changed(night, ""))
        assert found.applied == ("[notify]",)
        await night.after(SECOND_MS)
        assert night.kinds() == ["raised"]


async def test_what_waits_goes_by_the_new_address_with_its_id(
    night: Night, other_server: WebServer
) -> None:
    night.server.status = 503
    async with night.running() as daemon:
        await raised(night)
        await night.after(61 * SECOND_MS)
        assert night.state(FAILING).value == "unacknowledged"
        ids = {taken.document["id"] for taken in night.server.taken}
        way = f'[[notify.way]]\nkind = "webhook"\nurl = "{other_server.url}/hook"\n'
        await daemon.reload(changed(night, "", way))
        await night.after(SECOND_MS)
        assert ids <= {taken.document["id"] for taken in other_server.taken}
        assert not daemon.notifier.couriers["webhook"].waiting
        assert night.state(FAILING).value != "unacknowledged"


async def test_a_second_contact_named_later_is_told_when_its_time_has_come(
    night: Night, other_server: WebServer
) -> None:
    config = changed(night, "")
    async with night.running() as daemon:
        second = (
            f'[[notify.way]]\nkind = "webhook"\nid = "partner"\ncontact = "second"\n'
            f'url = "{other_server.url}/hook"\n'
        )
        rules = night.config.node.data / "alerts.toml"
        rules.write_text('[disk-low]\npriority = "high"\n', encoding="utf-8")
        ways = f'[[notify.way]]\nkind = "webhook"\nurl = "{night.server.url}/hook"\n{second}'
        await daemon.reload(changed(night, f'[policy]\nalerts = "{rules}"', ways))
        await raised(night)
        assert not other_server.taken
        await night.after(11 * MINUTE_MS)
        assert [DISK in taken.document["alerts"] for taken in other_server.taken] == [True]
        await daemon.reload(config)
        assert list(daemon.notifier.couriers) == ["webhook"]


async def test_a_way_that_is_gone_says_so_in_the_outbox_and_ends_its_alarm(night: Night) -> None:
    night.server.status = 503
    async with night.running() as daemon:
        await raised(night)
        await night.after(61 * SECOND_MS)
        await daemon.reload(changed(night, "", ""))
        await daemon.ask(lambda reader: None)
        assert night.state(FAILING).value != "unacknowledged"
    with Reader.open(night.config.database) as reader:
        assert not [row for row in reader.outbox() if row.channel]
        kept = [row for row in reader.handed_in(0) if row.channel == "webhook"]
    assert {row.last_error for row in kept} == {LEFT}


async def test_a_way_that_failed_before_a_restart_ends_its_alarm_when_it_works(
    night: Night,
) -> None:
    night.server.status = 503
    async with night.running():
        await raised(night)
        await night.after(61 * SECOND_MS)
        assert night.state(FAILING).value == "unacknowledged"
    night.server.status = 200
    async with night.running():
        await until(lambda: not night.daemon.notifier.couriers["webhook"].waiting)
        await until(lambda: night.state(FAILING).value != "unacknowledged")


async def test_a_fault_that_goes_on_is_entered_once(night: Night) -> None:
    night.server.status = 503
    async with night.running() as daemon:
        await raised(night)
        for _ in range(30):
            await night.after(MINUTE_MS)
        entries = await daemon.ask(lambda reader: reader.entries(kinds=("trouble-changed",)))
    changed = [entry.body for entry in entries if isinstance(entry.body, TroubleChanged)]
    assert [body.subject for body in changed if body.alert == "notify-failing"] == ["webhook"]


async def test_a_heartbeat_begins_moves_and_ends(night: Night, other_server: WebServer) -> None:
    async with night.running() as daemon:
        url = f'[notify]\nheartbeat_url = "{night.server.url}/alive"'
        await daemon.reload(changed(night, url))
        await until(lambda: [taken.path for taken in night.server.taken] == ["/alive"])
        url = f'[notify]\nheartbeat_url = "{other_server.url}/alive"'
        await daemon.reload(changed(night, url))
        await until(lambda: [taken.path for taken in other_server.taken] == ["/alive"])
        await daemon.reload(changed(night, ""))
        assert len(night.server.taken) == 1


async def test_the_sounder_takes_other_pins(night: Night, pins: Any) -> None:
    async with night.running() as daemon:
        await daemon.reload(changed(night, "[notify.sounder]\npin = 17\nhealthy_pin = 22"))
        night.trouble(True)
        await until(lambda: pins.pin(17).state == 1 and pins.pin(22).state == 1)
        await daemon.reload(changed(night, "[notify.sounder]\npin = 18\nhealthy_pin = 22"))
        await until(lambda: pins.pin(18).state == 1)
        assert pins.pin(17).state == 0
        await daemon.reload(changed(night, ""))
        assert (pins.pin(18).state, pins.pin(22).state) == (0, 0)
