"""SenML lines of a simulated cook: readings, and decisions in their plainest form."""

from __future__ import annotations

import json
from collections.abc import Iterable
from typing import Any

from pitlogger.formats.journal_json import dump_body
from pitlogger.model.journal import Body, PieceSplit, StageSet, Weighed
from pitlogger.model.quantities import Quantity
from pitlogger.model.readings import SENML_UNIT, Reading


def readings_line(readings: Iterable[tuple[Reading, Quantity]]) -> str:
    """Return some readings as one pack."""
    return json.dumps([_reading(*given) for given in readings], separators=(",", ":"))


def _reading(reading: Reading, quantity: Quantity) -> dict[str, Any]:
    unit, milli = SENML_UNIT[quantity]
    t_s = reading.t_ms / 1000
    if reading.value is None:
        return {"n": reading.channel, "vs": f"!{reading.quality.value}", "t": t_s}
    return {"n": reading.channel, "u": unit, "v": reading.value / milli, "t": t_s}


def decision_line(t_ms: int, body: Body, by: str, origin: tuple[str, int] | None = None) -> str:
    """Return a decision as one pack: in the plain form where that loses nothing."""
    record = _plain(t_ms, body) if not by else None
    if record is None:
        document: dict[str, Any] = {"by": by} if by else {}
        if origin is not None:
            document |= {"run": origin[0], "seq": origin[1]}
        document |= dump_body(body)
        record = {"n": "journal", "vs": json.dumps(document, ensure_ascii=False)}
    record["t"] = t_ms / 1000
    return json.dumps([record], separators=(",", ":"), ensure_ascii=False)


def _plain(t_ms: int, body: Body) -> dict[str, Any] | None:
    match body:
        case StageSet(at_ms=at_ms, wrap=None) if at_ms == t_ms:
            return {"n": f"{body.piece}/stage", "vs": body.stage.value}
        case Weighed(tare_mg=0, at_ms=at_ms, source="typed", channel=None) if at_ms == t_ms:
            name = f"{body.piece}/checkpoint/{body.checkpoint}"
            return {"n": name, "u": "kg", "v": body.gross_mg / 1_000_000}
        case PieceSplit():
            children = ",".join(child.id for child in body.children)
            return {"n": f"{body.piece}/split", "vs": children}
        case _:
            return None
