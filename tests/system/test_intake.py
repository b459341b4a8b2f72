"""What a device sends beside the channels that the configuration names."""

from __future__ import annotations

import asyncio
import json
from pathlib import Path

import pytest

from pitlogger.bootstrap.cooks import with_configured
from pitlogger.config import parse_config
from pitlogger.devices.contract import Measurement
from pitlogger.engine.scales import steady_mg
from pitlogger.errors import RefusedError
from pitlogger.formats.cook_file import parse_cook
from pitlogger.model.alerts import AlertState
from pitlogger.model.journal import AlertChanged, CookStarted, TroubleChanged
from pitlogger.model.quantities import Quantity
from pitlogger.model.readings import Site
from pitlogger.node.daemon import Daemon
from pitlogger.reports.capture_export import capture_lines
from pitlogger.views.alerts import alert_view

BATTERY = Measurement("battery", Quantity.BATTERY, 6.0, "%EL")
MASS = Measurement("mass", Quantity.MASS, 3.912, "kg")


@pytest.fixture
def daemon(tmp_path: Path) -> Daemon:
    port = tmp_path / "no-port"
    return Daemon(
        parse_config(
            f'[node]\ndata = "{tmp_path}/data"\n[web]\nenabled = false\n'
            f'[[device]]\nid = "scale"\ndriver = "serial-scale"\nport = "{port}"\n'
            '[[device.channel]]\nid = "bench-scale"\nsite = "bench"\n'
        )
    )


async def start_cook(daemon: Daemon) -> None:
    cook = parse_cook('[cook]\nname = "x"\n[[piece]]\nid = "butt"\ncut = "pork-butt"\n')
    await daemon.submit(CookStarted(with_configured(cook, daemon.channels)))


async def test_a_channel_without_a_name_takes_only_its_own_quantity(daemon: Daemon) -> None:
    async with daemon:
        daemon.intake.measured("scale", MASS)
        daemon.intake.measured("scale", BATTERY)
        channels = daemon.engine.state.channels
        assert channels["bench-scale"].value == 3_912_000
        assert channels["scale/battery"].value == 6_000


async def test_a_battery_that_nobody_named_is_no_temperature_and_warns(daemon: Daemon) -> None:
    async with daemon:
        daemon.intake.measured("scale", BATTERY)
        assert daemon.engine.lanes["scale/battery"].quantity is Quantity.BATTERY
        for _ in range(700):
            daemon.tick(daemon.engine.state.t_ms + 1000)
        watch = daemon.engine.state.watches["battery-low/scale/battery"]
        assert watch.state is AlertState.UNACKNOWLEDGED
        assert alert_view(daemon, watch).message == "scale/battery: battery at 6 %"
        await asyncio.wrap_future(daemon.store.flush())
        entries = await daemon.ask(lambda reader: list(reader.entries()))
    (raised,) = [one.body for one in entries if isinstance(one.body, AlertChanged)]
    assert (raised.value, raised.unit) == (None, None)  # six per cent are not 6 C


@pytest.mark.parametrize("begun_first", [True, False])
async def test_it_is_exported_in_its_own_unit(daemon: Daemon, begun_first: bool) -> None:
    async with daemon:
        if begun_first:
            await start_cook(daemon)
        daemon.intake.measured("scale", BATTERY)
        if not begun_first:
            await start_cook(daemon)
        daemon.intake.measured("scale", BATTERY)
        daemon.keeping.save_all()
        await asyncio.wrap_future(daemon.store.flush())
        lines = await daemon.ask(lambda reader: list(capture_lines(reader, daemon.cook or "")))
    records = [record for line in lines for record in json.loads(line)]
    units = {record["u"] for record in records if record.get("n") == "scale/battery"}
    assert units == {"%EL"}


async def test_a_column_of_lines_is_what_its_values_are(tmp_path: Path) -> None:
    node = Daemon(
        parse_config(
            f'[node]\ndata = "{tmp_path}/data"\n[web]\nenabled = false\n'
            f'[[device]]\nid = "board"\ndriver = "csv-line"\nport = "{tmp_path}/no-port"\n'
            'map = "air:%RH"\n'
            '[[device.channel]]\nid = "cabinet/air"\nname = "air"\nsite = "room"\n'
        )
    )
    async with node:
        await start_cook(node)
        node.intake.measured("board", Measurement("air", Quantity.HUMIDITY, 61.0, "%RH"))
        assert node.engine.lanes["cabinet/air"].quantity is Quantity.HUMIDITY
        placed = node.engine.book.assignment("cabinet/air")
        assert placed is not None
        assert (placed.channel.site, placed.channel.quantity) == (Site.ROOM, Quantity.HUMIDITY)


async def test_a_scale_that_sends_one_result_a_weighing_can_be_kept(tmp_path: Path) -> None:
    node = Daemon(
        parse_config(
            f'[node]\ndata = "{tmp_path}/data"\n[web]\nenabled = false\n'
            '[[device]]\nid = "scale"\ndriver = "weight-scale"\naddress = "02:00:00:00:00:10"\n'
            '[[device.channel]]\nid = "bench-scale"\nsite = "bench"\n'
        )
    )
    async with node:
        node.intake.measured("scale", MASS)
        assert steady_mg(node.engine, "bench-scale") == 3_912_000
        node.tick(node.engine.state.t_ms + 301_000)
        with pytest.raises(RefusedError, match="silent"):
            steady_mg(node.engine, "bench-scale")


async def test_channels_without_end_raise_one_alarm_and_stand_in_the_record(
    daemon: Daemon,
) -> None:
    async with daemon:
        for number in range(300):
            one = Measurement(f"made-up-{number}", Quantity.TEMPERATURE, 20.0, "Cel")
            daemon.intake.measured("scale", one)
        assert len(daemon.engine.lanes) <= 256
        watch = daemon.engine.state.watches["store-failing/scale"]
        assert watch.state is AlertState.UNACKNOWLEDGED
        await asyncio.wrap_future(daemon.store.flush())
        kept = await daemon.ask(lambda reader: reader.entries())
        told = [one.body for one in kept if isinstance(one.body, TroubleChanged)]
        assert [one.subject for one in told] == ["scale"]
        assert "further ones are not kept" in told[0].message
