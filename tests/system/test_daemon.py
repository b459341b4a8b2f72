"""The real daemon on real pseudo-terminals and a real socket, through the real command line."""

from __future__ import annotations

import asyncio
import json
import os
import pty
import signal
import subprocess
import sys
import time
import tty
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.torture.node import crowding

PITLOGGER = str(Path(sys.executable).with_name("pitlogger"))
COOK = """
[cook]
name = "harvest supper"
[[piece]]
id = "brisket-1"
cut = "brisket-packer"
[[channel]]
id = "bench"
site = "bench"
"""


class Scale:
    """A scale on a pseudo-terminal, reached by a name that stays when it is plugged in again."""

    def __init__(self, link: Path) -> None:
        self.link = link
        self.plug_in()

    def plug_in(self) -> None:
        self.master, slave = pty.openpty()
        tty.setraw(slave)
        self.link.unlink(missing_ok=True)
        self.link.symlink_to(os.ttyname(slave))
        os.close(slave)

    def show(self, kilograms: float, times: int = 1) -> None:
        for _ in range(times):
            os.write(self.master, f"ST,GS,+{kilograms:8.3f}kg\r\n".encode())
            time.sleep(0.1)  # a device sends when it likes: this is its pace, not a wait

    def pull(self) -> None:
        os.close(self.master)


class RunningDaemon:
    """A daemon as a process, and the command line that talks to it."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.socket = folder / "data" / "pitlogger.sock"
        self.cook = folder / "cook.toml"
        self.cook.write_text(COOK, encoding="utf-8")
        self.scale = Scale(folder / "scale")
        self.config = folder / "pitlogger.toml"
        self.config.write_text(
            f'[node]\nname = "test"\ndata = "{folder}/data"\n[web]\nenabled = false\n'
            f'[[device]]\nid = "scale"\ndriver = "serial-scale"\nport = "{folder}/scale"\n'
            '[[device.channel]]\nid = "bench"\nname = "mass"\nsite = "bench"\n',
            encoding="utf-8",
        )

    @classmethod
    def without_devices(cls, folder: Path) -> RunningDaemon:
        """Return a daemon to which everything is typed, not started yet."""
        made = cls(folder)
        made.config.write_text(
            f'[node]\nname = "test"\ndata = "{folder}/data"\n[web]\nenabled = false\n',
            encoding="utf-8",
        )
        return made

    def start(self) -> None:
        command = [PITLOGGER, "run", "--config", str(self.config)]
        self.process = subprocess.Popen(command, stderr=subprocess.PIPE, text=True)
        assert self.process.stderr is not None
        assert "pitlogger runs" in self.process.stderr.readline()

    def stop(self, number: int = signal.SIGTERM) -> int:
        self.process.send_signal(number)
        code = self.process.wait(10)
        assert self.process.stderr is not None
        self.process.stderr.close()
        return code

    def ask(self, *words: str) -> subprocess.CompletedProcess[str]:
        return subprocess.run(
            [PITLOGGER, *words, "--socket", str(self.socket)],
            check=False, capture_output=True, text=True, timeout=30,
        )  # fmt: skip

    def status(self) -> dict[str, object]:
        document: dict[str, object] = json.loads(self.ask("status", "--json").stdout)
        return document


@pytest.fixture
def node(tmp_path: Path) -> Iterator[RunningDaemon]:
    made = RunningDaemon(tmp_path)
    made.start()
    yield made
    if made.process.poll() is None:
        made.stop(signal.SIGKILL)
    os.close(made.scale.master)


@pytest.mark.slow
def test_what_rests_on_the_scale_is_kept_and_a_pulled_cable_is_survived(
    node: RunningDaemon,
) -> None:
    assert node.ask("cook", "start", str(node.cook), "--by", "AB").returncode == 0
    node.scale.show(6.405, 40)
    kept = node.ask("weigh", "brisket-1", "purchased", "--json")
    assert kept.returncode == 0, kept.stderr
    assert json.loads(kept.stdout)["net_g"] == 6405.0
    node.scale.pull()
    node.scale.plug_in()
    for _ in range(60):
        node.scale.show(5.115)
        channels = node.status()["channels"]
        assert isinstance(channels, list)
        if any(row.get("mass_g") == 5115.0 for row in channels):
            break
    else:
        pytest.fail("the scale was not read again within 10 s of its return")


@pytest.mark.slow
def test_a_killed_daemon_comes_back_with_its_cook(node: RunningDaemon) -> None:
    node.ask("cook", "start", str(node.cook))
    assert node.ask("weigh", "brisket-1", "purchased", "13 lb 7 oz").returncode == 0
    assert node.ask("stage", "brisket-1", "smoking").returncode == 0
    node.stop(signal.SIGKILL)
    node.start()
    pieces = node.status()["pieces"]
    assert isinstance(pieces, list)
    assert pieces[0]["stage"] == "smoking"
    assert pieces[0]["weighings"][0]["net_g"] == pytest.approx(6095.147)
    undone = node.ask("undo", "--json")
    assert undone.returncode == 0, undone.stderr


@pytest.mark.slow
def test_what_is_refused_says_why_with_its_exit_code(node: RunningDaemon) -> None:
    early = node.ask("stage", "brisket-1", "smoking")
    assert (early.returncode, "no cook is running" in early.stderr) == (1, True)
    node.ask("cook", "start", str(node.cook))
    for words, code, told in [
        (("stage", "brisket-1", "smokin"), 2, "did you mean 'smoking'"),
        (("stage", "brisket-2", "smoking"), 2, "did you mean 'brisket-1'"),
        (("weigh", "brisket-1", "trimmed", "5.1"), 2, "no unit"),
        (("weigh", "brisket-1", "trimed", "5.1kg"), 2, "did you mean 'trimmed'"),
        (("temp", "brisket-1", "203"), 2, "no unit"),
        (("undo", "99"), 2, "no entry 99"),
        (("alert", "ack", "wrap-due/brisket-1"), 2, "nothing to acknowledge"),
        (("cook", "start", str(node.folder / "none.toml")), 2, "cannot be read"),
    ]:
        answer = node.ask(*words)
        assert (answer.returncode, told in answer.stderr) == (code, True), answer.stderr
        assert "Traceback" not in answer.stderr


@pytest.mark.slow
def test_an_export_replays_to_the_same_weighings(node: RunningDaemon) -> None:
    node.ask("cook", "start", str(node.cook))
    node.ask("weigh", "brisket-1", "purchased", "6.4 kg")
    wrong = json.loads(node.ask("weigh", "brisket-1", "trimmed", "5.6 kg", "--json").stdout)
    node.ask("correct", str(wrong["seq"]), "--mass", "5.1 kg", "--reason", "typed wrongly")
    out = node.folder / "out.senml"
    assert node.ask("export", "--out", str(out)).returncode == 0
    replayed = subprocess.run(
        [PITLOGGER, "replay", str(out), "--json"], check=True, capture_output=True, text=True
    )
    weighings = json.loads(replayed.stdout)["weighings"]
    assert [(row["checkpoint"], row["net_g"]) for row in weighings] == [
        ("purchased", 6400.0),
        ("trimmed", 5100.0),
    ]


@pytest.mark.slow
def test_a_told_daemon_ends_within_two_seconds(node: RunningDaemon) -> None:
    began = time.monotonic()
    assert node.stop() == 0
    assert (time.monotonic() - began) / crowding() < 2.0
    assert not node.socket.exists()


def test_no_daemon_is_told_with_exit_code_three(tmp_path: Path) -> None:
    answer = subprocess.run(
        [PITLOGGER, "status", "--socket", str(tmp_path / "none.sock")],
        check=False, capture_output=True, text=True,
    )  # fmt: skip
    assert answer.returncode == 3
    assert "no daemon answers" in answer.stderr


async def test_two_daemons_do_not_share_a_socket(tmp_path: Path) -> None:
    from pitlogger.config import parse_config
    from pitlogger.errors import TransportError
    from pitlogger.node.daemon import Daemon
    from pitlogger.web.serve import serving

    def config(data: str) -> str:
        return (
            f'[node]\ndata = "{tmp_path}/{data}"\nsocket = "{tmp_path}/one.sock"\n'
            "[web]\nenabled = false\n"
        )

    async with Daemon(parse_config(config("a"))) as first, serving(first):
        await asyncio.sleep(0)
        async with Daemon(parse_config(config("b"))) as second:
            with pytest.raises(TransportError, match="in use"):
                async with serving(second):
                    pass
