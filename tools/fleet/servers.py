"""A hub by itself on this machine: PostgreSQL, Mosquitto, ingesters and the web part, as processes.

Each can be killed and begun again at the same place. Nothing of it outlives the folder.
"""

from __future__ import annotations

import json
import os
import pwd
import random
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

PITLOGGER = str(Path(sys.executable).with_name("pitlogger"))
READY_S = 240.0  # a machine with much else to do is slow, not broken
FIRM = "Meadow Catering"


class MissingProgramError(Exception):
    """A program that is not installed here."""


def until(what: str, true: Callable[[], Any], seconds: float = READY_S) -> Any:
    """Wait until something is so, and return it.

    Raises:
        TimeoutError: It is not so after that time.
    """
    ends_s = time.monotonic() + seconds
    while not (found := true()):
        if time.monotonic() > ends_s:
            raise TimeoutError(f"{what}: not within {seconds:.0f} s")
        time.sleep(0.05)
    return found


def free_port() -> int:
    """Return a port nobody listens on now, of those that no connection is given by chance."""
    while listens(port := random.randrange(20_000, 32_000)):
        pass
    return port


def listens(port: int) -> bool:
    with socket.socket() as probe:
        return probe.connect_ex(("127.0.0.1", port)) == 0


def program(name: str) -> str:
    """Return where a program is; Debian keeps PostgreSQL's off the path.

    Raises:
        MissingProgramError: Not here.
    """
    found = [str(path) for path in sorted(Path("/usr/lib/postgresql").glob(f"*/bin/{name}"))]
    path = found[-1] if found else shutil.which(name) or shutil.which(name, path="/usr/sbin")
    if path is None:
        raise MissingProgramError(f"{name} is not installed: tools/system-packages")
    return path


@dataclass(slots=True)
class Process:
    """A program that is started, killed and stopped; its words go into a file."""

    command: Sequence[str]
    log: Path
    cwd: Path | None = None
    running: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        with self.log.open("ab") as log:
            self.running = subprocess.Popen(
                list(self.command), stdout=log, stderr=log, cwd=self.cwd or self.log.parent
            )

    @property
    def pid(self) -> int:
        assert self.running is not None
        return self.running.pid

    def kill(self) -> None:
        """End it at once, as a power cut does."""
        if self.running is not None:
            self.running.kill()
            self.running.wait()

    def until_up(self, what: str, *ports: int) -> None:
        """Wait until it listens.

        Raises:
            RuntimeError: It has ended instead; its last words.
        """

        def is_up() -> bool:
            if self.running is None or self.running.poll() is not None:
                raise RuntimeError(f"{what} has ended: {self.log.read_text()[-1000:]}")
            return all(map(listens, ports))

        until(what, is_up)

    def stop(self, number: int = signal.SIGTERM) -> None:
        if self.running is not None:
            self.running.send_signal(number)
            try:
                self.running.wait(20)
            except subprocess.TimeoutExpired:
                self.kill()
            self.running = None


class Postgres:
    """A server on a Unix socket of its own. ``fsync`` as in life, unless said otherwise.

    Args:
        folder: New; run by root, every folder above it lets others through (``stand_folder``).
    """

    def __init__(self, folder: Path, *settings: str) -> None:
        self.folder = folder
        folder.mkdir(parents=True)
        self._as_user = _not_as_root(folder)
        subprocess.run(
            [*self._as_user, program("initdb"), "-D", f"{folder}/data", "-U", "postgres", "-A",
             "trust", "--no-sync", "-E", "UTF8"],
            check=True, capture_output=True, cwd=folder,
        )  # fmt: skip
        options = ["listen_addresses=", f"unix_socket_directories={folder}", *settings]
        self.process = Process(
            [*self._as_user, program("postgres"), "-D", f"{folder}/data",
             *(word for option in options for word in ("-c", option))],
            folder / "log",
        )  # fmt: skip

    def address(self, database: str) -> str:
        return f"host={self.folder} dbname={database} user=postgres"

    def start(self) -> None:
        """Start it; after a kill the former one's children have to end first."""

        def is_ready() -> bool:
            if self.process.running is None or self.process.running.poll() is not None:
                self.process.start()
            done = subprocess.run(
                [program("pg_isready"), "-h", str(self.folder), "-t", "1"], capture_output=True,
                check=False,
            )  # fmt: skip
            return done.returncode == 0

        until("PostgreSQL", is_ready)

    def run(self, name: str, *words: str) -> None:
        """Run a program of PostgreSQL against this server."""
        subprocess.run(
            [program(name), "-h", str(self.folder), "-U", "postgres", *words],
            check=True, capture_output=True,
        )  # fmt: skip

    def stop(self) -> None:
        self.process.stop(signal.SIGINT)


@contextmanager
def stand_folder() -> Iterator[Path]:
    """Give a folder for all of it, through which other users may reach what is theirs."""
    with tempfile.TemporaryDirectory(prefix="pitlogger-fleet-") as name:
        folder = Path(name)
        folder.chmod(0o755)
        yield folder


def _not_as_root(folder: Path) -> list[str]:
    """Return how a program is run by another user: the server refuses to be run by root."""
    if os.geteuid() != 0:
        return []
    user = pwd.getpwnam("postgres")
    os.chown(folder, user.pw_uid, user.pw_gid)
    return ["setpriv", f"--reuid={user.pw_uid}", f"--regid={user.pw_gid}", "--clear-groups"]


@dataclass(slots=True)
class CentralHub:
    """``pitlogger hub init``, its broker, ingesters and web part."""

    folder: Path
    database: str
    ingesters: int = 2
    broker_port: int = field(default_factory=free_port)
    port: int = field(default_factory=free_port)
    page_port: int = field(default_factory=free_port)
    broker: Process = field(init=False)
    at_work: list[Process] = field(default_factory=list)
    web: Process = field(init=False)

    def __post_init__(self) -> None:
        self.hub("init", "--data", str(self.folder), "--broker-port", str(self.broker_port))
        settings = self.folder / "mosquitto.conf"
        if os.geteuid() == 0:
            with settings.open("a") as file:
                file.write("user root\n")  # else it gives up the right to read this folder
        self.broker = Process(
            [program("mosquitto"), "-c", str(settings)], self.folder / "broker.log"
        )
        self.at_work = [
            Process(self._words("ingest", "--broker", self.broker_address),
                    self.folder / f"ingest-{number}.log")
            for number in range(self.ingesters)
        ]  # fmt: skip
        self.web = Process(
            self._words("web", "--host", "127.0.0.1", "--port", str(self.port), "--page-port",
                        str(self.page_port), "--broker", self.broker_address),
            self.folder / "web.log",
        )  # fmt: skip

    @property
    def broker_address(self) -> str:
        return f"mqtts://127.0.0.1:{self.broker_port}"

    @property
    def address(self) -> str:
        return f"https://127.0.0.1:{self.port}"

    def _words(self, *words: str) -> list[str]:
        data = [] if words[0] == "init" else ["--data", str(self.folder)]
        return [PITLOGGER, "hub", *words, *data, "--database", self.database, "--firm", FIRM]

    def hub(self, *words: str) -> str:
        """Run ``pitlogger hub``; return what it prints."""
        done = subprocess.run(
            [PITLOGGER, "hub", *words, "--database", self.database, "--firm", FIRM],
            capture_output=True, text=True, check=False, timeout=300,
        )  # fmt: skip
        if done.returncode:
            raise RuntimeError(f"pitlogger hub {' '.join(words)}: {done.stderr}{done.stdout}")
        return done.stdout

    def ask(self, *words: str) -> Any:
        return json.loads(self.hub(*words, "--json"))

    def start(self) -> None:
        """Start broker, ingesters and web part; return once nodes may join."""
        self.start_broker()
        for one in self.at_work:
            one.start()
        self.web.start()
        self.web.until_up("the hub's web part", self.port, self.page_port)

    def start_broker(self) -> None:
        self.broker.start()
        self.broker.until_up("the broker", self.broker_port)

    def stop(self) -> None:
        for one in (self.web, *self.at_work, self.broker):
            one.stop()
