"""A fleet in a few minutes: three nodes and a hub in one of them, then 300 pits on PostgreSQL.

    python -m tools.fleet.demo [--pits N] [--speed N] [--keep SECONDS]

Three real nodes cook three simulated cooks faster than life; two join the first by its code. Then a
hub by itself takes a cook of three hours each from 300 simulated pits, a fifth of the bundles
twice, while ingesters and the broker are killed. At the end it is counted what was sent, received
and doubled; exit code 1 where found is not sent.
"""

from __future__ import annotations

import argparse
import asyncio
import json
import subprocess
import sys
import time
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from pitlogger.formats.join_code import join_line
from pitlogger.hub.database import SqliteDatabase
from pitlogger.hub.opening import open_sink
from pitlogger.views.words import alert
from tools.fleet.judge import differences, of_hub, of_record
from tools.fleet.pits import Senders, enrol, let_in, make_pits, simulated_cook
from tools.fleet.servers import (
    FIRM,
    PITLOGGER,
    CentralHub,
    MissingProgramError,
    Postgres,
    Process,
    stand_folder,
    until,
)

NODES = (("smokehouse", "chicken", "yard"), ("trailer", "ribs", "fair"),
         ("annexe", "chicken", "quay"))  # fmt: skip
COOKS_WITHIN_S, DRAIN_S = 900.0, 120.0
DOUBLED, HOURS = 0.2, 3.0


def three_nodes(folder: Path, speed: float) -> bool:
    """Let three nodes cook; return whether the hub ends with all of it."""
    print("Three nodes, a hub in the first; nothing was installed for it. Each cooks a simulated"
          f" cook, up to {speed:.0f} times as fast as life.")  # fmt: skip
    nodes = [_node(folder, *NODES[0][:2], speed, FIRM)]
    nodes[0].start()
    try:
        socket = folder / NODES[0][0] / "s"
        until("the hub", lambda: _answers(socket))
        for name, scenario, site in NODES[1:]:
            made = _asked(socket, "invite", "--site", site)
            line = join_line(made["address"], made["code"])
            print(f"  {name} joins, to belong to {site}: {line}")
            nodes.append(_node(folder, name, scenario, speed, made["address"], made["code"]))
            nodes[-1].start()
        _watch(folder, socket)
        until("all of it is at the hub", lambda: not any(_faults(folder)), DRAIN_S)
        return _told(folder)
    except TimeoutError as fault:
        print(f"  {fault}")
        return _told(folder) and False
    finally:
        for node in nodes:
            node.stop()


def _node(folder: Path, name: str, scenario: str, speed: float, *hub: str) -> Process:
    return Process(
        [sys.executable, "-m", "tools.fleet.cook_node", str(folder / name), name, scenario,
         str(speed), *hub], folder / f"{name}.log", Path.cwd(),
    )  # fmt: skip


def _asked(socket: Path, *words: str) -> Any:
    done = subprocess.run(
        [PITLOGGER, "hub", *words, "--socket", str(socket), "--json"], capture_output=True,
        text=True, check=True,
    )  # fmt: skip
    return json.loads(done.stdout)


def _answers(socket: Path) -> bool:
    try:
        return bool(_asked(socket, "status"))
    except subprocess.CalledProcessError:
        return False


def _watch(folder: Path, socket: Path) -> None:
    ends_s = time.monotonic() + COOKS_WITHIN_S
    while not all((folder / name / "done").exists() for name, _, _ in NODES):
        if time.monotonic() > ends_s:
            raise TimeoutError("the cooks did not end")
        time.sleep(15)
        for row in sorted(_asked(socket, "now"), key=lambda row: str(row["name"])):
            stages = sorted({piece["stage"] for piece in row["document"]["pieces"]})
            alarms = sorted({alert(one["kind"]) for one in row["document"]["alerts"]})
            waits = f"; stands: {', '.join(alarms)}" if alarms else ""
            print(f"  {row['name']:11} {', '.join(stages) or 'no cook'}{waits}", flush=True)
    exceptions = _asked(socket, "exceptions")
    print(f"  {len(exceptions)} alarms and prompts were raised at the three; compared with what"
          " each node has on its own disk:")  # fmt: skip


def _faults(folder: Path) -> list[list[str]]:
    """Return by node what the hub's record lacks of it."""
    database = SqliteDatabase(folder / NODES[0][0] / "hub.db")
    try:
        uids: dict[str, str] = dict(database.ask("SELECT name, uid FROM node"))
        return [
            differences(of_record(folder / name / "pitlogger.db"), of_hub(database, uids[name]),
                        all_of_it=True)
            for name, _, _ in NODES
        ]  # fmt: skip
    finally:
        database.close()


def _told(folder: Path) -> bool:
    database = SqliteDatabase(folder / NODES[0][0] / "hub.db")
    faults = _faults(folder)
    for (name, _, _), wrong in zip(NODES, faults, strict=True):
        journal, spans = of_record(folder / name / "pitlogger.db")
        ((uid,),) = database.ask("SELECT uid FROM node WHERE name = ?", (name,))
        found_journal, found_spans = of_hub(database, uid)
        readings = sum(row[1] for row in spans.values())
        print(f"  {name:11} sent {len(journal)} entries, {len(spans)} spans of {readings} readings;"
              f" found {len(found_journal)} and {len(found_spans)}, none twice;"
              f" {'; '.join(wrong) or 'equal byte for byte'}")  # fmt: skip
    database.close()
    return not any(faults)


def many_pits(folder: Path, count: int, keep_s: float) -> bool:
    """Let simulated pits send a cook each to a hub by itself; return whether all was found."""
    print(f"\nA hub by itself on PostgreSQL and Mosquitto. {count} simulated pits send it"
          f" {HOURS:.0f} hours of a cook each, all at once.")  # fmt: skip
    server = Postgres(folder / "pg")
    server.start()
    server.run("createdb", "fleet")
    hub = CentralHub(folder / "hub", server.address("fleet"))
    let_in(hub.folder)
    try:
        hub.start()
        token = hub.ask("member", "add", "Ada", "--role", "owner")["token"]
        print(f"  the firm's page: https://127.0.0.1:{hub.page_port}, key {token}")
        good = asyncio.run(_sent(hub, count))
        print(f"  the page goes on for {keep_s:.0f} s")
        time.sleep(keep_s)
    finally:
        hub.stop()
        server.stop()
    return good


async def _sent(hub: CentralHub, count: int) -> bool:
    pits = make_pits(count, 20)
    sink = open_sink(hub.database)
    enrol(sink, FIRM, pits)
    bundles = simulated_cook(HOURS)
    senders = Senders("127.0.0.1", hub.broker_port, hub.folder, doubling=DOUBLED, seed=20)
    began_s = time.monotonic()
    for pit in pits:
        for number, bundle in enumerate(bundles, 1):
            senders.put(pit.uid, pit.first + number, pit.tells(bundle, number))
    print(f"  {senders.waiting} bundles signed in {time.monotonic() - began_s:.0f} s", flush=True)
    began_s = time.monotonic()
    sending = asyncio.create_task(senders.run(began_s + COOKS_WITHIN_S))
    killed = asyncio.create_task(_kill_some(hub, senders))
    all_confirmed = await sending
    took_s = time.monotonic() - began_s
    killed.cancel()
    told = senders.counted
    entries = sum(len(bundle.entries) for bundle in bundles) * count
    spans = sum(len(bundle.spans) for bundle in bundles) * count
    readings = sum(span.readings for bundle in bundles for span in bundle.spans) * count
    ((found_entries,),) = sink.database.ask("SELECT count(*) FROM journal")
    (((found_spans, found_readings)),) = sink.database.ask(
        "SELECT count(*), coalesce(sum(readings), 0) FROM span"
    )
    ((conflicts,),) = sink.database.ask("SELECT count(*) FROM conflict")
    sink.database.close()
    print(f"  in {took_s:.0f} s: {told.sent} bundles sent, {told.doubled} twice on purpose,"
          f" {told.resent} again for want of a receipt; {told.confirmed} confirmed,"
          f" {len(told.refused)} refused")  # fmt: skip
    print(f"  entries {entries} sent, {found_entries} found; spans {spans} sent,"
          f" {found_spans} found; readings {readings} sent, {int(found_readings)} found;"
          f" {conflicts} contradictions")  # fmt: skip
    return (
        all_confirmed and not told.refused and not conflicts and entries == found_entries
        and (spans, readings) == (found_spans, int(found_readings))
    )  # fmt: skip


async def _kill_some(hub: CentralHub, senders: Senders) -> None:
    total = senders.waiting
    for share, what in ((0.75, "an ingester"), (0.5, "the broker"), (0.25, "an ingester")):
        while senders.waiting > share * total:  # noqa: ASYNC110
            await asyncio.sleep(0.1)
        print(f"  {what} is killed (kill -9) and begun again", flush=True)
        if what == "the broker":
            hub.broker.kill()
            await asyncio.to_thread(hub.start_broker)
        else:
            hub.at_work[0].kill()
            hub.at_work[0].start()


def main(arguments: Sequence[str] | None = None) -> None:
    """Run the demo."""
    parser = argparse.ArgumentParser(prog="python -m tools.fleet.demo", description=__doc__)
    parser.add_argument("--pits", type=int, default=300)
    parser.add_argument(
        "--speed", type=float, default=900.0, help="simulated seconds in a real one"
    )
    parser.add_argument("--keep", type=float, default=20.0, help="seconds that the page stays up")
    given = parser.parse_args(arguments)
    with stand_folder() as folder:
        good = three_nodes(folder, given.speed)
        try:
            good &= many_pits(folder, given.pits, given.keep)
        except MissingProgramError as fault:
            print(f"  left out: {fault}")
    print("found is what was sent" if good else "NOT all that was sent was found")
    sys.exit(not good)


if __name__ == "__main__":
    main()
