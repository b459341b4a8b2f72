"""The daemon and a real broker: what it publishes, what it survives, what it refuses."""

from __future__ import annotations

import asyncio
import json
import ssl
import subprocess
from collections.abc import AsyncIterator
from pathlib import Path
from typing import Any

import pytest
import trustme
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties

from pitlogger.clock import ManualClock
from pitlogger.config import Config, parse_config
from pitlogger.engine.inputs import Command
from pitlogger.formats.cook_file import parse_cook
from pitlogger.model.alerts import AlertState
from pitlogger.model.journal import AlertActed, CookFinished, CookStarted, Noted, TroubleChanged
from pitlogger.model.readings import Quality, Reading
from pitlogger.node.daemon import Daemon
from pitlogger.notify.trial import try_ways
from pitlogger.testing.waiting import until
from tests.system.broker import MOSQUITTO, Broker, watching

pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(not Path(MOSQUITTO).exists(), reason="mosquitto is not installed"),
]

NOW_MS = 1_790_000_000_000
ROOT = "pitlogger/pit"
COOK = """
[cook]
name = "harvest supper"
[[piece]]
id = "brisket-1"
cut = "brisket-packer"
[[channel]]
id = "brisket-1/core"
site = "core"
piece = "brisket-1"
[[channel]]
id = "pit"
site = "pit"
"""


@pytest.fixture
async def broker(tmp_path: Path) -> AsyncIterator[Broker]:
    folder = tmp_path / "broker"
    folder.mkdir()
    made = Broker(folder)
    await made.start()
    yield made
    made.stop()


class Node:
    """A daemon told to publish, with a clock that a hand turns."""

    def __init__(self, folder: Path, broker: Broker, more: str = "", after: str = "") -> None:
        self.clock = ManualClock(NOW_MS)
        self.config = parse_config(
            f'[node]\ndata = "{folder / "data"}"\n[mqtt]\nenabled = true\nhost = "localhost"\n'
            f"port = {broker.port}\n{more}\n{after}"
        )
        self.daemon = Daemon(self.config, self.clock)

    async def __aenter__(self) -> Node:
        await self.daemon.__aenter__()
        return self

    async def __aexit__(self, *exc: Any) -> None:
        await self.daemon.__aexit__(None, None, None)

    def with_port(self, port: int) -> Config:
        mqtt = self.config.mqtt.model_copy(update={"port": port})
        return self.config.model_copy(update={"mqtt": mqtt})

    def without_broker(self) -> Config:
        mqtt = self.config.mqtt.model_copy(update={"enabled": False})
        return self.config.model_copy(update={"mqtt": mqtt})

    def say(self, body: Any) -> None:
        self.daemon.feed(Command(self.clock.engine_ms(), body))

    def start_cook(self) -> None:
        self.say(CookStarted(parse_cook(COOK)))

    def read(self, channel: str, celsius: float | None, quality: Quality = Quality.GOOD) -> None:
        value = None if celsius is None else round(celsius * 1000)
        self.daemon.feed(Reading(channel, self.clock.engine_ms(), value, quality))

    def pass_s(self, seconds: float) -> None:
        self.clock.advance(round(seconds * 1000))
        self.daemon.tick(self.clock.engine_ms())

    def alert_message(self, key: str) -> str:
        watch = self.daemon.engine.state.watches.get(key)
        return watch.message if watch and watch.state is AlertState.UNACKNOWLEDGED else ""


DISK_LOW = TroubleChanged("disk-low", "node", True, "2 % of the disk are free", "Make room")
DISK_FINE = TroubleChanged("disk-low", "node", False)


# -- what is published ----------------------------------------------------------------------


async def test_a_node_is_online_while_it_runs_and_offline_after_a_clean_end(
    tmp_path: Path, broker: Broker
) -> None:
    async with watching(broker.port) as hub:
        async with Node(tmp_path, broker):
            await until(lambda: hub.last(f"{ROOT}/status") == "online")
        await until(lambda: hub.last(f"{ROOT}/status") == "offline")


async def test_cook_and_pieces_are_retained_for_whoever_comes_later(
    tmp_path: Path, broker: Broker
) -> None:
    async with Node(tmp_path, broker) as node:
        node.start_cook()
        async with watching(broker.port) as hub:
            await until(lambda: hub.document(f"{ROOT}/piece/brisket-1") is not None)
            assert hub.document(f"{ROOT}/piece/brisket-1")["stage"] == "raw"
            assert hub.document(f"{ROOT}/cook")["cook"]["name"] == "harvest supper"


async def test_a_reading_is_a_retained_senml_pack(tmp_path: Path, broker: Broker) -> None:
    async with Node(tmp_path, broker) as node:
        node.start_cook()
        node.read("brisket-1/core", 71.25)
        async with watching(broker.port) as hub:
            topic = f"{ROOT}/channel/brisket-1/core"
            await until(lambda: hub.document(topic) is not None)
            assert hub.document(topic) == [
                {"n": "brisket-1/core", "u": "Cel", "v": 71.25, "t": NOW_MS / 1000}
            ]


async def test_an_open_probe_says_so_instead_of_a_value(tmp_path: Path, broker: Broker) -> None:
    async with Node(tmp_path, broker) as node, watching(broker.port) as hub:
        node.start_cook()
        node.read("pit", None, Quality.OPEN)
        await until(lambda: hub.document(f"{ROOT}/channel/pit") is not None)
        assert hub.document(f"{ROOT}/channel/pit")[0]["vs"] == "!open"


async def test_a_channel_is_published_no_faster_than_its_limit(
    tmp_path: Path, broker: Broker
) -> None:
    async with Node(tmp_path, broker) as node, watching(broker.port) as hub:
        node.start_cook()
        for tenth in range(50):
            node.read("pit", 110 + tenth / 10)
            node.pass_s(0.1)
            await asyncio.sleep(0.01)  # half a second of real time, in which one may go out
        told = hub.documents(f"{ROOT}/channel/pit")
        assert 1 <= len(told) <= 2


async def test_an_alert_is_retained_while_it_stands_and_deleted_after(
    tmp_path: Path, broker: Broker
) -> None:
    topic = f"{ROOT}/alert/disk-low/node"
    async with Node(tmp_path, broker) as node, watching(broker.port) as hub:
        node.say(DISK_LOW)
        await until(lambda: hub.document(topic) is not None)
        assert "2 % of the disk are free" in hub.document(topic)["message"]
        assert hub.document(f"{ROOT}/cook")["alarms"] == 1
        node.say(DISK_FINE)
        node.say(AlertActed("disk-low/node", "acknowledge"))
        await until(lambda: hub.last(topic) == "")


async def test_an_alert_that_ended_while_the_node_was_off_is_deleted_at_its_start(
    tmp_path: Path, broker: Broker
) -> None:
    topic = f"{ROOT}/alert/pit-low/old-pit"
    async with watching(broker.port) as hub:
        await hub.client.publish(topic, "{}", qos=1, retain=True)
        await until(lambda: hub.last(topic) == "{}")
        async with Node(tmp_path, broker):
            await until(lambda: hub.last(topic) == "")


async def test_names_with_wildcards_make_no_forbidden_topic(tmp_path: Path, broker: Broker) -> None:
    async with Node(tmp_path, broker) as node, watching(broker.port) as hub:
        node.read("left+right#1", 20.0)
        await until(lambda: hub.document(f"{ROOT}/channel/left_right_1") is not None)


async def test_people_are_told_over_mqtt_where_it_is_a_way(tmp_path: Path, broker: Broker) -> None:
    way = '[[notify.way]]\nkind = "mqtt"\n'
    async with Node(tmp_path, broker, after=way) as node, watching(broker.port) as hub:
        await until(lambda: hub.last(f"{ROOT}/status") == "online")
        node.say(DISK_LOW)
        await until(lambda: "disk-low/node" in node.daemon.notifier.outbox.standing)
        node.pass_s(10)
        await until(lambda: hub.document(f"{ROOT}/notice") is not None)
        assert "disk-low/node" in hub.document(f"{ROOT}/notice")["alerts"]


# -- outages --------------------------------------------------------------------------------


def noted(hub: Any) -> list[str]:
    return [document["text"] for document in hub.documents(f"{ROOT}/event/noted")]


async def test_an_hour_without_broker_loses_no_entry_and_keeps_order(
    tmp_path: Path, broker: Broker
) -> None:
    async with Node(tmp_path, broker) as node:
        async with watching(broker.port) as hub:
            await until(lambda: hub.last(f"{ROOT}/status") == "online")
            node.say(Noted("before"))
            await until(lambda: noted(hub) == ["before"])
        broker.stop()
        for minute in range(60):
            node.pass_s(60)
            node.say(Noted(f"minute {minute}"))
            node.read("pit", 100 + minute)
        await broker.start()
        async with watching(broker.port) as hub:
            await until(lambda: len(noted(hub)) == 60, 10)
            assert noted(hub) == [f"minute {minute}" for minute in range(60)]
            await until(lambda: hub.document(f"{ROOT}/channel/pit") is not None)
            assert [pack[0]["v"] for pack in hub.documents(f"{ROOT}/channel/pit")][-1] == 159


async def test_entries_made_while_the_broker_was_away_survive_a_restart_of_the_node(
    tmp_path: Path, broker: Broker
) -> None:
    async with Node(tmp_path, broker) as node, watching(broker.port) as hub:
        await until(lambda: hub.last(f"{ROOT}/status") == "online")
        node.say(Noted("told"))
        await until(lambda: noted(hub) == ["told"])
        broker.stop()
        node.say(Noted("untold"))
        await until(lambda: node.daemon.journalling.is_settled)
    await broker.start()
    async with watching(broker.port) as hub, Node(tmp_path, broker):
        await until(lambda: noted(hub) == ["untold"], 10)


async def test_a_broker_that_forgot_everything_is_told_everything_again(
    tmp_path: Path, broker: Broker
) -> None:
    broker.persistent = False
    async with Node(tmp_path, broker) as node:
        node.start_cook()
        async with watching(broker.port) as hub:
            await until(lambda: hub.document(f"{ROOT}/piece/brisket-1") is not None)
        broker.stop()
        for left in broker.folder.glob("mosquitto.db"):
            left.unlink()
        await broker.start()
        async with watching(broker.port) as hub:
            await until(lambda: hub.document(f"{ROOT}/piece/brisket-1") is not None, 10)


async def test_a_dead_node_is_noticed(tmp_path: Path, broker: Broker) -> None:
    async with Node(tmp_path, broker) as node, watching(broker.port) as hub:
        await until(lambda: hub.last(f"{ROOT}/status") == "online")
        session = node.daemon.notifier.broker
        assert session is not None
        await until(lambda: session.client is not None)
        assert session.client is not None
        session.client._client._sock_close()  # as when power fails: no farewell
        await until(lambda: hub.last(f"{ROOT}/status") == "offline", 10)


# -- who may connect ------------------------------------------------------------------------


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
    async with Node(tmp_path, broker, given) as node:
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
    async with Node(tmp_path, broker, given), watching(broker.port, tls_context=trust) as hub:
        await until(lambda: hub.last(f"{ROOT}/status") == "online")


# paho leaves the socket of a failed handshake to the garbage collector
@pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")
async def test_an_unknown_authority_is_alarmed_with_what_to_do(
    tmp_path: Path, broker: Broker
) -> None:
    broker.stop()
    with_tls(broker, trustme.CA())
    await broker.start()
    async with Node(tmp_path, broker, "tls = true") as node:
        await until(lambda: "notify-failing/mqtt" in node.daemon.engine.state.watches)
        node.pass_s(61)
        assert "certificate is not accepted" in node.alert_message("notify-failing/mqtt")
        remedy = node.daemon.engine.state.watches["notify-failing/mqtt"].remedy
        assert "ca_file" in remedy


async def test_a_broker_that_is_back_ends_the_alarm(tmp_path: Path, broker: Broker) -> None:
    broker.stop()
    async with Node(tmp_path, broker) as node:
        await until(lambda: "notify-failing/mqtt" in node.daemon.engine.state.watches)
        node.pass_s(61)
        assert "cannot be reached" in node.alert_message("notify-failing/mqtt")
        await broker.start()
        await until(lambda: not node.alert_message("notify-failing/mqtt"), 10)


async def test_a_reload_moves_to_another_broker_and_takes_along_what_was_not_told(
    tmp_path: Path, broker: Broker
) -> None:
    broker.stop()
    async with Node(tmp_path, broker) as node:
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


def expiring(seconds: int) -> Properties:
    properties = Properties(PacketTypes.PUBLISH)  # type: ignore[no-untyped-call]
    properties.MessageExpiryInterval = seconds
    return properties


async def ask(hub: Any, document: dict[str, Any], **given: Any) -> dict[str, Any]:
    """Publish a command and return the answer to it."""
    await until(lambda: hub.last(f"{ROOT}/health") is not None)
    before = len(hub.documents(f"{ROOT}/answer"))
    await hub.client.publish(f"{ROOT}/command", json.dumps(document), qos=1, **given)
    await until(lambda: len(hub.documents(f"{ROOT}/answer")) > before)
    answer: dict[str, Any] = hub.documents(f"{ROOT}/answer")[-1]
    return answer


NOTE = {"key": "k1", "do": "note", "text": "fire is lit", "by": "JD"}


async def test_commands_are_off_by_default(tmp_path: Path, broker: Broker) -> None:
    async with Node(tmp_path, broker) as node, watching(broker.port) as hub:
        answer = await ask(hub, NOTE, properties=expiring(30))
        assert "commands are off" in answer["error"]
        assert node.daemon.engine.book.notes == []


async def test_a_fresh_command_is_done_once_however_often_it_comes(
    tmp_path: Path, broker: Broker
) -> None:
    async with Node(tmp_path, broker, "commands = true") as node, watching(broker.port) as hub:
        node.start_cook()
        first = await ask(hub, NOTE, properties=expiring(30))
        again = await ask(hub, NOTE, properties=expiring(30))
        assert first["done"]
        assert first["id"] == again["id"]
        assert len(node.daemon.engine.book.notes) == 1


async def test_a_retained_command_is_refused_and_deleted(tmp_path: Path, broker: Broker) -> None:
    async with watching(broker.port) as hub:
        text = json.dumps(NOTE)
        await hub.client.publish(f"{ROOT}/command", text, qos=1, retain=True)
        async with Node(tmp_path, broker, "commands = true") as node:
            await until(lambda: bool(hub.documents(f"{ROOT}/answer")))
            assert "retained" in hub.documents(f"{ROOT}/answer")[-1]["error"]
            assert node.daemon.engine.book.notes == []
            await until(lambda: hub.last(f"{ROOT}/command") == "")


async def test_a_command_retained_while_we_listen_is_refused_too(
    tmp_path: Path, broker: Broker
) -> None:
    async with Node(tmp_path, broker, "commands = true") as node, watching(broker.port) as hub:
        node.start_cook()
        await ask(hub, {**NOTE, "key": "fresh"}, properties=expiring(30))
        text = json.dumps({**NOTE, "key": "kept"})
        await hub.client.publish(
            f"{ROOT}/command", text, qos=1, retain=True, properties=expiring(30)
        )
        await until(lambda: hub.documents(f"{ROOT}/answer")[-1]["key"] == "kept")
        assert "retained" in hub.documents(f"{ROOT}/answer")[-1]["error"]
        assert len(node.daemon.engine.book.notes) == 1


@pytest.mark.parametrize(
    ("document", "expiry_s", "words"),
    [
        (NOTE, None, "needs an expiry"),
        (NOTE, 3600, "needs an expiry"),
        ({**NOTE, "at": "2026-09-21T14:12:00Z"}, None, "at most 30 s"),
        ({**NOTE, "key": ""}, 30, "'key'"),
        ({**NOTE, "do": "notee"}, 30, "did you mean 'note'"),
        ({"key": "k2", "do": "stage", "piece": "brisket-1", "stage": "resti"}, 30, "'resting'"),
        ({"key": "k3", "do": "acknowledge", "alert": "pit-low/x"}, 30, "alert"),
    ],
)
async def test_a_command_that_cannot_be_done_is_answered_in_words(
    tmp_path: Path, broker: Broker, document: dict[str, Any], expiry_s: int | None, words: str
) -> None:
    async with Node(tmp_path, broker, "commands = true") as node, watching(broker.port) as hub:
        node.start_cook()
        properties = None if expiry_s is None else expiring(expiry_s)
        answer = await ask(hub, document, properties=properties)
        assert not answer["done"]
        assert words in answer["error"]


async def test_what_must_be_asked_is_told_on_the_topic_and_done_with_the_answer(
    tmp_path: Path, broker: Broker
) -> None:
    async with Node(tmp_path, broker, "commands = true") as node, watching(broker.port) as hub:
        node.start_cook()
        stage = {"do": "stage", "piece": "brisket-1", "by": "AB"}
        await ask(hub, {**stage, "key": "s1", "stage": "smoking"}, properties=expiring(30))
        off = {**stage, "key": "s2", "stage": "resting"}
        asked = await ask(hub, off, properties=expiring(30))
        assert not asked["done"]
        assert "nothing was done: brisket-1 was on the pit for" in asked["error"]
        assert asked["confirm"] in asked["options"]
        assert node.daemon.engine.book.pieces["brisket-1"].stage == "smoking"
        answer = {**off, "confirm": asked["confirm"]}
        assert (await ask(hub, answer, properties=expiring(30)))["done"]
        assert node.daemon.engine.book.pieces["brisket-1"].stage == "resting"


async def test_a_command_with_its_own_time_needs_no_expiry(tmp_path: Path, broker: Broker) -> None:
    async with Node(tmp_path, broker, "commands = true") as node, watching(broker.port) as hub:
        node.start_cook()
        answer = await ask(hub, {**NOTE, "at": "2026-09-21T14:13:25Z"})
        assert answer["done"]


# -- hubs -----------------------------------------------------------------------------------


async def test_a_hub_finds_the_node_in_one_message_and_again_when_it_starts(
    tmp_path: Path, broker: Broker
) -> None:
    topic = "homeassistant/device/pitlogger-pit/config"
    given = 'discovery_prefix = "homeassistant"'
    async with Node(tmp_path, broker, given) as node, watching(broker.port) as hub:
        node.start_cook()
        await until(lambda: "stage-brisket-1" in (hub.document(topic) or {}).get("cmps", {}))
        document = hub.document(topic)
        assert document["o"]["name"] == "pitlogger"
        assert all({"p", "unique_id"} <= each.keys() for each in document["cmps"].values())
        assert document["availability"][0]["topic"] == f"{ROOT}/status"
        core = document["cmps"]["channel-brisket-1-core"]
        assert (core["device_class"], core["unit_of_measurement"]) == ("temperature", "°C")
        count = len(hub.documents(topic))
        await hub.client.publish("homeassistant/status", "online", qos=1)
        await until(lambda: len(hub.documents(topic)) == count + 1)


async def test_the_homie_tree_describes_itself_before_it_is_ready(
    tmp_path: Path, broker: Broker
) -> None:
    root = "homie/5/pitlogger-pit"
    async with watching(broker.port) as hub:
        async with Node(tmp_path, broker, "homie = true") as node:
            node.start_cook()
            node.read("pit", 115.5)
            await until(lambda: hub.last(f"{root}/pit/value") == "115.5")
            await until(lambda: hub.last(f"{root}/$state") == "ready")
            description = hub.document(f"{root}/$description")
            assert description["homie"] == "5.0"
            assert description["nodes"]["pit"]["properties"]["value"]["unit"] == "°C"
            states = [
                message.payload.decode()
                for message in hub.heard
                if str(message.topic) == f"{root}/$state" and isinstance(message.payload, bytes)
            ]
            assert states[:2] == ["init", "ready"]
            assert states[-1] == "ready"
        await until(lambda: hub.last(f"{root}/$state") == "disconnected")


async def test_a_hub_is_told_what_is_gone_also_after_a_restart(
    tmp_path: Path, broker: Broker
) -> None:
    topic = "homeassistant/device/pitlogger-pit/config"
    given = 'discovery_prefix = "homeassistant"'
    stage = "stage-brisket-1"
    async with Node(tmp_path, broker, given) as node, watching(broker.port) as hub:
        node.start_cook()
        await until(lambda: stage in (hub.document(topic) or {}).get("cmps", {}))
    parts = {"p": "sensor", "unique_id": "x", "state_topic": "y"}
    stale = json.dumps({"cmps": {"channel-gone": parts}})
    async with watching(broker.port) as hub:
        await hub.client.publish(topic, stale, qos=1, retain=True)
        async with Node(tmp_path, broker, given) as node:
            await until(lambda: stage in (hub.document(topic) or {}).get("cmps", {}))
            node.say(CookFinished("harvest supper"))
            await until(lambda: {"p": "sensor"} in seen(hub, topic, stage))
            await until(lambda: {"p": "sensor"} in seen(hub, topic, "channel-gone"))
            await until(lambda: {stage, "channel-gone"}.isdisjoint(hub.document(topic)["cmps"]))


def seen(hub: Any, topic: str, component: str) -> list[Any]:
    """Return what was said of a component, description by description."""
    return [document["cmps"].get(component) for document in hub.documents(topic)]


async def test_a_changed_homie_description_has_a_higher_version_and_comes_with_its_values(
    tmp_path: Path, broker: Broker
) -> None:
    """Homie 5.0, device attributes and lifecycle."""
    root = "homie/5/pitlogger-pit"
    async with Node(tmp_path, broker, "homie = true") as node, watching(broker.port) as hub:
        await until(lambda: hub.last(f"{root}/$state") == "ready")
        first = hub.document(f"{root}/$description")["version"]
        node.start_cook()
        node.read("pit", 115.25)
        node.pass_s(1)
        await until(lambda: "pit" in hub.document(f"{root}/$description")["nodes"])
        described = hub.document(f"{root}/$description")
        assert described["version"] > first
        assert {"homie", "version", "name", "nodes"} == described.keys()
        await until(lambda: hub.last(f"{root}/pit/value") == "115.25")
        await until(lambda: hub.last(f"{root}/$state") == "ready")
        topics = [str(message.topic) for message in hub.heard]
        states = [at for at, topic in enumerate(topics) if topic == f"{root}/$state"]
        last = max(at for at, topic in enumerate(topics) if topic == f"{root}/$description")
        assert states[-1] > last  # ready again after the description


async def test_a_homie_alert_is_retained_and_deleted(tmp_path: Path, broker: Broker) -> None:
    topic = "homie/5/pitlogger-pit/$alert/disk-low-node"
    async with Node(tmp_path, broker, "homie = true") as node, watching(broker.port) as hub:
        node.say(DISK_LOW)
        await until(lambda: bool(hub.last(topic)))
        node.say(DISK_FINE)
        await until(lambda: hub.last(topic) == "")
