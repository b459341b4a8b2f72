"""The desk: where the people of a play meet pitlogger, through its API alone."""

from __future__ import annotations

import asyncio
import json
from collections.abc import Callable
from dataclasses import asdict
from http import HTTPStatus
from pathlib import Path
from typing import Any

import httpx

from pitlogger.clock import rfc3339
from pitlogger.errors import DaemonUnreachableError, RefusedError
from pitlogger.model import journal
from pitlogger.model.alerts import AlertState, alert_class
from pitlogger.model.cooks import Piece
from pitlogger_simulators.people.hand import Hand, Saying
from pitlogger_simulators.people.person import SeenAlert

MOST_ASKED = 5  # questions before a cook is finished
_WAITING = {
    AlertState.UNACKNOWLEDGED.value,
    AlertState.RETURNED_UNACKNOWLEDGED.value,
    AlertState.LATCHED_UNACKNOWLEDGED.value,
}
_AGO_MS = 300_000  # told for an earlier time on purpose, and not just a little late
Happening = Callable[[str, dict[str, Any]], None]


class Desk:
    """A client of the daemon's socket, as an async context manager.

    Args:
        socket: Path of the daemon's socket.
        on_happening: Told of each journal entry and alert as the stream brings it.
    """

    def __init__(self, socket: Path, on_happening: Happening) -> None:
        transport = httpx.AsyncHTTPTransport(uds=str(socket))
        self._client = httpx.AsyncClient(
            transport=transport, base_url="http://pitlogger/api/v1", timeout=30.0
        )
        self._on_happening = on_happening
        self._steady_mg: dict[str, int | None] = {}
        self._alerts: dict[str, SeenAlert] = {}
        self._queue: asyncio.Queue[tuple[Hand, Saying]] = asyncio.Queue()
        self._tasks: list[asyncio.Task[None]] = []
        self.waiting = 0  # decisions on their way
        self.refused: list[str] = []

    async def __aenter__(self) -> Desk:
        listening = asyncio.Event()
        self._tasks = [
            asyncio.create_task(self._listen(listening), name="desk-listen"),
            asyncio.create_task(self._deliver(), name="desk-deliver"),
        ]
        await listening.wait()
        return self

    async def __aexit__(self, *exc: object) -> None:
        for task in self._tasks:
            task.cancel()
        await asyncio.gather(*self._tasks, return_exceptions=True)
        await self._client.aclose()

    # -- what is seen ---------------------------------------------------------------------

    def steady_mg(self, channel: str) -> int | None:
        """Return the steady mass of a scale, ``None`` while it moves."""
        return self._steady_mg.get(channel)

    def shown(self) -> list[SeenAlert]:
        """Return the alerts that wait for somebody."""
        return list(self._alerts.values())

    @property
    def has_prompt(self) -> bool:
        """Whether a prompt waits for its person."""
        return any(alert_class(alert.kind) == "prompt" for alert in self._alerts.values())

    async def get(self, path: str) -> Any:
        """Return a document of the API."""
        return _checked(await self._client.get(path)).json()

    async def export(self) -> str:
        """Return the cook as SenML lines."""
        return _checked(await self._client.get("/export")).text

    async def start(self, cook_text: str, by: str) -> None:
        """Start the cook that a cook file's text describes."""
        _checked(await self._client.post("/cooks", json={"toml": cook_text, "by": by}))

    async def finish(self, by: str) -> None:
        """Finish the cook; what is asked about its food is answered as it stands."""
        body = {"by": by}
        answer = await self._client.post("/cooks/finish", json=body)
        for _ in range(MOST_ASKED):
            if answer.status_code != HTTPStatus.CONFLICT or "confirm" not in answer.json():
                break
            body["confirm"] = answer.json()["confirm"]
            answer = await self._client.post("/cooks/finish", json=body)
        _checked(answer)

    # -- what is told ---------------------------------------------------------------------

    def hand_in(self, hand: Hand) -> None:
        """Take what somebody says; it is delivered in order."""
        said, hand.outbox = hand.outbox, []
        for saying in said:
            self.waiting += 1
            self._queue.put_nowait((hand, saying))

    async def _deliver(self) -> None:
        while True:
            hand, saying = await self._queue.get()
            path, body = request_of(saying.body, hand.now_ms)
            asked = {**body, "by": saying.by, "key": saying.key}
            answer = await self._client.post(path, json=asked)
            document = answer.json()
            if answer.is_success:
                hand.answers[saying.key] = (document["run"], document["seq"])
            else:
                hand.answers[saying.key] = None
                self.refused.append(str(document.get("error", document)))
            self.waiting -= 1

    async def _listen(self, listening: asyncio.Event) -> None:
        async with self._client.stream("GET", "/stream", timeout=None) as answer:
            if answer.status_code != httpx.codes.OK:
                raise DaemonUnreachableError(f"the stream answers {answer.status_code}")
            listening.set()
            kind = ""
            async for line in answer.aiter_lines():
                word, _, rest = line.partition(": ")
                if word == "event":
                    kind = rest
                elif word == "data":
                    self._hear(kind, json.loads(rest))

    def _hear(self, kind: str, data: dict[str, Any]) -> None:
        if kind == "steady":
            mass_g = data["mass_g"]
            self._steady_mg[data["channel"]] = None if mass_g is None else round(mass_g * 1000)
        elif kind == "alert":
            if data["now"] in _WAITING:
                self._alerts[data["alert"]] = SeenAlert(
                    data["alert"], data["alert_kind"], bool(data.get("wakes"))
                )
            else:
                self._alerts.pop(data["alert"], None)
        if kind in ("alert", "entry"):
            self._on_happening(kind, data)


def _checked(answer: httpx.Response) -> httpx.Response:
    """Return an answer that is a good one.

    Raises:
        RefusedError: With what the daemon said.
    """
    if answer.is_success:
        return answer
    try:
        message = answer.json()["error"]
    except (ValueError, KeyError, TypeError):
        message = answer.text
    raise RefusedError(f"{answer.request.url.path}: {message}")


def request_of(body: journal.Body, now_ms: int) -> tuple[str, dict[str, Any]]:
    """Return path and body of the request that tells a decision.

    A time is sent along only where it lies well in the past: the daemon knows the present.
    """
    match body:
        case journal.StageSet():
            asked: dict[str, Any] = {"piece": body.piece, "stage": body.stage.value}
            if body.wrap is not None:
                asked["wrap"] = body.wrap
            return "/stages", asked | _at(body.at_ms, now_ms)
        case journal.Weighed():
            return "/weighings", _weighing(body) | _at(body.at_ms, now_ms)
        case journal.Tared():
            mass = f"{body.tare_mg} mg"
            return "/tares", _given(channel=body.channel, mass=mass, container=body.container)
        case journal.SpotRead():
            value = f"{body.value_mc / 1000:.3f} C"
            return "/temps", _given(piece=body.piece, value=value, probe=body.probe)
        case journal.Noted():
            return "/notes", _given(text=body.text, piece=body.piece)
        case journal.ChannelAssigned(channel=channel):
            placed = _given(id=channel.id, site=channel.site.value, piece=channel.piece)
            return "/assignments", {"channel": placed, "lead": body.lead}
        case journal.ProbeMoved():
            return "/moves", {"channel": body.channel}
        case journal.PieceSplit():
            into = [_child(child) for child in body.children]
            return f"/pieces/{body.piece}/split", {"into": into}
        case journal.PiecesMerged():
            return "/merge", {"pieces": list(body.pieces), "into": _child(body.child)}
        case journal.Corrected(body=journal.Weighed() as right):
            mass, tare = f"{right.gross_mg} mg", f"{right.tare_mg} mg"
            asked = {"run": body.of_run, "seq": body.of_seq, "mass": mass, "tare": tare}
            return "/corrections", asked | {"reason": body.reason}
        case journal.CorrectiveTaken():
            asked = asdict(body)
            at_once = ("kind", "breach_ms")  # which breach it answers is found by its alarm
            return "/log/corrective", {one: asked[one] for one in asked if one not in at_once}
        case journal.AlertActed():
            return f"/alerts/{body.alert}/{body.action}", {"reason": body.reason}
        case _:
            raise ValueError(f"nobody says '{body.kind}' at the desk")


def _weighing(body: journal.Weighed) -> dict[str, Any]:
    asked = _given(
        piece=body.piece, checkpoint=body.checkpoint, channel=body.channel,
        container=body.container,
    )  # fmt: skip
    if body.source == "typed":
        asked["mass"] = f"{body.gross_mg} mg"
    if body.tare_mg:
        asked["tare"] = f"{body.tare_mg} mg"
    return asked


def _child(piece: Piece) -> dict[str, Any]:
    return {"id": piece.id, "cut": piece.cut}


def _at(at_ms: int, now_ms: int) -> dict[str, Any]:
    return {"at": rfc3339(at_ms)} if now_ms - at_ms > _AGO_MS else {}


def _given(**values: Any) -> dict[str, Any]:
    return {key: value for key, value in values.items() if value is not None}
