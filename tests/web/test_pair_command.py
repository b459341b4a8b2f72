"""Pairing from the command line."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path

import httpx
import pytest
from click.testing import CliRunner, Result

from pitlogger.cli.installation.pair import pair, phones
from pitlogger.clock import monotonic_ms
from pitlogger.web.access.roles import Role
from tests.browser.staging import Staged, staged


@pytest.fixture
def stage(tmp_path: Path) -> Iterator[Staged]:
    with staged(tmp_path, None) as made:
        yield made


def _run(stage: Staged, command: object, *args: str) -> Result:
    return CliRunner().invoke(command, [*args, "--socket", str(stage.daemon.socket)])  # type: ignore[arg-type]


def test_a_code_is_made_with_its_link_and_a_qr_code(stage: Staged) -> None:
    told = _run(stage, pair, "--role", "owner").output
    assert "(owner), good once, for 10 min" in told
    assert f"open {stage.address}pair" in told
    assert "▄" in told


def test_the_code_pairs_with_the_role_asked_for(stage: Staged) -> None:
    made = json.loads(_run(stage, pair, "--role", "look", "--json").output)
    assert stage.access.codes.take(made["code"], monotonic_ms()) is Role.LOOK
    assert made["link"].partition("#")[2] == made["code"].replace("-", "")


def test_phones_are_listed_and_revoked(stage: Staged) -> None:
    key = stage.key("barn phone", Role.HANDS)
    assert "barn phone" in _run(stage, phones, "list").output
    assert "can no longer open the page" in _run(stage, phones, "revoke", "barn phone").output
    assert stage.access.who(key).role is None


def test_a_program_reads_with_its_key(stage: Staged) -> None:
    told = _run(stage, phones, "program", "notebook").output
    name, _, value = told.strip().partition(": ")
    answer = httpx.get(f"{stage.address}api/v1/status", headers={name: value})
    assert answer.status_code == 200
