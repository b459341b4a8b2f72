"""Reload: what can be applied is, what cannot is named, and a bad file changes nothing."""

from __future__ import annotations

from pathlib import Path

import pytest

from pitlogger.config import Config, parse_config
from pitlogger.errors import ConfigError
from pitlogger.node.daemon import Daemon
from pitlogger.service.reload import applicable, difference

DEVICE = """
[[device]]
id = "{id}"
driver = "serial-scale"
port = "{port}"
[[device.channel]]
id = "{id}"
name = "mass"
site = "bench"
"""


def config(folder: Path, extra: str = "", *devices: tuple[str, str]) -> Config:
    tables = "".join(DEVICE.format(id=name, port=port) for name, port in devices)
    return parse_config(f'[node]\ndata = "{folder}"\n[web]\nenabled = false\n{extra}\n{tables}')


def test_units_and_devices_are_applied_and_named(tmp_path: Path) -> None:
    old = config(tmp_path, "", ("bench", "/dev/a"), ("spare", "/dev/s"))
    new = config(tmp_path, '[units]\nmass = "kg"', ("bench", "/dev/b"), ("spare", "/dev/s"))
    found = difference(old, new)
    assert found.applied == ("[units]", "device 'bench'")
    assert found.needs_restart == ()
    assert (found.stopped, found.started) == (("bench",), ("bench",))


def test_what_needs_a_restart_is_named_with_the_command(tmp_path: Path) -> None:
    new = config(tmp_path, '[store]\nbackups = "/media/usb"')
    found = difference(config(tmp_path), new)
    assert found.needs_restart == ("[store]",)
    assert "systemctl restart pitlogger" in found.text()
    assert applicable(config(tmp_path), new).store.backups is None


def test_how_people_are_told_is_applied(tmp_path: Path) -> None:
    found = difference(config(tmp_path), config(tmp_path, "[mqtt]\nmax_per_s = 2.0"))
    assert (found.applied, found.needs_restart) == (("[mqtt]",), ())


def test_the_same_file_changes_nothing(tmp_path: Path) -> None:
    same = config(tmp_path, "", ("bench", "/dev/a"))
    assert difference(same, same).text() == "nothing to apply"


async def test_a_running_daemon_takes_units_and_devices(tmp_path: Path) -> None:
    async with Daemon(config(tmp_path, "", ("bench", "/dev/none-a"))) as daemon:
        new = config(tmp_path, '[units]\nmass = "kg"', ("scale", "/dev/none-b"))
        found = await daemon.reload(new)
        assert set(found.applied) == {"[units]", "device 'bench'", "device 'scale'"}
        assert daemon.units.mass == "kg"
        assert list(daemon.supervisor.links()) == ["scale"]
        assert [channel.id for channel in daemon.channels] == ["scale"]


async def test_a_configuration_that_cannot_be_used_leaves_all_as_it_is(tmp_path: Path) -> None:
    async with Daemon(config(tmp_path, "", ("bench", "/dev/none-a"))) as daemon:
        engine = daemon.engine
        wrong = parse_config(
            f'[node]\ndata = "{tmp_path}"\n[[device]]\nid = "bench"\ndriver = "serial-scale"\n'
            'prot = "/dev/none"\n'
        )
        with pytest.raises(ConfigError, match="port"):
            await daemon.reload(wrong)
        assert daemon.engine is engine
        assert list(daemon.supervisor.links()) == ["bench"]
