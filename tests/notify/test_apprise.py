"""The way through apprise, for real: its child, its package, a server on this machine."""

from __future__ import annotations

from importlib.util import find_spec
from pathlib import Path

import pytest

from pitlogger.config_notify import AppriseTable
from pitlogger.errors import DeliveryError
from pitlogger.notify.ways.apprise import Apprise
from tests.notify.conftest import MESSAGE, WebServer, free_port

pytestmark = pytest.mark.skipif(find_spec("apprise") is None, reason="apprise is not installed")


def way(folder: Path, *urls: str) -> Apprise:
    file = folder / "urls"
    file.write_text("\n".join(("# ours", *urls, "")), encoding="utf-8")
    file.chmod(0o600)
    return Apprise(AppriseTable(kind="apprise", urls_file=file))


async def test_a_message_arrives_with_title_and_text(tmp_path: Path, web_server: WebServer) -> None:
    said = await way(tmp_path, f"json://127.0.0.1:{web_server.port}/hook").send(MESSAGE)
    assert said == "sent to 1 address"
    (taken,) = web_server.taken
    assert taken.path.rstrip("/") == "/hook"
    assert taken.document["title"] == MESSAGE.title
    assert taken.document["message"] == MESSAGE.text


async def test_every_address_gets_it(
    tmp_path: Path, web_server: WebServer, other_server: WebServer
) -> None:
    urls = [f"json://127.0.0.1:{server.port}" for server in (web_server, other_server)]
    assert await way(tmp_path, *urls).send(MESSAGE) == "sent to 2 addresses"
    assert len(web_server.taken) == len(other_server.taken) == 1


async def test_a_server_that_is_away_is_tried_again_later(tmp_path: Path) -> None:
    with pytest.raises(DeliveryError, match="could not send") as fault:
        await way(tmp_path, f"json://127.0.0.1:{free_port()}").send(MESSAGE)
    assert not fault.value.for_good


async def test_a_line_that_is_no_address_is_named_and_its_secret_is_not(tmp_path: Path) -> None:
    with pytest.raises(DeliveryError, match="no address: 2") as fault:
        await way(tmp_path, "json://127.0.0.1:9", "nonsense://secret-token").send(MESSAGE)
    assert fault.value.for_good
    assert "secret-token" not in str(fault.value)
