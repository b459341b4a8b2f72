"""What if: how likely a piece is done by when, as things are and if something were done now."""

from __future__ import annotations

import asyncio
import re
from typing import Any

from pitlogger.engine.forecasts.summary import Outlook, outlook, questions
from pitlogger.forecast.change import MOVED
from pitlogger.views import words
from pitlogger.views.language import tr
from pitlogger.views.node import Node
from pitlogger.views.sentences import told
from pitlogger.views.shown import Shown

_HOUR_S = 3600.0
_MOST_TICKS = 5
MOST_OTHERS = 3  # of the curves, those that change most: more cannot be told apart
_POINTS = 60  # of a curve, over its whole time axis
_NOW_C, _RATE_C = re.compile(r"now (\d+) C\b"), re.compile(r"(\d+\.?\d*) C\b")
_STEP_C = re.compile(r"(\d+) C\b")  # of the pit, as the forecast words it


async def ahead_screen(daemon: Node, shown: Shown, piece: str) -> dict[str, Any]:
    """Return what is foreseen of a piece, and what would change it."""
    held = daemon.engine.book.pieces.get(piece)
    if held is None or not held.is_open:
        return {"sentence": tr("{piece} is not followed now.", piece=piece), "piece": "",
                "targets": [], "changed": ""}  # fmt: skip
    asked = questions(daemon.engine, daemon.clock.engine_ms(), piece)
    found = await asyncio.to_thread(outlook, asked)
    targets = _targets(found, piece, shown)
    return {"sentence": words.capital(_sentence(found, piece, shown)), "piece": piece,
            "targets": targets, "changed": _changed(daemon, piece, shown)}  # fmt: skip


def _sentence(found: Outlook, piece: str, shown: Shown) -> str:
    """Return when the next thing is due, its likely span and what to plan on."""
    asked = [(request, answer) for request, answer, _ in found.targets if request.piece == piece]
    request, answer = asked[0] if asked else (None, None)
    if request is None or answer is None or answer.p50_s is None:
        return tr("Nothing can be foreseen of {piece} yet.", piece=piece)
    early, middle, late = (
        "" if after_s is None else shown.clock(shown.now_ms + round(after_s * 1000))
        for after_s in (answer.p10_s, answer.p50_s, answer.p90_s)
    )
    text = tr("{act} {piece} about {at}, likely between {early} and {late}",
              act=tr(words.TARGETS[request.target]), piece=piece, at=middle, early=early,
              late=late)  # fmt: skip
    if request.target == "wrap":
        return f"{text}."
    return tr("{text}; for serving plan on {late}.", text=text, late=late)


def _changed(daemon: Node, piece: str, shown: Shown) -> str:
    """Return how the forecast of the pull moved when it was last made, and why."""
    made = daemon.engine.state.foreseen.get(f"{piece}/pull")
    if made is None or not made.reason.startswith(MOVED):
        return ""
    return words.capital(told(f"{_degrees(made.reason, shown)}."))


def _targets(found: Outlook, piece: str, shown: Shown) -> list[dict[str, Any]]:
    made: list[dict[str, Any]] = []
    for request, answer, others in found.targets:
        if request.piece != piece:
            continue
        spans = [(tr("as things are"), "", answer)]
        spans += [(told(_in_unit(one.action, shown)), _change(one.text, shown), one.answer)
                  for one in others]  # fmt: skip
        last_s = max((1.15 * (s.p90_s or s.p50_s or 0.0) for _, _, s in spans), default=0.0)
        if answer.p50_s is None or last_s <= 0:
            made.append({"act": tr(words.TARGETS[request.target]), "rows": [], "ticks": [],
                         "why": answer.reason})  # fmt: skip
            continue
        rows = [_row(name, change, span, last_s, shown) for name, change, span in spans]
        far = sorted(range(len(others)), key=lambda at: -abs(others[at].shift_s or 0))
        for way, at in enumerate([0, *sorted(at + 1 for at in far[:MOST_OTHERS])]):
            rows[at]["way"] = way
        made.append({
            "act": tr(words.TARGETS[request.target]),
            "rows": rows,
            "ticks": _ticks(last_s, shown),
            "why": "",
        })  # fmt: skip
    return made


def _row(name: str, change: str, span: Any, last_s: float, shown: Shown) -> dict[str, Any]:
    def clock(after_s: float | None) -> str:
        return "" if after_s is None else shown.clock(shown.now_ms + round(after_s * 1000))

    from pitlogger.forecast.serve import chance_of

    steps = [last_s * step / _POINTS for step in range(1, _POINTS + 1)]
    late = [(100 * at_s / last_s, 100 * (1 - chance_of(span, at_s))) for at_s in steps]
    points = [f"{x:.1f},{y:.1f}" for x, y in late]
    return {
        "name": name, "change": change, "clock": clock(span.p50_s),
        "points": " ".join(["0,100", *points]) if span.p50_s else "",
        "span": f"{clock(span.p10_s)}\N{EN DASH}{clock(span.p90_s)}" if span.p90_s else "",
    }  # fmt: skip


def _ticks(last_s: float, shown: Shown) -> list[dict[str, Any]]:
    """Return whole hours of the day on the axis, at most five."""
    step_h = next(h for h in (1, 2, 3, 4, 6, 12, 24, 48) if last_s / _HOUR_S / h <= _MOST_TICKS)
    now = shown.moment(shown.now_ms)
    into_s = (now.hour % step_h) * _HOUR_S + now.minute * 60 + now.second
    at_s, made = step_h * _HOUR_S - into_s, []
    while at_s < last_s:
        at = shown.moment(shown.now_ms + round(at_s * 1000))
        made.append({"x": round(100 * at_s / last_s, 1), "at": f"{at:%H:%M}"})
        at_s += step_h * _HOUR_S
    return made


def _change(text: str, shown: Shown) -> str:
    """Return what follows the action in a sentence of the forecast."""
    return told(_in_unit(text, shown)).partition(": ")[2]


def _degrees(text: str, shown: Shown) -> str:
    """Return why a forecast moved, with its degrees in the reader's unit."""
    unit = shown.units.temperature
    text = _NOW_C.sub(lambda found: f"now {shown.temperature(1000 * int(found[1]))}", text)
    return _RATE_C.sub(lambda found: f"{shown.step(1000 * float(found[1])):.0f} {unit}", text)


def _in_unit(text: str, shown: Shown) -> str:
    """Return a sentence with its steps of the pit in the reader's unit."""
    unit = shown.units.temperature
    return _STEP_C.sub(lambda found: f"{shown.step(int(found[1]) * 1000):.0f} {unit}", text)
