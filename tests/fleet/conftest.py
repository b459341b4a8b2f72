"""A hub in this process and a node's record to send to it; a real PostgreSQL.

PostgreSQL is begun once and thrown away; what needs it is skipped where there is none.
"""

from __future__ import annotations

import asyncio
import os
import pwd
import shutil
import signal
import subprocess
import tempfile
from collections.abc import AsyncIterator, Callable, Iterator
from contextlib import asynccontextmanager, suppress
from dataclasses import dataclass, field
from itertools import count
from pathlib import Path

import pytest

from pitlogger.hub.database import SqliteDatabase
from pitlogger.hub.ingest import Ingest
from pitlogger.hub.postgres import PostgresDatabase
from pitlogger.hub.writing import BatchOutcome, HubSink
from pitlogger.store import Store
from tests.fleet.made import START_MS, enrolled, key_and_uid, make_store


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


@asynccontextmanager
async def taking_in(
    sink: HubSink, folded: Callable[[BatchOutcome, int], None] | None = None, *, gather_s: float
) -> AsyncIterator[Ingest]:
    """Run what takes bundles in, for as long as the context is open."""
    made = Ingest(sink, lambda: START_MS, folded, gather_s=gather_s)
    running = asyncio.create_task(made.run())
    yield made
    running.cancel()
    with suppress(asyncio.CancelledError):
        await running
    made.stop()


@pytest.fixture
def store(tmp_path: Path) -> Store:
    """Return the record of a node, at its end."""
    made = make_store(tmp_path / "pitlogger.db", channels=3, seconds=4000)
    made.close()
    return made


@pytest.fixture
async def ingest(tmp_path: Path) -> AsyncIterator[Ingest]:
    """Yield the ingest of a hub on SQLite that knows the first node."""
    sink = HubSink(SqliteDatabase(tmp_path / "hub.db"))
    enrolled(sink, *key_and_uid(1))
    async with taking_in(sink, gather_s=0) as made:
        yield made
    sink.database.close()
