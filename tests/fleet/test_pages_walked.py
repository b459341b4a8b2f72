"""The pages on a hub by itself, walked: each command and each question in SQL is run as it stands.

Users, ports and folders are those of a test; everything else is taken from the page.
"""

from __future__ import annotations

import os
import re
import shlex
import subprocess
import sys
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path

import psycopg
import pytest

from pitlogger.hub.fold import fold_cooks
from pitlogger.hub.opening import open_sink
from pitlogger.hub.receive import receive
from pitlogger.hub.writing import HubSink
from tests.fleet.conftest import Server, program
from tests.notify.conftest import free_port
from tools.fleet.pits import enrol, make_pits, simulated_cook

DOCS = Path(__file__).parents[2] / "docs"
FIRM = "Meadow Catering"


def blocks(page: str) -> list[list[str]]:
    """Return the indented blocks of a page, a list of lines each."""
    text = (DOCS / page).read_text(encoding="utf-8")
    found = re.findall(r"(?:^ {4,}\S.*\n)+", text, re.MULTILINE)
    return [[line.strip() for line in block.splitlines()] for block in found]


class Walk:
    """Runs the commands of a page against a server of the test's own."""

    def __init__(self, server: Server, folder: Path) -> None:
        self.folder, self.stack = folder, ExitStack()
        self.ports = {"8883": str(free_port()), "8443": str(free_port()), "8444": str(free_port())}
        postgres = program("psql")
        assert postgres is not None
        path = (
            f"{Path(sys.executable).parent}:{Path(postgres).parent}:/usr/sbin:{os.environ['PATH']}"
        )
        self.env = {**os.environ, "PATH": path, "PGHOST": str(server.folder), "PGUSER": "pitlogger"}
        self.said = ""

    def run(self, line: str) -> None:
        """Run a line as it stands on the page, but for users, ports and folders."""
        env = dict(self.env)
        if line.startswith("sudo -u postgres "):
            line, env["PGUSER"] = line.removeprefix("sudo -u postgres "), "postgres"
        for stands, here in (
            ("/var/lib/pitlogger-hub", str(self.folder / "hub")), ("/backup", str(self.folder)),
            ("hub.example.org", "127.0.0.1"), ("8883", self.ports["8883"]),
        ):  # fmt: skip
            line = line.replace(stands, here)
        words = shlex.split(line, comments=True)
        if words[0] == "export":
            name, _, value = words[1].partition("=")
            self.env[name] = value
        elif words[0] == "mosquitto" or words[1:3] in (["hub", "ingest"], ["hub", "web"]):
            self._begin(words, env)
        else:
            done = subprocess.run(words, env=env, capture_output=True, text=True, check=False)
            assert done.returncode == 0, (line, done.stdout, done.stderr)
            self.said = done.stdout
        if "--createrole" in words:
            self._as_its_own_role(words[-1])

    def _as_its_own_role(self, user: str) -> None:
        """Give a user the role of readers as if they had made it, not another test before."""
        with psycopg.connect(f"host={self.env['PGHOST']} user=postgres", autocommit=True) as admin:
            if admin.execute("SELECT 1 FROM pg_roles WHERE rolname = 'fleet_reader'").fetchone():
                admin.execute(f"GRANT fleet_reader TO {user} WITH ADMIN OPTION".encode())

    def _begin(self, words: list[str], env: dict[str, str]) -> None:
        """Begin what runs until it is ended, and wait for its first words."""
        if words[0] == "mosquitto" and os.geteuid() == 0:
            with Path(words[-1]).open("a", encoding="utf-8") as file:
                file.write("user root\n")  # else it gives up the right to read this folder
        elif words[2] == "web":
            words += ["--port", self.ports["8443"], "--page-port", self.ports["8444"]]
        process = self.stack.enter_context(subprocess.Popen(
            words, env=env, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True
        ))  # fmt: skip
        self.stack.callback(process.terminate)
        assert process.stdout is not None
        first = process.stdout.readline()
        assert first, words
        assert process.poll() is None, first


@contextmanager
def walked(server: Server, folder: Path) -> Iterator[Walk]:
    walk = Walk(server, folder)
    with walk.stack:
        yield walk


def fill(sink: HubSink) -> None:
    """Give a hub the cooks of four pits; of the last an entry is missing."""
    pits = make_pits(4, 9)
    enrol(sink, FIRM, pits, sites=2)
    for pit in pits:
        for number, bundle in enumerate(simulated_cook(0.5, channels=2, every_s=30), 1):
            batch = [receive(pit.uid, pit.tells(bundle, number), sink.node_of)]
            fold_cooks(sink.database, sink.take(batch, [], 5))
    sink.database.run("DELETE FROM journal WHERE seq = 5 AND node = (SELECT max(id) FROM node)")


@pytest.mark.slow
def test_a_hub_is_set_up_looked_after_and_restored_as_the_page_says(
    server: Server, tmp_path: Path
) -> None:
    prepared, begun, upkeep, drill = blocks("fleet-operations.md")[:4]
    with walked(server, tmp_path) as walk:
        made = [line for line in prepared if line.startswith("sudo")]
        assert len(made) == 2
        for line in [*made, *begun]:
            walk.run(line)
        walk.run("pitlogger hub init")  # harmless to repeat, and for an ordinary user
        walk.run("pitlogger hub member add Ada --role owner")
        sink = open_sink(f"host={server.folder} dbname=pitlogger user=pitlogger")
        fill(sink)
        sink.database.close()
        for line in ("status", "now", "exceptions", "yield", "invite --site fair"):
            walk.run(f"pitlogger hub {line}")
        assert "pitlogger uplink join 127.0.0.1:" in walk.said
        assert "verify" in upkeep[1]
        with pytest.raises(AssertionError, match="1 entries of run"):
            walk.run(upkeep[1])  # says so by its exit code
        walk.run(upkeep[0])
        walk.run(upkeep[2])
        for line in drill:
            if "verify" in line:
                with pytest.raises(AssertionError, match="4 nodes, 83 entries, 24 spans"):
                    walk.run(line)
            else:
                walk.run(line)


def test_the_questions_in_sql_are_answered(server: Server) -> None:
    database = server.new_database()
    address = server.address(database.connection.info.dbname)
    database.close()
    sink = open_sink(address)
    fill(sink)
    sink.database.close()
    holes, yields = (" ".join(block).rstrip(";") for block in blocks("fleet-record.md"))
    with psycopg.connect(address) as connection:
        connection.execute("SET search_path TO fleet")
        for role in ("postgres", "fleet_reader"):
            connection.execute(f"SET ROLE {role}".encode())
            for name, value in (("tenant", "1"), ("role", "owner"), ("sites", "")):
                connection.execute("SELECT set_config(%s, %s, false)", (f"fleet.{name}", value))
            assert [row[2] for row in connection.execute(holes.encode())] == [1], role
            rows = sorted(connection.execute(yields.encode()).fetchall())
            assert [(row[:3]) for row in rows] == [
                ("site 1", "pork-butt", 2), ("site 2", "pork-butt", 2)
            ], role  # fmt: skip
            assert all(0.52 < float(row[3]) < 0.53 for row in rows)


@pytest.mark.parametrize("may", [[], ["--createrole"]])
def test_an_ordinary_user_makes_a_hub_or_is_told_what_is_missing(
    server: Server, tmp_path: Path, may: list[str]
) -> None:
    with walked(server, tmp_path) as walk:
        user = f"u{len(may)}"
        walk.run(shlex.join(["sudo", "-u", "postgres", "createuser", *may, user]))
        walk.run(f"sudo -u postgres createdb --owner {user} {user}")
        walk.env |= {"PGUSER": user, "PITLOGGER_HUB_DATABASE": f"postgresql:///{user}"}
        init = f"pitlogger hub init --data {tmp_path / 'hub'}"
        if may:
            walk.run(init)
            walk.run("pitlogger hub verify")
            return
        with pytest.raises(AssertionError, match="GRANT fleet_reader TO"):
            walk.run(init)
