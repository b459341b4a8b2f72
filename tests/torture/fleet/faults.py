"""The faults of a fleet other than kills; each ends with: found is what was sent."""

from __future__ import annotations

import json
import os
import shutil
import signal
import time
from collections.abc import Callable
from contextlib import suppress
from datetime import UTC, datetime, timedelta
from multiprocessing.pool import ThreadPool

import httpx

from pitlogger.errors import RefusedError
from pitlogger.hub.authority import node_certificate
from pitlogger.hub.invitations import invite
from pitlogger.hub.nodes import Nodes
from pitlogger.node.identity import node_key
from pitlogger.store import Reader
from pitlogger.uplink.joined import CERTIFICATE_FILE
from tests.fleet.made import messages
from tests.torture.fleet.stage import Stage, TorturedNode
from tools.fleet.judge import of_hub
from tools.fleet.servers import until

Fault = Callable[[Stage], tuple[list[str], str]]
YEAR_MS = 366 * 86_400_000


def cut_off(stage: Stage) -> tuple[list[str], str]:
    """Three days of a node whose link was cut, and all at once afterwards."""
    node = stage.nodes[0]
    node.kill()
    stage.hub.broker.stop()
    began_s = time.monotonic()
    node.start("--days", "3")
    made_s = time.monotonic() - began_s
    stage.hub.start_broker()
    began_s = time.monotonic()
    said = stage.settled()
    return said, f"432 blocks made in {made_s:.0f} s, all found {time.monotonic() - began_s:.0f} s"


def queue_full(stage: Stage) -> tuple[list[str], str]:
    """The broker holds five messages for ingesters that stand still."""
    settings = stage.hub.folder / "mosquitto.conf"
    before = settings.read_text(encoding="utf-8")
    settings.write_text(before + "max_queued_messages 5\nmax_inflight_messages 1\n", "utf-8")
    stage.hub.broker.kill()
    stage.hub.start_broker()
    for _ in range(3):
        _signal(stage, signal.SIGSTOP)
        time.sleep(4)
        _signal(stage, signal.SIGCONT)
        time.sleep(1)
    said = stage.settled()
    settings.write_text(before, encoding="utf-8")
    stage.hub.broker.kill()
    stage.hub.start_broker()
    return said, "three times for 4 s"


def _signal(stage: Stage, number: int) -> None:
    for one in stage.hub.at_work:
        os.kill(one.pid, number)


def node_restored(stage: Stage) -> tuple[list[str], str]:
    """A node's record is put back to an older copy; its position file is the newer one."""
    node = stage.nodes[1]
    stage.settled()
    node.process.stop()
    shutil.copy(node.folder / "pitlogger.db", node.folder / "backup")
    node.start()
    time.sleep(3)
    said = stage.settled()
    node.process.stop()
    said += stage.faults(all_of_it=False)
    node.gone.append(node.record())
    for file in node.folder.glob("pitlogger.db*"):
        file.unlink()
    shutil.copy(node.folder / "backup", node.folder / "pitlogger.db")
    node.start()
    time.sleep(2)
    return [*said, *_settled_but_for_ends(stage, node)], "what came after the copy stays at the hub"


def _settled_but_for_ends(stage: Stage, node: TorturedNode) -> list[str]:
    """Settle; of the files that are gone only what had been sent is looked for."""
    database = stage.database()
    try:
        journal, spans = of_hub(database, node.uid)
        for gone_journal, gone_spans in node.gone:
            for held, found in ((gone_journal, journal), (gone_spans, spans)):
                for key in [key for key in held if key not in found]:
                    del held[key]
    finally:
        database.close()
    return stage.settled()


def hub_restored(stage: Stage) -> tuple[list[str], str]:
    """The database is put back to a backup; receipts given since are void."""
    out = stage.folder / "hub.dump"
    out.unlink(missing_ok=True)
    stage.hub.hub("backup", str(out))
    time.sleep(6)
    said = stage.settled()
    more = stage.sizes()
    for one in (stage.hub.web, *stage.hub.at_work):
        one.stop()
    stage.server.run("psql", "-d", "fleet", "-c", "DROP SCHEMA fleet CASCADE")
    stage.server.run("pg_restore", "--exit-on-error", "-d", "fleet", str(out))
    had = stage.sizes()
    for one in (stage.hub.web, *stage.hub.at_work):
        one.start()
    said += stage.settled()
    return said, f"{more['entries'] - had['entries']} entries were void and came again"


def out_of_date(stage: Stage) -> tuple[list[str], str]:
    """A node's certificate has run out: it gets another by its key, over HTTPS."""
    node = stage.nodes[0]
    node.kill()
    key = node_key(node.folder).public_key().public_bytes_raw()
    long_ago = datetime.now(UTC) - timedelta(days=200)
    path = node.folder / CERTIFICATE_FILE
    path.write_text(node_certificate(stage.hub.folder, node.uid, key, long_ago))
    old = path.read_text()
    until("the web part", lambda: stage.hub.ask("status"))
    node.start()
    until("another certificate", lambda: path.read_text() != old, 60)
    return stage.settled(), "another was fetched"


def clock_off(stage: Stage) -> tuple[list[str], str]:
    """A node whose UTC is a year ahead, then one a year behind."""
    for name, years in (("ahead", 1), ("behind", -1)):
        stage.nodes.append(stage.new_node(name, "--off-ms", str(years * YEAR_MS)))
    time.sleep(4)
    said = stage.settled()
    rows = {row["name"]: row["clock_off_ms"] for row in stage.hub.ask("status")}
    if not rows["ahead"] or not rows["behind"]:
        said.append(f"not told: {rows}")
    return said, "told by status"


def renamed(stage: Stage) -> tuple[list[str], str]:
    """A node gets another name; its identity stays."""
    node = stage.nodes[0]
    node.kill()
    node.name = "the new name"
    node.start()
    time.sleep(2)
    said = stage.settled()
    names = {row["name"] for row in stage.hub.ask("status")}
    return said + ([] if "the new name" in names else [f"not renamed: {names}"]), "one identity"


def cloned(stage: Stage) -> tuple[list[str], str]:
    """A card is copied: two nodes with one key, at once."""
    node = stage.nodes[1]
    stage.settled()
    node.kill()
    twin = TorturedNode(stage.folder / "twin", stage.epoch_s, "twin")
    shutil.rmtree(twin.folder)
    shutil.copytree(node.folder, twin.folder)
    twin.start()
    time.sleep(1)
    node.start()
    ends_s = time.monotonic() + 120
    while time.monotonic() < ends_s and not (told := _cloned(stage, node.uid)):
        time.sleep(1)
    node.let_grow(False)
    twin.let_grow(False)
    log = (stage.folder / f"{node.folder.name}.log").read_text()
    log += (stage.folder / "twin.log").read_text()
    time.sleep(2)
    twin.process.stop()  # whoever looks takes one away; the other goes on
    node.gone.append(twin.record())
    said = [] if told else ["the hub does not tell of two cards"]
    # What the twin had not sent when it was taken away is on its card alone.
    said += _settled_but_for_ends(stage, node)
    return said, f"told by the hub: {bool(told)}, by a node: {'another node uses' in log}"


def _cloned(stage: Stage, uid: str) -> bool:
    return any(row["uid"] == uid and row["cloned_ms"] for row in stage.hub.ask("status"))


def disk_full(stage: Stage) -> tuple[list[str], str]:
    """The disk of the hub's database is full: nodes are told to wait, and do."""
    filler = stage.small / "filler"
    with suppress(OSError), filler.open("wb", buffering=0) as file:
        while True:
            file.write(b"\0" * 65536)
    time.sleep(20)
    waiting = [json.loads((node.folder / "status.json").read_text()) for node in stage.nodes]
    logs = [one.log.read_text() for one in stage.hub.at_work]
    filler.unlink()
    before = stage.sizes()
    said = stage.settled()
    if not any(one["waiting"] for one in waiting):
        said.append("nobody waited")
    if not any("No space left" in str(one["fault"]) for one in waiting):
        said.append(f"no node was told: {waiting} {logs}")
    more = stage.sizes()["entries"] - before["entries"]
    return said, f"for 20 s; {more} entries came afterwards"


def doubled(stage: Stage) -> tuple[list[str], str]:
    """All of a node's record by HTTPS, in any order and twice, while the broker carries it too.

    A hub that takes nothing now is sent it again, as a node does.
    """
    node = stage.nodes[0]
    with Reader.open(node.folder / "pitlogger.db") as reader:
        sent = 2 * messages(reader, node_key(node.folder), node.uid)
    stage.rng.shuffle(sent)
    url = f"{stage.hub.address}/fleet/1/{node.uid}/up"
    with httpx.Client(verify=False, timeout=120) as client, ThreadPool(4) as beside:

        def post(body: bytes) -> httpx.Response:
            answer = client.post(url, content=body)
            return client.post(url, content=body) if answer.status_code == 503 else answer

        answers = beside.map(post, sent)
    said = [answer.text for answer in answers if not answer.json().get("received")]
    return said + stage.settled(), f"{len(sent)} bundles beside those of the broker"


def moved(stage: Stage) -> tuple[list[str], str]:
    """A node goes to another firm: with a new record; what it had sent stays with the first."""
    node, database = stage.nodes[0], stage.database()
    key = node_key(node.folder).public_key().public_bytes_raw()
    said = []
    with suppress(RefusedError):
        Nodes(database).enrol(node.uid, key, node.name, "Another Firm", "quay", 1, "moved")
        said.append("another firm took the node with its record")
    authority = (stage.hub.folder / "authority.pem").read_bytes()
    code = invite(database, authority, "Another Firm", "quay", int(time.time() * 1000), "moved")
    stage.nodes.append(stage.joined_node("moved", code))
    time.sleep(4)
    said += stage.settled()
    firms = database.ask(
        "SELECT node.name, count(DISTINCT journal.tenant), count(DISTINCT node.tenant)"
        " FROM journal JOIN node ON node.id = journal.node"
        " WHERE journal.tenant = node.tenant GROUP BY node.name"
    )
    database.close()
    if ("moved", 1, 1) not in firms or any(row[1:] != (1, 1) for row in firms):
        said.append(f"records of two firms: {firms}")
    return said, f"{len(firms)} nodes, each with one firm"


FAULTS: dict[str, tuple[str, Fault]] = {
    "cut": ("link cut for three days", cut_off),
    "doubled": ("bundles twice, in any order, by two ways", doubled),
    "queue": ("broker's queue full, ingesters stand still", queue_full),
    "restored": ("node restored from an older copy", node_restored),
    "hub": ("hub restored from an older backup", hub_restored),
    "full": ("disk of the hub's database full", disk_full),
    "expired": ("certificate out of date", out_of_date),
    "clock": ("clocks a year off", clock_off),
    "renamed": ("node renamed", renamed),
    "moved": ("node moved to another firm", moved),
    "cloned": ("card copied, both at work", cloned),
}
