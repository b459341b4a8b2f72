"""The daemon as systemd runs it: ready, alive, reloaded, ended; a crash that leaves a report."""

from __future__ import annotations

import os
import signal
import socket
import subprocess
import time
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path

import pytest
from click.testing import CliRunner

from pitlogger.cli.installation.run import run
from pitlogger.errors import PitloggerError
from pitlogger.node.daemon import Daemon
from pitlogger.store import Reader
from tests.torture.ledger import RAW_PER_READING
from tests.torture.node import PITLOGGER, Node, node, until

PERIOD_S = 3


@pytest.fixture
def systemd(tmp_path: Path) -> Iterator[socket.socket]:
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as heard:
        heard.bind(str(tmp_path / "notify"))
        heard.settimeout(10)
        yield heard


@pytest.fixture
def served(
    tmp_path: Path, systemd: socket.socket, monkeypatch: pytest.MonkeyPatch
) -> Iterator[Node]:
    monkeypatch.setenv("NOTIFY_SOCKET", str(tmp_path / "notify"))
    monkeypatch.setenv("WATCHDOG_USEC", str(PERIOD_S * 1_000_000))
    monkeypatch.setenv("JOURNAL_STREAM", "8:1")
    with node(tmp_path / "node") as made:
        made.start()
        yield made


def heard(systemd: socket.socket, word: str) -> str:
    """Return the next message that has a word in it; pets of the watchdog are passed over."""
    while word not in (told := systemd.recv(2000).decode()):
        assert told == "WATCHDOG=1", told
    return told


@pytest.mark.slow
def test_it_is_ready_alive_reloaded_and_ended(served: Node, systemd: socket.socket) -> None:
    assert "pitlogger.sock" in heard(systemd, "READY=1")
    for _ in range(3):
        assert systemd.recv(2000) == b"WATCHDOG=1", served.log_text()
    assert served.process is not None
    text = served.config.read_text(encoding="utf-8")
    served.config.write_text(f'{text}\n[units]\nmass = "kg"\n', encoding="utf-8")
    served.process.send_signal(signal.SIGHUP)
    heard(systemd, "RELOADING=1")
    assert "applied: [units]" in heard(systemd, "READY=1")
    assert served.get("/status")["units"]["mass"] == "kg"
    served.config.write_text("[node]\nnmae = 1\n", encoding="utf-8")
    served.process.send_signal(signal.SIGHUP)
    heard(systemd, "RELOADING=1")
    assert "the old configuration stays" in heard(systemd, "READY=1")
    assert "<3>the old configuration stays" in served.log_text()
    assert served.stop()[0] == 0
    assert heard(systemd, "STOPPING=1")


@pytest.mark.slow
def test_a_stopped_process_is_not_petted(served: Node, systemd: socket.socket) -> None:
    heard(systemd, "READY=1")
    assert served.process is not None
    served.process.send_signal(signal.SIGSTOP)  # as a loop that hangs
    systemd.settimeout(0.2)
    with suppress(TimeoutError):
        while systemd.recv(2000):
            pass
    systemd.settimeout(PERIOD_S / 2)
    with pytest.raises(TimeoutError):
        systemd.recv(2000)
    served.process.send_signal(signal.SIGCONT)


@pytest.mark.slow
def test_what_was_read_a_moment_before_the_end_is_kept(tmp_path: Path) -> None:
    with node(tmp_path) as made:
        made.start()
        until("it reads", lambda: any(row["at"] for row in made.get("/status")["channels"]))
        time.sleep(1.0)  # less than a batch waits
        sent = len(made.board.sent)
        code, took_s = made.stop()
        left = made.database.with_name("pitlogger.db-wal").exists()
        with Reader.open(made.database) as reader:
            raws = [row.raw for row in reader.readings(["count"], 0, 1 << 60)]
    assert code == 0
    assert took_s < 2.0
    assert raws[-1] is not None
    assert raws[-1] // RAW_PER_READING >= sent - 3
    assert not left  # one file to copy


def test_a_crash_leaves_a_report_and_one_sentence(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    config = tmp_path / "c.toml"
    config.write_text(f'[node]\ndata = "{tmp_path}/data"\n', encoding="utf-8")

    def crash(given: object) -> None:
        given.close()  # type: ignore[attr-defined]
        raise RuntimeError("out of pit, token tk_AgQdq7mVBoFD37zQVN29RhuMzNIz2")

    monkeypatch.setattr("asyncio.run", crash)
    mask = os.umask(0o022)
    result = CliRunner().invoke(run, ["--config", str(config)])
    os.umask(mask)
    assert isinstance(result.exception, PitloggerError)
    assert "A report without secrets lies at" in str(result.exception)
    (report,) = (tmp_path / "data").glob("crash-*.txt")
    assert "out of pit" in report.read_text(encoding="utf-8")
    assert "tk_Ag" not in report.read_text(encoding="utf-8") + str(result.exception)


def test_a_part_that_breaks_down_ends_it_so_that_it_is_started_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    config = tmp_path / "c.toml"
    config.write_text(
        f'[node]\ndata = "{tmp_path}/data"\n[web]\nenabled = false\n', encoding="utf-8"
    )

    def breaks_down(self: Daemon, now_ms: int) -> None:
        raise RuntimeError("a fault of ours")

    monkeypatch.setattr(Daemon, "tick", breaks_down)
    mask = os.umask(0o022)
    result = CliRunner().invoke(run, ["--config", str(config)])
    os.umask(mask)
    assert isinstance(result.exception, PitloggerError)
    assert "a fault of ours" in str(result.exception)
    with Reader.open(tmp_path / "data" / "pitlogger.db") as reader:  # and it kept what it had
        assert reader.entries()[0].body.kind == "run-started"


@pytest.mark.slow
def test_a_configuration_that_cannot_be_used_ends_it_with_two(tmp_path: Path) -> None:
    config = tmp_path / "c.toml"
    config.write_text("[node]\nnmae = 1\n", encoding="utf-8")
    done = subprocess.run(
        [PITLOGGER, "run", "--config", str(config)], check=False, capture_output=True, text=True
    )
    assert done.returncode == 2
    assert "did you mean 'name'" in done.stderr
