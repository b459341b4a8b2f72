"""A service whose configuration, page or disk went bad starts all the same, and tells."""

from __future__ import annotations

import asyncio
import os
import random
import socket
from collections.abc import Callable
from functools import partial
from pathlib import Path

import httpx
import pytest

from pitlogger.bootstrap import fallback
from pitlogger.bootstrap.devices import channels_of, configured_devices
from pitlogger.bootstrap.policies import policies_of
from pitlogger.config import Config, load_config, parse_config
from pitlogger.errors import ConfigError, PitloggerError
from pitlogger.node.daemon import Daemon
from pitlogger.web import serve
from tests.torture.node import Node, node, until

EVERY = int(os.environ.get("CONFIG_FLIPS_EVERY", "29"))  # 1: every byte; two minutes
CONFIG = """
[node]
name = "pit"
data = "{data}"
[web]
enabled = false
[notify]
heartbeat_s = 60
[[notify.way]]
id = "phone"
kind = "webhook"
url = "http://192.0.2.1/pit"
[policy]
name = "home"
alerts = "{data}/alerts.toml"
[[device]]
id = "board"
driver = "csv-line"
port = "/dev/ttyUSB0"
map = "core:Cel,pit:Cel"
[[device.channel]]
id = "brisket-1/core"
name = "core"
site = "core"
[[device.channel]]
id = "pit"
name = "pit"
site = "pit"
"""


@pytest.fixture
def kept(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Return a service's configuration that worked once."""
    monkeypatch.setenv("STATE_DIRECTORY", str(tmp_path))
    (tmp_path / "alerts.toml").write_text('[pit-low]\non_delay = "2 min"\n', encoding="utf-8")
    path = tmp_path / "pitlogger.toml"
    path.write_text(CONFIG.format(data=tmp_path), encoding="utf-8")
    fallback.keep(path)
    return path


def _tried(path: Path) -> Config:
    config = load_config(path)
    policies_of(config)
    channels_of(config, configured_devices(config))
    return config


def _started(path: Path) -> tuple[Config, str]:
    """Return with what a service starts, and what it tells."""
    try:
        return _tried(path), ""
    except PitloggerError as fault:
        config, told = fallback.usable(path, path.parent, fault)
        policies_of(config)
        channels_of(config, configured_devices(config))
        return config, " ".join(told)


def test_each_byte_turned_or_cut_leaves_a_start_and_words(kept: Path) -> None:
    whole = kept.read_bytes()
    dice = random.Random()
    for at in range(dice.randrange(EVERY), len(whole), EVERY):
        turned = bytearray(whole)
        turned[at] ^= 1 << dice.randrange(8)
        for spoiled in (bytes(turned), whole[:at]):
            kept.write_bytes(spoiled)
            config, told = _started(kept)
            if told:
                assert [way.id for way in config.notify.way] == ["phone"], (at, told)
                assert [device.id for device in config.device] == ["board"], (at, told)
                assert str(kept) in told


@pytest.mark.parametrize(
    ("spoil", "word"),
    [
        (Path.unlink, "cannot be read"),
        (lambda path: path.with_name("alerts.toml").write_bytes(b"\xff"), "alerts"),
        (lambda path: path.with_name("alerts.toml").unlink(), "alerts"),
        (lambda path: path.write_text(path.read_text().replace("csv-line", "csv-lone")), "lone"),
    ],
)
def test_the_part_at_fault_alone_is_left_out(
    kept: Path, spoil: Callable[[Path], object], word: str
) -> None:
    spoil(kept)
    config, told = _started(kept)
    assert word in told
    assert config.policy.name == "home"
    assert [device.id for device in config.device] == ["board"]


def test_what_was_never_usable_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "pitlogger.toml"
    path.write_bytes(b"[nod")
    with pytest.raises(ConfigError, match="not valid TOML"):
        _started(path)


def test_a_nul_is_told_before_it_reaches_the_system() -> None:
    with pytest.raises(ConfigError, match="u0000"):
        parse_config('[node]\ndata = "/tmp/a\\u0000b"\n')


@pytest.mark.slow
def test_a_service_runs_on_what_worked_last_and_says_so(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("STATE_DIRECTORY", str(tmp_path / "data"))
    with node(tmp_path) as made:
        made.start()
        until("it is kept", (made.data / fallback.KEPT).exists)
        made.stop()
        whole = made.config.read_bytes()
        made.config.write_bytes(whole[: len(whole) // 2] + b"\x00")
        made.start()
        until("it is told", partial(_configuration, made))
        (row,) = _configuration(made)
        assert "in use is what worked last" in row["message"]
        made.start_cook()
        until("the probe is read", lambda: made.get("/status")["channels"])
        code, _ = made.stop()
        assert code == 0
        made.config.write_bytes(whole)
        made.start()
        assert not _configuration(made)


def _configuration(made: Node) -> list[dict[str, str]]:
    return [
        row
        for row in made.get("/alerts")
        if row["alert"] == "store-failing/configuration" and row["state"] != "normal"
        and not row["state"].startswith("returned")
    ]  # fmt: skip


@pytest.mark.slow
def test_a_record_that_cannot_be_opened_leaves_the_alarms(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    runs = tmp_path / "run"
    runs.mkdir()
    monkeypatch.setenv("STATE_DIRECTORY", str(tmp_path / "data"))
    monkeypatch.setenv("RUNTIME_DIRECTORY", str(runs))
    with node(tmp_path) as made:
        made.data.write_text("a file where the folder should be", encoding="utf-8")
        made.socket = runs / "pitlogger.sock"
        text = made.config.read_text(encoding="utf-8")
        made.config.write_text(
            text.replace("[web]", f'socket = "{made.socket}"\n[web]'), encoding="utf-8"
        )
        made.start()
        until("it is told", lambda: _configuration(made))
        assert "nothing of this run stays" in _configuration(made)[0]["message"]
        assert made.stop()[0] == 0


WEB = '[node]\ndata = "{data}"\n[web]\nhost = "{host}"\nport = {port}\n{more}'


def _told(daemon: Daemon, alert: str) -> bool:
    watch = daemon.engine.state.watches.get(alert)
    return watch is not None and (watch.holds or watch.pending_ms is not None)


async def _over(daemon: Daemon, alert: str) -> None:
    while _told(daemon, alert):  # noqa: ASYNC110  an alert has no event of its own
        await asyncio.sleep(0.01)


async def test_a_taken_port_is_told_and_the_page_opened_once_it_is_free(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(serve, "AGAIN_S", 0.05)
    with socket.create_server(("127.0.0.1", 0)) as other:
        port = other.getsockname()[1]
        config = parse_config(WEB.format(data=tmp_path, host="127.0.0.1", port=port, more=""))
        async with Daemon(config) as daemon, serve.serving(daemon) as address:
            assert address is None
            assert _told(daemon, "notify-failing/page-port")
            other.close()
            async with asyncio.timeout(20):
                await _over(daemon, "notify-failing/page-port")
            reader, writer = await asyncio.open_connection("127.0.0.1", port)
            writer.write(b"GET /healthz HTTP/1.1\r\nHost: localhost\r\n\r\n")
            assert (await reader.readline()).startswith(b"HTTP/1.1 ")
            writer.close()


@pytest.mark.parametrize(
    ("host", "more"),
    [
        ("300.1.1.1", ""),
        ("192.0.2.7", ""),
        ("127.0.0.1", 'tls_cert = "/none.pem"\ntls_key = "/none.pem"'),
        ("127.0.0.1", 'tls_cert = "{data}/cut.pem"\ntls_key = "{data}/cut.pem"'),
        ("127.0.0.1", '[hub]\nenabled = true\nhost = "300.1.1.1"'),
    ],
)
async def test_no_trouble_of_the_page_keeps_alarms_from_running(
    tmp_path: Path, host: str, more: str
) -> None:
    (tmp_path / "cut.pem").write_text("-----BEGIN CERTIFICATE-----\nMIIB", encoding="ascii")
    text = WEB.format(data=tmp_path, host=host, port=0, more=more.format(data=tmp_path))
    async with Daemon(parse_config(text)) as daemon, serve.serving(daemon):
        way_in = "hub-port" if "hub" in more else "page-port"
        assert _told(daemon, f"notify-failing/{way_in}")


async def test_a_socket_that_cannot_be_made_keeps_alarms_from_nothing(tmp_path: Path) -> None:
    path = tmp_path / ("a" * 120) / "s"
    text = f'[node]\ndata = "{tmp_path}"\nsocket = "{path}"\n[web]\nenabled = false\n'
    config = parse_config(text)
    async with Daemon(config) as daemon, serve.serving(daemon):
        assert _told(daemon, "notify-failing/local-socket")


async def test_a_socket_whose_file_somebody_removes_is_made_anew(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(serve, "AGAIN_S", 0.05)
    config = parse_config(f'[node]\ndata = "{tmp_path}"\n[web]\nenabled = false\n')
    async with Daemon(config) as daemon, serve.serving(daemon):
        for _ in range(2):
            daemon.socket.unlink()
            async with asyncio.timeout(20):
                while not daemon.socket.is_socket():  # noqa: ASYNC110  a file has no event
                    await asyncio.sleep(0.01)
            transport = httpx.AsyncHTTPTransport(uds=str(daemon.socket))
            async with httpx.AsyncClient(transport=transport, base_url="http://pit") as client:
                assert (await client.get("/api/v1/status")).status_code == 200
    assert not daemon.socket.exists()
