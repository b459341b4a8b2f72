"""Upgrade in mid-cook to a version with another schema, and back: the cook goes on both times."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from tests.torture.node import PITLOGGER, Node, node, until

# The next version: the present one with one step more in its schema.
NEXT = """
import pitlogger
pitlogger.__version__ = "99.0.0"
from pitlogger.store import migrations, queries
from pitlogger.store.mending import preparing
steps = (lambda connection: connection.execute("CREATE TABLE later (id INTEGER PRIMARY KEY)"),)
migrations.STEPS += steps
for module in (migrations, preparing, queries):
    module.VERSION += 1
from pitlogger.cli import main
main()
"""


def ran(made: Node, *words: str, version: tuple[str, ...] = (PITLOGGER,)) -> tuple[int, str]:
    """Run a command on the record; return its exit code and what it said."""
    done = subprocess.run(
        [*version, *words, "--config", str(made.config)],
        capture_output=True, text=True, timeout=120, check=False,
    )  # fmt: skip
    return done.returncode, done.stdout + done.stderr


def started_next(made: Node) -> None:
    made.start(command=[sys.executable, "-c", NEXT, "run", "--config", str(made.config)])


def notes(made: Node) -> list[str]:
    return [
        row["text"] for row in made.get("/journal") if row["kind"] == "noted"
    ]  # fmt: skip


@pytest.mark.slow
def test_a_cook_goes_on_over_an_upgrade_and_the_way_back(tmp_path: Path) -> None:
    with node(tmp_path) as made:
        made.start()
        made.start_cook()
        made.post("/notes", text="before", key="k1")
        made.board.core_c = 31.0
        until("wrap is due", lambda: "wrap-due/brisket-1" in made.alert_states(), 90)
        assert made.stop()[0] == 0

        started_next(made)
        assert made.get("/status")["cook"]["name"] == "torture"
        assert "wrap-due/brisket-1" in made.alert_states()
        assert made.post("/notes", text="before", key="k1")["seq"] > 0  # a late retry
        made.post("/notes", text="since", key="k2")
        assert sorted(notes(made)) == ["before", "since"]
        assert made.stop()[0] == 0

        code, said = ran(made, "run")
        assert code == 1
        assert "Install the newer version, or restore a backup" in said
        assert len(said.strip().splitlines()) == 1, said
        newer = (sys.executable, "-c", NEXT)
        code, said = ran(
            made, "export", "--senml", "--out", str(tmp_path / "x.senml"), version=newer
        )
        assert code in (0, 4), said
        assert "since" in (tmp_path / "x.senml").read_text(encoding="utf-8")

        (backup,) = (made.data / "backups").glob("*before-schema-*")
        code, said = ran(made, "store", "restore", str(backup), "--yes")
        assert code == 0, said
        made.start()
        assert made.get("/status")["cook"]["name"] == "torture"
        assert "wrap-due/brisket-1" in made.alert_states()
        assert "before" in notes(made)
        made.post("/notes", text="and on", key="k3")
        until("readings come", lambda: made.get("/status")["channels"])
        assert made.stop()[0] == 0
        assert ran(made, "store", "doctor")[0] == 0
