"""The file for a fault report: enough to work with, nothing that is somebody's."""

from __future__ import annotations

import json
from pathlib import Path

from click.testing import CliRunner

from pitlogger.cli.installation.support import support
from pitlogger.config import load_config
from pitlogger.model.journal import Noted
from pitlogger.service import crash
from pitlogger.service.support import gathered
from pitlogger.store import Store
from tests.store.conftest import WAIT_S, entry, run_row

SECRETS = ("Marlene", "192.0.2.77", "barn-of-hers", "s3cret", "cook@example.org", "brined at dawn",
           "/home/marlene", "JD", "AB:CD:EF:01:02:03", "serial-of-mine")  # fmt: skip
CONFIG = """
[node]
name = "barn-of-hers"
data = "{folder}"
[web]
names = ["marlene.example"]
port = 8131
[[notify.way]]
id = "Marlene"
kind = "ntfy"
url = "http://192.0.2.77/s3cret"
[[notify.way]]
kind = "mail"
host = "mail.example.org"
sender = "cook@example.org"
to = ["cook@example.org"]
[[device]]
id = "serial-of-mine"
driver = "csv-line"
port = "/home/marlene/board"
map = "pit:Cel"
"""


def made(folder: Path) -> Path:
    path = folder / "pitlogger.toml"
    path.write_text(CONFIG.format(folder=folder), encoding="utf-8")
    with Store.open(folder / "pitlogger.db", run_row()) as store:
        store.append([entry(1, Noted("brined at dawn by Marlene"))]).result(WAIT_S)
    try:
        raise ValueError("Marlene at 192.0.2.77 with s3cret")
    except ValueError as fault:
        crash.leave(folder, fault)
    return path


def test_it_says_enough_and_nothing_that_is_somebodys(tmp_path: Path) -> None:
    text = gathered(load_config(made(tmp_path)))
    for secret in (*SECRETS, str(tmp_path)):
        assert secret.casefold() not in text.casefold(), secret
    for word in ("csv-line", "ntfy", "8131", "noted 1", "ValueError", "pitlogger"):
        assert word in text


def test_it_is_shown_before_it_is_written(tmp_path: Path) -> None:
    config, target = made(tmp_path), tmp_path / "report.txt"
    runner = CliRunner()
    asked = runner.invoke(support, ["--config", str(config), "--to", str(target)])
    assert asked.exit_code == 1
    assert not target.exists()
    question = asked.exception.asked.document()  # type: ignore[union-attr]
    assert "csv-line" in question["question"]
    assert question["confirm"] == "yes"
    told = runner.invoke(
        support, ["--config", str(config), "--to", str(target), "--confirm", "yes"]
    )
    assert told.exit_code == 0
    assert json.loads(target.read_text().split("crashes\n")[1])[0]["errors"] == ["ValueError"]
