"""A real PostgreSQL for these tests, begun once and thrown away; skipped where there is none."""

from __future__ import annotations

import os
import pwd
import shutil
import signal
import subprocess
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass, field
from itertools import count
from pathlib import Path

import pytest

from pitlogger.hub.postgres import PostgresDatabase


def program(name: str) -> str | None:
    """Return a program of PostgreSQL, which Debian keeps off the path."""
    found = sorted(Path("/usr/lib/postgresql").glob(f"*/bin/{name}"))
    return str(found[-1]) if found else shutil.which(name)


@dataclass(slots=True)
class Server:
    """A server on a Unix socket of its own."""

    folder: Path
    _numbers: Iterator[int] = field(default_factory=lambda: count(1))

    def address(self, database: str, user: str = "postgres") -> str:
        return f"host={self.folder} dbname={database} user={user}"

    def new_database(self) -> PostgresDatabase:
        """Return a new database with the tables of a hub."""
        name = f"hub{next(self._numbers)}"
        with PostgresDatabase(self.address("postgres")).connection as admin:
            admin.execute(f"CREATE DATABASE {name}".encode())
        made = PostgresDatabase(self.address(name))
        made.create()
        return made


@pytest.fixture(scope="session")
def server() -> Iterator[Server]:
    initdb, postgres = program("initdb"), program("postgres")
    if initdb is None or postgres is None:
        pytest.skip("PostgreSQL is not installed")
    folder = Path(tempfile.mkdtemp(prefix="pitlogger-pg-"))
    as_user = _as_nobody_special(folder)
    data = str(folder / "data")
    subprocess.run(
        [*as_user, initdb, "-D", data, "-U", "postgres", "-A", "trust", "--no-sync", "-E", "UTF8"],
        check=True, capture_output=True, cwd=folder,
    )  # fmt: skip
    settings = ["-c", "listen_addresses=", "-c", f"unix_socket_directories={folder}",
                "-c", "fsync=off"]  # fmt: skip
    with (folder / "log").open("w") as log:
        running = subprocess.Popen(
            [*as_user, postgres, "-D", data, *settings], stdout=log, stderr=log, cwd=folder
        )
    ready = program("pg_isready")
    assert ready is not None
    for _ in range(200):
        if (
            subprocess.run(
                [ready, "-h", str(folder), "-t", "1"], capture_output=True, check=False
            ).returncode
            == 0
        ):
            break
    yield Server(folder)
    running.send_signal(signal.SIGINT)  # the fast way: it waits for no connection
    running.wait(20)
    shutil.rmtree(folder, ignore_errors=True)


def _as_nobody_special(folder: Path) -> list[str]:
    """Return how a program is run by another user: the server refuses to be run by root."""
    if os.geteuid() != 0:
        return []
    user = pwd.getpwnam("postgres")
    os.chown(folder, user.pw_uid, user.pw_gid)
    return ["setpriv", f"--reuid={user.pw_uid}", f"--regid={user.pw_gid}", "--clear-groups"]
