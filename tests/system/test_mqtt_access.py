"""Who may connect to a real broker: passwords, certificates, another broker after a reload."""

from __future__ import annotations

import ssl
import subprocess
from pathlib import Path

import pytest
import trustme

from pitlogger.config import parse_config
from pitlogger.model.journal import Noted
from pitlogger.notify.trial import try_ways
from pitlogger.testing.waiting import until
from tests.system.broker import NEEDS_BROKER, Broker, watching
from tests.system.publishing import (
    NOW_MS,
    ROOT,
    PublishingNode,
)

pytestmark = NEEDS_BROKER


async def test_a_wrong_password_is_alarmed_in_words(tmp_path: Path, broker: Broker) -> None:
    broker.stop()
    passwords = broker.folder / "passwords"
    passwords.write_text("pit:right\n", encoding="utf-8")
    subprocess.run(["mosquitto_passwd", "-U", str(passwords)], check=True)  # noqa: ASYNC221
    broker.lines = ["allow_anonymous false", f"password_file {passwords}"]
    await broker.start()
    secret = tmp_path / "secret"
    secret.write_text("wrong", encoding="utf-8")
    secret.chmod(0o600)
    given = f'username = "pit"\npassword_file = "{secret}"'
    async with PublishingNode(tmp_path, broker, given) as node:
        await until(lambda: "notify-failing/mqtt" in node.daemon.engine.state.watches)
        node.pass_s(61)
        told = node.alert_message("notify-failing/mqtt")
        assert "does not allow" in told or "refuses the user name or password" in told


def with_tls(broker: Broker, authority: trustme.CA) -> None:
    certificate = authority.issue_cert("localhost")
    key, chain = broker.folder / "key.pem", broker.folder / "cert.pem"
    certificate.private_key_pem.write_to_path(str(key))
    certificate.cert_chain_pems[0].write_to_path(str(chain))
    broker.lines = [f"keyfile {key}", f"certfile {chain}"]


async def test_a_broker_with_tls_and_an_authority_of_its_own(
    tmp_path: Path, broker: Broker
) -> None:
    broker.stop()
    authority = trustme.CA()
    with_tls(broker, authority)
    await broker.start()
    ca_file = tmp_path / "ca.pem"
    authority.cert_pem.write_to_path(str(ca_file))
    trust = ssl.create_default_context(cafile=ca_file)
    trust.check_hostname = False
    given = f'tls = true\nca_file = "{ca_file}"'
    async with (
        PublishingNode(tmp_path, broker, given),
        watching(broker.port, tls_context=trust) as hub,
    ):
        await until(lambda: hub.last(f"{ROOT}/status") == "online")


# paho leaves the socket of a failed handshake to the garbage collector
@pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")
async def test_an_unknown_authority_is_alarmed_with_what_to_do(
    tmp_path: Path, broker: Broker
) -> None:
    broker.stop()
    with_tls(broker, trustme.CA())
    await broker.start()
    async with PublishingNode(tmp_path, broker, "tls = true") as node:
        await until(lambda: "notify-failing/mqtt" in node.daemon.engine.state.watches)
        node.pass_s(61)
        assert "certificate is not accepted" in node.alert_message("notify-failing/mqtt")
        remedy = node.daemon.engine.state.watches["notify-failing/mqtt"].remedy
        assert "ca_file" in remedy


async def test_a_broker_that_is_back_ends_the_alarm(tmp_path: Path, broker: Broker) -> None:
    broker.stop()
    async with PublishingNode(tmp_path, broker) as node:
        await until(lambda: "notify-failing/mqtt" in node.daemon.engine.state.watches)
        node.pass_s(61)
        assert "cannot be reached" in node.alert_message("notify-failing/mqtt")
        await broker.start()
        await until(lambda: not node.alert_message("notify-failing/mqtt"), 10)


async def test_a_reload_moves_to_another_broker_and_takes_along_what_was_not_told(
    tmp_path: Path, broker: Broker
) -> None:
    broker.stop()
    async with PublishingNode(tmp_path, broker) as node:
        await until(lambda: "notify-failing/mqtt" in node.daemon.engine.state.watches)
        node.pass_s(61)
        node.say(Noted("while nobody heard it"))
        other = Broker(tmp_path)
        await other.start()
        try:
            async with watching(other.port) as hub:
                found = await node.daemon.reload(node.with_port(other.port))
                assert found.applied == ("[mqtt]",)
                await until(lambda: hub.last(f"{ROOT}/status") == "online")
                notes = f"{ROOT}/event/noted"
                await until(lambda: "nobody heard" in str(hub.last(notes)))
                await until(lambda: not node.alert_message("notify-failing/mqtt"))
                await node.daemon.reload(node.without_broker())
                await until(lambda: hub.last(f"{ROOT}/status") == "offline")
        finally:
            other.stop()


async def test_a_test_message_has_arrived_when_it_came_back(broker: Broker) -> None:
    config = parse_config(
        f'[mqtt]\nenabled = true\nport = {broker.port}\n[[notify.way]]\nkind = "mqtt"\n'
    )
    (trial,) = await try_ways(config, (), NOW_MS)
    assert trial.arrived
    assert "came back from the broker under pitlogger/pit/notice" in trial.said


# -- commands -------------------------------------------------------------------------------
