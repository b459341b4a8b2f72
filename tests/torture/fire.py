"""Alarms under fire: a thousand connections, dripping bodies, and every way but one is dead.

The node is a real process with its page on. Its ways: one that takes messages, and ones that
hang, refuse, answer after eight seconds, listen nowhere, lie behind an address or a name that
leads nowhere. A probe's plug is pulled again and again: a high alarm without a delay of its
own.
"""

from __future__ import annotations

import json
import random
import resource
import selectors
import socket
import threading
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager, suppress
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

from tests.notify.conftest import free_port
from tests.store.rot import cut as cut_short
from tests.store.rot import make_record, open_again, spoil_one, turned
from tests.torture.node import Node, node, until
from tests.torture.row import Row
from tests.torture.shim import Shim

CONNECTIONS = 1000
LATE_S = 5.0
LOST_S = 30.0
DRIP_S = 0.5
RULES = '[probe-fault]\npriority = "high"\non_delay = "0 s"\noff_delay = "0 s"\n'
ALERT = "probe-fault/brisket-1/core"
_HEAD = (
    b"POST /api/v1/notes HTTP/1.1\r\nHost: localhost\r\nContent-Type: application/json\r\n"
    b"Authorization: Bearer wrong\r\nContent-Length: 60000\r\n\r\n"
)
# What a connection sends first; then a byte now and then.
_OPENINGS = (
    b"", b"\x16\x03\x01", b"GET / HTTP/1.1\r\nHost:", _HEAD,
    _HEAD.replace(b"/api/v1/notes", b"/pair"),
    _HEAD.replace(b"\r\n\r\n", b"\r\nTransfer-Encoding: chunked\r\n\r\n"),
)  # fmt: skip


def p99(values: list[float]) -> float:
    """Return the 99th percentile, of few values the greatest."""
    return sorted(values)[min(len(values) - 1, int(0.99 * len(values)))]


def fire(folder: Path, alarms: int, seed: int) -> Row:
    """Return how alarms fared under fire."""
    delays_s, cried = delays_under_fire(folder, alarms, seed)
    faults = [f"told after {delay:.1f} s" for delay in delays_s if delay > LATE_S]
    if cried != alarms:
        faults.append(f"{cried} messages of {alarms} alarms")
    shown = f"p99 {p99(delays_s):.2f} s, worst {max(delays_s):.2f} s"
    return Row("fire", f"{alarms} high alarms under fire", alarms, faults, shown, seed)


def rot_row(folder: Path, flips: int, cuts: int, seed: int) -> Row:
    """Return what became of records with a bit turned or an end cut off."""
    texts = make_record(folder / "made")
    faults, told = [], 0
    for how, count in ((turned, flips), (cut_short, cuts)):
        for number in range(seed, seed + count):
            spoiled, name = spoil_one(folder / "made", folder, number, how)
            try:
                outcome = open_again(spoiled, texts)
            except Exception as fault:
                faults.append(f"{how.__name__} {name} {number}: does not start: {fault!r}")
                continue
            told += bool(outcome.lost)
            if outcome.is_silent:
                faults.append(f"{how.__name__} {name} {number}: lost {outcome.lost} in silence")
    shown = f"starts every time; {told} with an entry set aside and told, the others whole"
    return Row(
        "rot", f"{flips} bits turned, {cuts} ends cut off", flips + cuts, faults, shown, seed
    )


def delays_under_fire(folder: Path, alarms: int, seed: int = 1) -> tuple[list[float], int]:
    """Return how long each alarm took to the living way, and how many messages it got.

    Raises:
        AssertionError: One never came.
    """
    with under_fire(folder, seed) as (made, heard):
        delays_s = [alarm(made, heard, number) for number in range(1, alarms + 1)]
        return delays_s, sum(kind == "raised" for _, kind in heard)


Heard = list[tuple[float, str]]


@contextmanager
def under_fire(folder: Path, seed: int, shim: Shim | None = None) -> Iterator[tuple[Node, Heard]]:
    """Yield a node that is attacked, and what its living way hears: when, and the kind."""
    heard: Heard = []
    folder.mkdir(parents=True, exist_ok=True)
    rules = folder / "rules.toml"
    rules.write_text(RULES, encoding="utf-8")
    port = free_port()
    with ExitStack() as stack:
        living = stack.enter_context(_server(heard, 0.0, 200))
        slow = stack.enter_context(_server([], 8.0, 200))
        refusing = stack.enter_context(_server([], 0.0, 403))
        hanging = stack.enter_context(_deaf())
        urls = {
            "living": living, "slow": slow, "refusing": refusing, "hanging": hanging,
            "closed": f"http://127.0.0.1:{free_port()}", "blackhole": "http://192.0.2.1",
            "nowhere": "http://nowhere.invalid",
        }  # fmt: skip
        more = f'[policy]\nalerts = "{rules}"\n' + "".join(
            f'[[notify.way]]\nid = "{name}"\nkind = "webhook"\nurl = "{url}/x"\n'
            for name, url in urls.items()
        )
        made = stack.enter_context(node(folder / "node", shim, more))
        text = made.config.read_text(encoding="utf-8")
        web = f'host = "127.0.0.1"\nport = {port}'
        made.config.write_text(text.replace("enabled = false", web), encoding="utf-8")
        made.start()
        made.start_cook()
        until("the probe is read", lambda: len(made.board.sent) > 20, 30)
        stack.enter_context(_flood(port, seed))
        yield made, heard


def alarm(made: Node, heard: Heard, number: int) -> float:
    """Pull the plug, push it in; return how long the alarm took."""

    def raised() -> list[float]:
        return [at_s for at_s, kind in heard if kind == "raised"]

    began_s = time.monotonic()
    made.board.core_is_open = True
    until("the alarm is heard", lambda: len(raised()) >= number, LOST_S)
    made.board.core_is_open = False
    until("it returned", lambda: sum(kind == "returned" for _, kind in heard) >= number, LOST_S)
    return raised()[number - 1] - began_s


@contextmanager
def _server(heard: list[tuple[float, str]], after_s: float, status: int) -> Iterator[str]:
    class Handler(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            document = json.loads(self.rfile.read(int(self.headers["Content-Length"])))
            if ALERT in document["alerts"]:
                heard.append((time.monotonic(), document["kind"]))
            time.sleep(after_s)
            with suppress(OSError):
                self.send_response(status)
                self.send_header("Content-Length", "0")
                self.end_headers()

        def log_message(self, *args: object) -> None:
            """Say nothing."""

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    server.daemon_threads = True
    threading.Thread(target=server.serve_forever, args=(0.05,), daemon=True).start()
    try:
        yield f"http://127.0.0.1:{server.server_address[1]}"
    finally:
        server.shutdown()
        server.socket.close()


@contextmanager
def _deaf() -> Iterator[str]:
    """Listen and never answer."""
    with socket.create_server(("127.0.0.1", 0), backlog=1000) as listening:
        yield f"http://127.0.0.1:{listening.getsockname()[1]}"


@contextmanager
def _flood(port: int, seed: int) -> Iterator[None]:
    """Keep a thousand connections open from fifty addresses, each sending a byte now and then."""
    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    resource.setrlimit(resource.RLIMIT_NOFILE, (min(hard, max(soft, 4096)), hard))
    stop = threading.Event()
    thread = threading.Thread(target=_attack, args=(port, random.Random(seed), stop), daemon=True)
    thread.start()
    try:
        yield
    finally:
        stop.set()
        thread.join(10)


def _attack(port: int, chance: random.Random, stop: threading.Event) -> None:
    with selectors.DefaultSelector() as watched:
        held: dict[socket.socket, bytes] = {}
        drip_s = 0.0
        while not stop.is_set():
            while len(held) < CONNECTIONS and not stop.is_set():
                made = socket.socket()
                made.setblocking(False)
                made.bind((f"127.0.3.{chance.randrange(1, 51)}", 0))
                made.connect_ex(("127.0.0.1", port))
                held[made] = chance.choice(_OPENINGS)
                watched.register(made, selectors.EVENT_READ)
            for key, _ in watched.select(0.1):
                connection = key.fileobj
                assert isinstance(connection, socket.socket)
                with suppress(BlockingIOError):
                    if _ended(connection):
                        watched.unregister(connection)
                        connection.close()
                        del held[connection]
            if time.monotonic() - drip_s >= DRIP_S:
                drip_s = time.monotonic()
                for connection, opening in held.items():
                    with suppress(OSError):
                        connection.send(opening or b"x")
                        held[connection] = b"x"
        for connection in held:
            connection.close()


def _ended(connection: socket.socket) -> bool:
    try:
        return not connection.recv(65536)
    except BlockingIOError:
        raise
    except OSError:
        return True
