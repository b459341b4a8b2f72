"""``pitlogger night``: what it says, and that it rings until somebody says Got it."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path

import pytest
from click.testing import CliRunner

from pitlogger.cli.client import Client
from pitlogger.cli.cooking.night import night, ring_until_heard
from tests.browser.staging import Staged, staged
from tests.notify.conftest import WebServer, web_server

__all__ = ["web_server"]  # a fixture


@pytest.fixture
def stage(tmp_path: Path, web_server: WebServer) -> Iterator[Staged]:
    way = f'[notify]\nheartbeat_url = "{web_server.url}"\nheartbeat_s = 60\n'
    way += f'[[notify.way]]\nid = "phone"\nkind = "webhook"\nurl = "{web_server.url}"\n'
    with staged(tmp_path, 9.0, way) as made:
        yield made


def test_it_says_what_is_in_order_what_comes_and_what_wakes(stage: Staged) -> None:
    result = CliRunner().invoke(night, ["--socket", str(stage.daemon.socket)])
    told = result.output
    assert result.exit_code == 0, told
    assert "told by: phone" in told
    assert "till morning (07:00):" in told
    assert "will wake you:" in told
    assert "a disk that cannot be written" in told
    assert "A silent heartbeat goes out every 1 min" in told
    assert "rings" not in told, "no terminal: nobody is there to hear it"


def test_json_has_it_all_and_does_not_ring(stage: Staged) -> None:
    result = CliRunner().invoke(night, ["--json", "--socket", str(stage.daemon.socket)])
    facts = json.loads(result.output)
    assert facts["ring_test"] is None
    assert facts["heartbeat_s"] == 60


def test_it_rings_by_every_way_until_somebody_says_so(stage: Staged) -> None:
    said: list[str] = []
    answers = iter([False] * 15 + [True])
    client = Client(stage.daemon.socket)
    assert ring_until_heard(client, lambda _: next(answers), said.append, by="AB")
    rings = [line for line in said if line.startswith("rings")]
    assert rings == ["rings (1 of 10)", "rings (2 of 10)"]
    assert sum(line.startswith("  phone: ") for line in said) == 2
    assert client.get("/night")["ring_test"]["heard_by"] == "AB"


def test_the_answer_on_the_page_ends_it_too(stage: Staged) -> None:
    client = Client(stage.daemon.socket)

    def answered(_: float) -> bool:
        client.post("/ring-tests/heard", by="CD")  # as the page does
        return False

    assert ring_until_heard(client, answered, lambda _: None)


def test_unheard_it_ends_after_some_rounds_with_a_failure(stage: Staged) -> None:
    said: list[str] = []
    client = Client(stage.daemon.socket)
    assert not ring_until_heard(client, lambda _: False, said.append, rounds=2)
    assert said[-1] == "nobody said Got it: do not count on being woken"
