"""Coverage-guided fuzzing of what strangers may send: an answer in words, never a fault of ours.

    python tests/fuzz/inputs.py 100000             inputs a way, all ways
    python tests/fuzz/inputs.py 100000 http mqtt   these

``http`` feeds raw bytes to the page's own protocol, ``api`` well-formed requests to each
operation of the API, ``form`` the forms of the page, ``mqtt`` what a broker may deliver, ``files``
what a person may give to a command. Each way runs in a process of its own, since the fuzzer ends
its process. What breaks the rule is written beside the working folder as ``crash-...``.
"""

from __future__ import annotations

import asyncio
import json
import logging
import re
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import atheris
import httpx

INSTRUMENTED = ["pitlogger.web", "pitlogger.notify.mqtt", "pitlogger.formats"]
with atheris.instrument_imports(include=INSTRUMENTED):
    from pitlogger.config import parse_config
    from pitlogger.errors import PitloggerError
    from pitlogger.formats.capture import parse_capture
    from pitlogger.formats.cook_file import parse_cook
    from pitlogger.notify.mqtt.commands import Arrived, key_of, read
    from pitlogger.notify.mqtt.discovery import components_of

LONGEST = 2000
NOW_MS = 1_790_000_000_000
TURNS = 400  # of the loop until a request has its answer
_LEFT_OUT = re.compile(r"/stream$|/remove$")
_FORM = re.compile(r'"(/do/[a-z-]+)"')
WORDS = (
    "brisket-1", "brisket-1/core", "pit", "smoking", "served", "trimmed", "12 lb 3 oz", "5.2 kg",
    "203F", "-40 C", "2026-09-21T14:13:00Z", "9" * 30, "1e999", "", "\x00", "\u2028", "\U0001f525",
    "a" * 300, "../../etc", "AB", "k-1", "acknowledge", "channel-stale/pit", "1", "-1", "null",
)  # fmt: skip
Way = Callable[[bytes], None]


class _Line(asyncio.Transport):
    """A connection that keeps what is answered."""

    def __init__(self) -> None:
        super().__init__()
        self.said = bytearray()
        self.ended = False

    def write(self, data: Any) -> None:
        self.said += data

    def close(self) -> None:
        self.ended = True

    abort = close

    def is_closing(self) -> bool:
        return self.ended

    def get_extra_info(self, name: str, default: Any = None) -> Any:
        return ("192.0.2.9", 4000) if name == "peername" else default

    def pause_reading(self) -> None:
        """Nothing to pause."""

    resume_reading = pause_reading


class _Door:
    def came(self, guest: object, address: object) -> None:
        """Let in."""

    def went(self, guest: object) -> None:
        """Let out."""


class Web:
    """A node in this process, asked through its own applications."""

    def __init__(self, folder: Path) -> None:
        with atheris.instrument_imports(include=INSTRUMENTED):
            import uvicorn

            from tests.web.conftest import make_node
        self.loop = asyncio.new_event_loop()
        asyncio.set_event_loop(self.loop)
        opened = make_node(folder)
        self.node = self.loop.run_until_complete(opened.__aenter__())
        self.loop.run_until_complete(self.node.begin())
        self.app = self.node.local._transport.app  # type: ignore[attr-defined]
        described = self.loop.run_until_complete(self.node.local.get("/api/v1/openapi.json")).json()
        self.operations = _operations(described)
        pages = (Path(__file__).parents[2] / "pitlogger/web").rglob("*.py")
        self.forms = sorted({hit for page in pages for hit in _FORM.findall(page.read_text())})
        config = uvicorn.Config(self.app, http="h11", ws="none", lifespan="off", log_config=None,
                                access_log=False, h11_max_incomplete_event_size=16384)  # fmt: skip
        config.load()
        self._uvicorn = config

    def raw(self, data: bytes) -> None:
        """Send bytes over one connection, in two pieces."""
        self.loop.run_until_complete(self._raw(data))

    async def _raw(self, data: bytes) -> None:
        from uvicorn.server import ServerState

        from pitlogger.web.access.bounded import BoundedProtocol
        from pitlogger.web.access.door import LOCAL

        line, state = _Line(), ServerState()
        made = BoundedProtocol(self._uvicorn, state, {}, door=_Door(), limits=LOCAL)  # type: ignore[arg-type]
        made.connection_made(line)
        half = len(data) // 2
        for piece in (data[:half], data[half:]):
            if piece and not line.ended:
                made.data_received(piece)
            for _ in range(20):
                await asyncio.sleep(0)
        for _ in range(TURNS):
            if not state.tasks:
                break
            await asyncio.sleep(0.001)
        made.connection_lost(None)
        answers = re.findall(rb"HTTP/1\.1 (\d+)", bytes(line.said))
        assert all(not answer.startswith(b"5") for answer in answers), line.said[:300]

    def asked(self, data: bytes) -> None:
        """Send a request to an operation of the API that the bytes choose and fill."""
        chosen = atheris.FuzzedDataProvider(data)
        method, path, keys = self.operations[chosen.ConsumeIntInRange(0, len(self.operations) - 1)]
        path = re.sub(r"\{\w+\}", lambda _: _quoted(_text(chosen)), path)
        request: dict[str, Any] = {}
        if method == "GET":
            request["params"] = {key: _text(chosen) for key in keys if chosen.ConsumeBool()}
        elif chosen.ConsumeIntInRange(0, 9):
            body = {key: _value(chosen, 2) for key in keys if chosen.ConsumeBool()}
            request["content"] = json.dumps(body).encode()
        else:
            request["content"] = chosen.ConsumeBytes(LONGEST)
        headers = {"Content-Type": "application/json"}
        self._status(method, path, headers=headers, **request)

    def filled(self, data: bytes) -> None:
        """Send a form of the page that the bytes choose and fill."""
        chosen = atheris.FuzzedDataProvider(data)
        path = self.forms[chosen.ConsumeIntInRange(0, len(self.forms) - 1)]
        names = (
            "piece", "mass", "at", "by", "text", "key", "stage", "cut", "value", "kind", "name",
            "id", "entry", "why", "confirm", "alert", "device", "channel", "site",
        )  # fmt: skip
        fields = {name: _text(chosen) for name in names if chosen.ConsumeBool()}
        fields[chosen.ConsumeUnicodeNoSurrogates(12)] = _text(chosen)
        self._status("POST", path, data=fields, headers={"Accept": "text/json"})

    def _status(self, method: str, path: str, **request: Any) -> None:
        try:
            asked = self.node.local.request(method, path, **request)
            answer = self.loop.run_until_complete(asked)
        except (httpx.InvalidURL, httpx.LocalProtocolError, UnicodeError):
            return  # the client does not send it
        assert answer.status_code < 500, (method, path, request, answer.text[:300])


def _operations(described: dict[str, Any]) -> list[tuple[str, str, list[str]]]:
    """Return method, path and the names of query or body, of each operation."""
    models = described.get("components", {}).get("schemas", {})
    found = []
    for path, methods in described["paths"].items():
        for method, about in methods.items():
            if _LEFT_OUT.search(path):
                continue
            keys = [each["name"] for each in about.get("parameters", []) if each["in"] == "query"]
            body = about.get("requestBody", {}).get("content", {}).get("application/json", {})
            name = str(body.get("schema", {}).get("$ref", "")).rpartition("/")[2]
            keys += [*models.get(name, {}).get("properties", {})]
            found.append((method.upper(), path, keys or ["piece", "text", "key"]))
    return found


def _quoted(text: str) -> str:
    return httpx.QueryParams({"x": text}).__str__()[2:] or "x"


def _text(chosen: atheris.FuzzedDataProvider) -> str:
    if chosen.ConsumeBool():
        return str(chosen.PickValueInList(list(WORDS)))
    return str(chosen.ConsumeUnicodeNoSurrogates(40))


def _value(chosen: atheris.FuzzedDataProvider, depth: int) -> Any:
    kind = chosen.ConsumeIntInRange(0, 8 if depth else 6)
    if kind <= 2:
        return _text(chosen)
    if kind == 3:
        return chosen.ConsumeInt(8)
    if kind == 4:
        return chosen.ConsumeFloat()
    if kind <= 6:
        return None if kind == 5 else chosen.ConsumeBool()
    if kind == 7:
        return [_value(chosen, depth - 1) for _ in range(chosen.ConsumeIntInRange(0, 3))]
    names = ("id", "cut", "piece", "kind", "at", *WORDS[:3])
    return {name: _value(chosen, depth - 1) for name in names if chosen.ConsumeBool()}


def mqtt(data: bytes) -> None:
    """Take a message as a command and as a description a broker kept."""
    key_of(data).encode()
    assert all(isinstance(kind, str) for kind in components_of(data).values())
    try:
        assert read(Arrived(data, retained=False, expiry_s=30), NOW_MS, 0).key.startswith("mqtt:")
    except PitloggerError as refusal:
        str(refusal).encode()


def files(data: bytes) -> None:
    """Take bytes as a configuration, a cook file and a line of a capture."""
    text = data.decode("utf-8", "replace")
    readers: list[Callable[[], object]] = [
        lambda: parse_config(text), lambda: parse_cook(text), lambda: parse_capture([data]),
    ]  # fmt: skip
    for reads in readers:
        try:
            reads()
        except PitloggerError as refusal:
            str(refusal)


def way_of(name: str, folder: Path) -> Way:
    """Return what takes the bytes of a way."""
    if name in ("mqtt", "files"):
        return {"mqtt": mqtt, "files": files}[name]
    web = Web(folder)
    return {"http": web.raw, "api": web.asked, "form": web.filled}[name]


SEEDS = {
    "http": b"POST /api/v1/notes HTTP/1.1\r\nHost: localhost\r\nContent-Type: application/json\r\n"
            b'Content-Length: 15\r\n\r\n{"text":"soft"}',
    "mqtt": b'{"key":"k1","do":"stage","piece":"brisket-1","stage":"smoking","at":"2026-09-21T14:13:00Z"}',  # noqa: E501
    "files": b'[cook]\nname = "x"\n[[piece]]\nid = "a"\ncut = "other"\nmass = "5 kg"\n',
}  # fmt: skip
NAMES = ("http", "api", "form", "mqtt", "files")


def fuzz(name: str, count: int, folder: Path) -> None:
    """Feed ``count`` inputs to one way; does not return."""
    logging.disable()
    corpus = folder / "corpus"
    corpus.mkdir()
    (corpus / "seed").write_bytes(SEEDS.get(name, bytes(range(200))))
    takes = way_of(name, folder)
    arguments = [sys.argv[0], f"-runs={count}", f"-max_len={LONGEST}", "-timeout=20",
                 "-verbosity=0", str(corpus)]  # fmt: skip
    atheris.Setup(arguments, takes)
    atheris.Fuzz()


def main() -> int:
    """Run each way in turn; return 1 if one broke the rule."""
    if "--one" in sys.argv:
        with tempfile.TemporaryDirectory() as folder:
            fuzz(sys.argv[2], int(sys.argv[3]), Path(folder))
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 10_000
    failed = 0
    for name in sys.argv[2:] or NAMES:
        began_s = time.monotonic()
        command = [sys.executable, "-m", "tests.fuzz.inputs", "--one", name, str(count)]
        done = subprocess.run(command, check=False, capture_output=True, text=True)
        verdict = "kept the rule" if done.returncode == 0 else "BROKE THE RULE"
        print(f"{name}: {count} inputs, {verdict}, {time.monotonic() - began_s:.0f} s", flush=True)
        if done.returncode:
            print(done.stderr[-3000:])
            failed = 1
    return failed


if __name__ == "__main__":
    sys.exit(main())
