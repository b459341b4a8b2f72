"""The node's own topic tree: what stands under which topic. Pure.

    BASE/NODE/status              online, or offline (the will)
    BASE/NODE/cook                the cook, and how many alarms stand
    BASE/NODE/piece/PIECE         a piece and its stage
    BASE/NODE/channel/CHANNEL     the last reading, as a SenML pack (RFC 8428)
    BASE/NODE/alert/KIND/SUBJECT  an alert that is not normal; deleted when it is
    BASE/NODE/light/PRIORITY      off, on or blink: a lamp for high, medium, low
    BASE/NODE/health              whether all is well, every half minute
    BASE/NODE/event/KIND          journal entries as they are made; not retained
    BASE/NODE/notice              what a person is told, grouped and repeated; not retained
    BASE/NODE/command, /answer    commands, where they are allowed; not retained

All but the last four are retained. JSON documents carry ``v``, the number of their schema.
"""

from __future__ import annotations

import json
import re
from typing import Any

from pitlogger.clock import rfc3339
from pitlogger.engine.compiled_channel import Lane
from pitlogger.engine.state import ChannelState
from pitlogger.formats.journal_json import dump_body
from pitlogger.model.book import PieceBook
from pitlogger.model.journal import Entry
from pitlogger.model.quantities import Quantity
from pitlogger.model.readings import SENML_UNIT, Quality
from pitlogger.rules.conditions import Watch
from pitlogger.views.alerts import active, alert_view, lights, standing
from pitlogger.views.node import Node
from pitlogger.views.status import is_running, piece_view

SCHEMA = 1
ONLINE, OFFLINE = "online", "offline"


def level(text: str) -> str:
    """Return a text as part of a topic: without wildcards and what MQTT forbids."""
    return re.sub(r"[+#\x00-\x1f\x7f]", "_", text).strip("/") or "_"


def to_json(document: Any) -> str:
    """Return a document as compact JSON text."""
    return json.dumps(document, ensure_ascii=False, separators=(",", ":"))


class StateTree:
    """The tree of one node."""

    def __init__(self, node: Node) -> None:
        self._node = node
        self.root = f"{node.config.mqtt.base}/{level(node.config.node.name)}"
        self.will = (f"{self.root}/status", OFFLINE)

    def state(self) -> dict[str, str]:
        """Return what is to be retained now, by topic; readings apart."""
        book = self._node.engine.book
        running = is_running(self._node)
        state = {f"{self.root}/status": ONLINE, f"{self.root}/cook": to_json(self._cook())}
        if running:
            for held in book.pieces.values():
                topic = f"{self.root}/piece/{level(held.piece.id)}"
                state[topic] = to_json(self._piece(held))
        for priority, how in lights(self._node).items():
            state[f"{self.root}/light/{priority.label}"] = how
        for watch in standing(self._node):
            state[f"{self.root}/alert/{level(watch.key)}"] = to_json(self._alert(watch))
        return state

    def health(self) -> tuple[str, str]:
        """Return the topic and document of the heartbeat."""
        document = {"v": SCHEMA, "at": self._moment(self._node.clock.engine_ms()),
                    "well": self._node.is_well(), "node": self._node.uid}  # fmt: skip
        return f"{self.root}/health", to_json(document)

    def reading(self, lane: Lane) -> tuple[str, str]:
        """Return the topic and document of the last reading of a channel."""
        topic = f"{self.root}/channel/{level(lane.state.id)}"
        pack = senml_pack(lane.state, lane.quantity, self._node.utc_offset_ms)
        return topic, to_json(pack)

    def event(self, entry: Entry, on_disk: bool = True, cook: str | None = None) -> tuple[str, str]:
        """Return the topic and document of a journal entry; ``id`` is its own alone.

        ``entry`` is the short id by which a person names it, ``key`` that of the request that
        caused it, ``t_ms`` its engine time; the body's own fields follow.
        """
        body = dump_body(entry.body)
        document = {
            "v": SCHEMA,
            "id": f"{entry.run}/{entry.seq}",
            "entry": entry.id,
            "at": self._moment(entry.t_ms),
            "t_ms": entry.t_ms,
            "by": entry.by,
            "key": entry.key,
            "of_cook": cook,
            "on_disk": on_disk,
            **body,
        }
        return f"{self.root}/event/{body['kind']}", to_json(document)

    def _moment(self, t_ms: int) -> str:
        return rfc3339(t_ms + self._node.utc_offset_ms)

    def _cook(self) -> dict[str, Any]:
        book = self._node.engine.book
        cooks = [
            {"id": cook, "name": span.cook.name, "guests": span.cook.guests}
            for cook, span in book.open_cooks().items()
        ]
        return {
            "v": SCHEMA,
            "node": self._node.config.node.name,
            "cook": cooks[-1] if cooks else None,
            "cooks": cooks,
            "pieces": [held.piece.id for held in book.pieces.values() if held.over_ms is None],
            "alarms": len(active(self._node, "alarm")),
        }

    def _piece(self, held: PieceBook) -> dict[str, Any]:
        masses = {each.weighed.checkpoint: each.weighed.net_mg / 1000 for each in held.weighings}
        view = piece_view(self._node, held).document(leave_out={"weighings"})
        return {"v": SCHEMA, **view, "masses_g": masses}

    def _alert(self, watch: Watch) -> dict[str, Any]:
        return {"v": SCHEMA, **alert_view(self._node, watch).document()}


def senml_pack(state: ChannelState, quantity: Quantity, offset_ms: int) -> list[dict[str, Any]]:
    """Return the last reading of a channel as a pack of one record.

    One without a value that may be believed carries its quality: ``"vs": "!open"``.
    """
    t_s = (state.heard_ms + offset_ms) / 1000
    quality = Quality.STALE if state.stale else state.quality
    if quality is not Quality.GOOD or state.value is None or quantity not in SENML_UNIT:
        return [{"n": state.id, "vs": f"!{quality.value}", "t": t_s}]
    unit, milli = SENML_UNIT[quantity]
    return [{"n": state.id, "u": unit, "v": state.value / milli, "t": t_s}]
