"""``pitlogger notify test`` says what arrived; ``notify list`` what waits and why."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest
from click.testing import CliRunner

from pitlogger.cli.installation.notify import notify
from pitlogger.errors import ConfigError, UsageError
from pitlogger.model.alerts import Priority
from pitlogger.notify.message import Message
from pitlogger.store.rows import Notice, RunRow
from pitlogger.store.store import Store
from tests.notify.conftest import WebServer


@pytest.fixture
def config_file(tmp_path: Path, web_server: WebServer) -> Path:
    path = tmp_path / "pitlogger.toml"
    path.write_text(
        f'[node]\nname = "barn"\ndata = "{tmp_path}"\n'
        f'[[notify.way]]\nid = "phone"\nkind = "ntfy"\nurl = "{web_server.url}/pit"\n'
        '[[notify.way]]\nid = "paper"\nkind = "command"\nargv = ["/bin/false"]\n',
        encoding="utf-8",
    )
    return path


def run(*given: object) -> tuple[int, str, BaseException | None]:
    result = CliRunner().invoke(notify, [str(each) for each in given])
    return result.exit_code, result.output, result.exception


def test_each_way_is_tried_and_one_that_fails_makes_the_exit_code_1(
    config_file: Path, web_server: WebServer
) -> None:
    code, said, _ = run("test", "--config", config_file, "--json")
    ways = {way["way"]: way for way in json.loads(said)["ways"]}
    assert (code, ways["phone"]["arrived"], ways["paper"]["arrived"]) == (1, True, False)
    assert web_server.taken[0].document["title"] == "Test from barn"


def test_one_way_alone_can_be_tried(config_file: Path) -> None:
    code, said, _ = run("test", "--config", config_file, "--way", "phone")
    assert code == 0
    assert "phone: the server took it (200)" in said
    assert "paper" not in said


def test_an_unknown_way_is_answered_with_the_known_ones(config_file: Path) -> None:
    _, _, fault = run("test", "--config", config_file, "--way", "fone")
    assert isinstance(fault, UsageError)
    assert "did you mean 'phone'" in str(fault)


def test_a_way_over_mqtt_without_a_broker_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "c.toml"
    path.write_text('[[notify.way]]\nkind = "mqtt"\n', encoding="utf-8")
    _, _, fault = run("test", "--config", path)
    assert isinstance(fault, ConfigError)
    assert "[mqtt] enabled is false" in str(fault)


def test_nothing_configured_is_said(tmp_path: Path) -> None:
    path = tmp_path / "c.toml"
    path.write_text("", encoding="utf-8")
    _, _, fault = run("test", "--config", path)
    assert isinstance(fault, UsageError)


def test_what_waits_is_listed_with_its_tries_and_its_fault(
    config_file: Path, tmp_path: Path
) -> None:
    message = Message("m1", "raised", "ALARM: pit-low pit", "t", Priority.MEDIUM, 1_790_000_000_000)
    row = Notice("m1@phone", "pit-low/pit", "phone", message.dump(), 1_790_000_000_000, 4,
                 1_790_000_040_000, "503")  # fmt: skip
    run_row = RunRow("r", "barn", "", 1_790_000_000_000, 0, "0.1")
    with Store.open(tmp_path / "pitlogger.db", run_row) as store:
        gone = replace(row, id="m0@phone", created_ms=row.created_ms - 1, last_error="", done=True)
        failed = replace(row, id="m2@mail", channel="mail", last_error="550", done=True)
        store.append(notices=[row, gone, failed]).result(20)
    code, said, _ = run("list", "--config", config_file)
    assert code == 0
    assert said.splitlines() == [
        "phone: ALARM: pit-low pit, since 2026-09-21T14:13:20Z, 4 tries", "  503",
    ]  # fmt: skip
    code, said, _ = run("list", "--all", "--config", config_file)
    assert code == 0
    assert [line.rpartition(", ")[2] for line in said.splitlines() if not line.startswith(" ")] == [
        "sent", "waits", "given up",
    ]  # fmt: skip
