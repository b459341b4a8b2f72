"""``import`` of a spreadsheet of one's own: what was answered holds for the next file like it."""

from __future__ import annotations

import json
import signal
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.system.test_daemon import RunningDaemon
from tests.web.test_import_page import NEXT, PASTED


@pytest.fixture
def node(tmp_path: Path) -> Iterator[RunningDaemon]:
    made = RunningDaemon.without_devices(tmp_path)
    made.start()
    (tmp_path / "may.csv").write_text(PASTED, encoding="utf-8")
    (tmp_path / "june.csv").write_text(NEXT, encoding="utf-8")
    yield made
    made.stop(signal.SIGKILL)


@pytest.mark.slow
def test_the_next_file_of_the_form_is_not_asked_about_again(node: RunningDaemon) -> None:
    may, june = str(node.folder / "may.csv"), str(node.folder / "june.csv")
    confirm: list[str] = []
    while True:
        asked = node.ask("import", may, "--yes", *confirm)
        if asked.returncode == 0:
            break
        assert asked.returncode == 1
        options = json.loads(asked.stdout)["options"]
        chosen = next(o for o in options if o in ("lb", "brisket-packer") or "month" in o)
        confirm += ["--confirm", chosen]
    assert len(confirm) == 6
    again = node.ask("import", june, "--yes", "--json")
    assert again.returncode == 0, again.stderr
    assert json.loads(again.stdout)["imported"] == 2
    third = node.ask("import", june, "--yes")
    assert "its 2 rows are on record already; nothing is new" in third.stdout
    assert third.returncode == 1
    taken = node.ask("import", june, "--take-back", "--reason", "last year's")
    assert "2 cooks taken back" in taken.stdout
    assert "imported 2 rows" in node.ask("import", june, "--yes").stdout
    cooks = json.loads(node.ask("cook", "list", "--json").stdout)["cooks"]
    assert {cook["name"] for cook in cooks} >= {"2026-05-02", "2026-06-03"}
