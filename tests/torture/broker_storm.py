"""Broker storms: the cable pulled, pushed in and dead, the broker restarted, alerts all the while.

A hub hears everything over a connection of its own, in a session that outlives the broker.
"""

from __future__ import annotations

import asyncio
import json
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from itertools import pairwise
from pathlib import Path
from random import Random
from typing import Any

import aiomqtt
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties

from pitlogger.store import Reader
from tests.system.broker import MOSQUITTO, Broker
from tests.torture.cable import Cable
from tests.torture.ledger import faults_of, held_in, writing
from tests.torture.node import Node, node, until
from tests.torture.row import Row

MQTT = '\n[mqtt]\nenabled = true\nhost = "127.0.0.1"\nport = {port}\n'
STALE_S = 20.0  # 15 s of silence, and ticks
BACK_S = 75.0  # tried again at the latest every minute
LINES = ["max_queued_messages 0", "autosave_interval 1", "autosave_on_changes true"]


class Hub:
    """Whoever listens at the broker: every event heard, and the alerts that are kept there."""

    def __init__(self, port: int) -> None:
        self.events: list[dict[str, Any]] = []
        self.kept: dict[str, bytes] = {}
        self._port = port
        self._stop = threading.Event()
        self._thread = threading.Thread(target=lambda: asyncio.run(self._hear()), daemon=True)
        self._thread.start()

    def close(self) -> None:
        self._stop.set()
        self._thread.join(10)

    async def _hear(self) -> None:
        while not self._stop.is_set():
            with suppress(aiomqtt.MqttError, TimeoutError):
                await self._listen()
            await asyncio.sleep(0.05)

    async def _listen(self) -> None:
        properties = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]
        properties.SessionExpiryInterval = 3600
        async with aiomqtt.Client(
            "127.0.0.1", self._port, identifier="hub", clean_start=False, properties=properties,
            protocol=aiomqtt.ProtocolVersion.V5,
        ) as client:  # fmt: skip
            await client.subscribe("#", qos=1)
            listening = asyncio.ensure_future(self._take_all(client))
            while not (self._stop.is_set() or listening.done()):
                await asyncio.wait([listening], timeout=0.1)
            listening.cancel()
            await asyncio.gather(listening, return_exceptions=True)

    async def _take_all(self, client: aiomqtt.Client) -> None:
        async for message in client.messages:
            topic, payload = str(message.topic), message.payload
            if not isinstance(payload, bytes):
                continue
            if "/event/" in topic:
                self.events.append(json.loads(payload))
            elif "/alert/" in topic:
                self.kept[topic.partition("/alert/")[2]] = payload


@contextmanager
def _brokered(folder: Path) -> Iterator[tuple[Broker, Cable, Hub]]:
    folder.mkdir(parents=True)
    broker = Broker(folder, LINES)
    asyncio.run(broker.start())
    cable, hub = Cable(broker.port), Hub(broker.port)
    try:
        yield broker, cable, hub
    finally:
        hub.close()
        cable.close()
        broker.stop()


def broker_storm(folder: Path, gusts: int, seed: int) -> list[Row]:
    """Disturb cable and broker ``gusts`` times; no row where there is no broker to run."""
    if not Path(MOSQUITTO).exists():
        return []
    dice = Random(seed)
    with _brokered(folder / "broker") as (broker, cable, hub):
        mqtt = MQTT.format(port=cable.port)
        with node(folder / "node", more=mqtt) as stormed:
            stormed.start()
            stormed.start_cook()
            with writing(stormed, seed, pause_s=0.15) as writer:
                until("the hub hears", lambda: len(hub.events) > 3)
                for gust in range(gusts):
                    stormed.board.heard = not gusts // 3 < gust < 2 * gusts // 3  # goes stale
                    _gust(dice, broker, cable)
                    _board_comes_and_goes(stormed, dice)
                cable.pull()
                stormed.board.heard = False
                until("an alarm arises", lambda: "channel-stale/pit" in _standing(stormed), STALE_S)
                cable.push_in()
                until("the alarm is kept", lambda: "channel-stale/pit" in _kept(hub), BACK_S)
                stormed.board.heard = True
            last = len(writer.ledger.told)
            until("the last is heard", lambda: len(_heard(hub)) >= last, BACK_S)
            until("all is heard", lambda: not _unheard(stormed, hub), BACK_S)
            until("the alerts kept are those that stand", lambda: _kept(hub) == _standing(stormed))
            faults = _out_of_order(hub)
            code, took_s = stormed.stop()
            if code or took_s > 2:
                faults.append(f"ended with {code} after {took_s:.1f} s")
            faults += faults_of(held_in(stormed.database), writer.ledger)
    again = len(hub.events) - len(_heard(hub))
    shown = f"{len(_heard(hub))} entries heard, {again} of them twice with the same id"
    return [Row("broker", f"cable and broker disturbed {gusts} times", gusts, faults, shown, seed)]


def _gust(dice: Random, broker: Broker, cable: Cable) -> None:
    match dice.randrange(4):
        case 0:
            broker.stop()
            time.sleep(dice.uniform(0, 1))
            asyncio.run(broker.start())
        case 1:
            cable.is_dead = True
            time.sleep(dice.uniform(0, 1.5))
            cable.pull()
        case _:
            cable.pull()
    time.sleep(dice.uniform(0, 1))
    cable.push_in()
    time.sleep(dice.uniform(0, 2.5))


def _board_comes_and_goes(stormed: Node, dice: Random) -> None:
    if dice.random() < 0.5:
        stormed.board.pull()
        time.sleep(dice.uniform(0, 0.5))
        stormed.board.plug_in()


def _heard(hub: Hub) -> dict[str, dict[str, Any]]:
    """Return what was heard by its id, in the order first heard."""
    found: dict[str, dict[str, Any]] = {}
    for event in list(hub.events):
        found.setdefault(event["id"], event)
    return found


def _unheard(stormed: Node, hub: Hub) -> list[str]:
    """Return what is on record since the node first reached the broker, and was not heard."""
    with Reader.open(stormed.database) as reader:
        written = [f"{entry.run}/{entry.seq}" for entry in reader.entries()]
    heard = _heard(hub)
    return [one for one in written[written.index(next(iter(heard))) :] if one not in heard]


def _out_of_order(hub: Hub) -> list[str]:
    numbers = [int(one.rpartition("/")[2]) for one in _heard(hub)]
    late = [b for a, b in pairwise(numbers) if b != a + 1]
    faults = [f"heard out of order before {late[:5]}"] if late else []
    by_id: dict[str, set[str]] = {}
    for event in hub.events:
        said = {key: held for key, held in event.items() if key != "on_disk"}
        by_id.setdefault(event["id"], set()).add(json.dumps(said, sort_keys=True))
    if changed := [one for one, words in by_id.items() if len(words) > 1]:
        faults.append(f"the same id with other words: {changed[:5]}")
    return faults


def _kept(hub: Hub) -> set[str]:
    return {topic for topic, payload in hub.kept.items() if payload}


def _standing(stormed: Node) -> set[str]:
    return set(stormed.alert_states())
