"""What systemd is told, and that nothing dead is called alive."""

from __future__ import annotations

import socket
from collections.abc import Iterator
from pathlib import Path

import pytest

from pitlogger.service import notify
from pitlogger.service.notify import Watchdog


@pytest.fixture
def systemd(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[socket.socket]:
    """A socket that hears what systemd would."""
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as heard:
        heard.bind(str(tmp_path / "notify"))
        heard.setblocking(False)
        monkeypatch.setenv("NOTIFY_SOCKET", str(tmp_path / "notify"))
        yield heard


def test_readiness_is_told_with_a_sentence(systemd: socket.socket) -> None:
    notify.ready("socket /run/x")
    assert systemd.recv(200) == b"READY=1\nSTATUS=socket /run/x"


def test_a_reload_carries_the_time_that_systemd_wants(systemd: socket.socket) -> None:
    notify.reloading()
    told = systemd.recv(200).decode()
    assert told.startswith("RELOADING=1\nMONOTONIC_USEC=")


def test_without_systemd_nothing_is_sent(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("NOTIFY_SOCKET", raising=False)
    assert not notify.notify("READY=1")


@pytest.mark.parametrize(
    ("given", "expected"),
    [({"WATCHDOG_USEC": "30000000"}, 30.0), ({}, None), ({"WATCHDOG_USEC": "0"}, None),
     ({"WATCHDOG_USEC": "30000000", "WATCHDOG_PID": "1"}, None)],
)  # fmt: skip
def test_the_watchdog_is_petted_only_by_the_process_it_means(
    given: dict[str, str], expected: float | None, monkeypatch: pytest.MonkeyPatch
) -> None:
    for name in ("WATCHDOG_USEC", "WATCHDOG_PID"):
        monkeypatch.delenv(name, raising=False)
    for name, value in given.items():
        monkeypatch.setenv(name, value)
    assert notify.period_s() == expected


class Disk:
    """A store whose disk answers when told to."""

    def __init__(self) -> None:
        self.now_s = 100.0
        self.answered_s = 100.0
        self.works = True
        self.beats = 0

    def beat(self) -> None:
        self.beats += 1
        if self.works:
            self.answered_s = self.now_s


@pytest.fixture
def disk() -> Disk:
    return Disk()


def watchdog(disk: Disk, keeps_up: bool = True) -> Watchdog:
    return Watchdog(disk, lambda: keeps_up, 30.0, lambda: disk.now_s)


def test_it_is_petted_while_the_disk_answers(disk: Disk, systemd: socket.socket) -> None:
    assert watchdog(disk).look()
    assert systemd.recv(200) == b"WATCHDOG=1"


def test_a_quiet_node_writes_something_as_a_proof(disk: Disk) -> None:
    dog = watchdog(disk)
    dog.look()
    assert disk.beats == 0
    disk.now_s += 11
    dog.look()
    assert disk.beats == 1


def test_a_disk_that_hangs_is_not_called_alive(disk: Disk, systemd: socket.socket) -> None:
    disk.works = False
    dog = watchdog(disk)
    looks = []
    for _ in range(4):
        disk.now_s += 10
        looks.append(dog.look())
    assert looks == [True, True, False, False]


def test_an_engine_that_stands_still_is_not_called_alive(disk: Disk) -> None:
    assert not watchdog(disk, keeps_up=False).look()
