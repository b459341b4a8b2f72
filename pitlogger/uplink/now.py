"""How things stand at a node, in a few hundred bytes: for the firm's page."""

from __future__ import annotations

import json

from pitlogger.engine.step import Engine
from pitlogger.formats.bundle import NowPart
from pitlogger.model.alerts import ACTIVE, alert_class
from pitlogger.model.readings import Site


def now_of(engine: Engine, cook: str | None, t_ms: int) -> NowPart:
    """Return pieces, pits and standing alarms of an engine."""
    book, channels = engine.book, engine.state.channels
    standing = [watch for watch in engine.state.watches.values() if watch.state in ACTIVE]
    alarms = [watch for watch in standing if alert_class(watch.kind) == "alarm"]
    pieces = []
    for name, held in book.pieces.items():
        if not held.is_open:
            continue
        cores = book.cores(name)
        lead = channels.get(cores[0]) if cores else None
        pieces.append({
            "id": name, "cut": held.piece.cut, "stage": held.stage.value,
            "since_ms": held.stage_since_ms,
            "core_mc": lead.value if lead is not None and lead.valid() else None,
        })  # fmt: skip
    pits = [
        {"id": name, "mc": channels[name].value if channels[name].valid() else None}
        for name, lane in engine.lanes.items()
        if lane.site is Site.PIT and name in channels
    ]
    document = {
        "cook": cook,
        "name": " + ".join(span.cook.name for span in book.open_cooks().values()) or None,
        "pieces": pieces,
        "pits": pits,
        "alerts": [
            {"kind": watch.kind, "subject": watch.piece or watch.channel or "",
             "priority": watch.priority.label, "since_ms": watch.raised_ms,
             "state": watch.state.value}
            for watch in sorted(standing, key=lambda watch: (-watch.priority, watch.raised_ms))
        ][:40],
    }  # fmt: skip
    return NowPart(t_ms, len(alarms), json.dumps(document, separators=(",", ":")))
