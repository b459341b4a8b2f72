"""The Food log: sheets of one cook, corrective action, checks and sign-off.

pitlogger is a record and a reminder: the local code and the certified person decide.
"""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import datetime
from typing import Any

from pitlogger.clock import rfc3339
from pitlogger.model.cooks import BEFORE_FIRE, ON_PIT
from pitlogger.model.folding import fold
from pitlogger.model.journal import CheckMade, CorrectiveTaken, Entry
from pitlogger.safety import record
from pitlogger.safety.judge import NOTES
from pitlogger.safety.record import SHEETS, LogRow, missing
from pitlogger.safety.verdict import in_words
from pitlogger.views import words
from pitlogger.views.language import figure, mark, tr, trn
from pitlogger.views.node import Node
from pitlogger.views.shown import Shown
from pitlogger.web.access.roles import Role, who_asks
from pitlogger.web.judged import JudgedCook, judged
from pitlogger.web.probe_doubts import told_doubts

MOST_CHECKS = 20
MOST_DOUBTS = 10
# A time within a reason, as it stands on paper too: local, with its offset.
_LOCAL = re.compile(r"\d{4}-\d\d-\d\d \d\d:\d\d [+-]\d\d:\d\d")
LACKING = {
    "product": mark("what it is of"), "value": mark("a value"), "limit": mark("a limit"),
    "by": mark("initials"), "corrective": mark("what was done"), "cause": mark("the cause"),
    "control_restored": mark("how control was restored"), "prevention": mark("what prevents it"),
    "disposition": mark("what became of the food"),
}  # fmt: skip
_PLAIN = {"lethality": mark("cooked enough"), "come-up": mark("warming time")}


async def food_screen(daemon: Node, shown: Shown, cook: str | None) -> dict[str, Any]:
    """Return the Food log of a cook, the running or the last one by default."""
    rows = await daemon.ask(lambda reader: reader.cooks())
    chosen = next((row.id for row in rows if row.id == (cook or daemon.cook or "")), None)
    if chosen is None and rows and cook is None:
        chosen = rows[0].id
    running = chosen is not None and chosen == daemon.cook
    common: dict[str, Any] = {
        "notes": [tr(note) for note in NOTES],
        "cooks": [(row.id, row.name, shown.when(shown.of_utc(row.started_utc_ms))) for row in rows],
        "chosen": chosen,
        "running": running,
        "pieces": await _answerable(daemon, chosen) if chosen else [],
        "doubts": _doubts(daemon, shown) if running else [],
        "is_owner": who_asks.get().role is Role.OWNER,
        "dispositions": record.DISPOSITIONS,
        "unit": shown.units.temperature,
        "policy": f"{daemon.safety.title} ({daemon.safety.name}, {daemon.safety.version})",
        "sheets": [], "empty": [], "corrective": [], "checks": [], "signed": [],
        "faults": [], "head": "", "since": [],
    }  # fmt: skip
    if chosen is None:
        return {**common, "sentence": tr("No cook is on record yet.")}
    made = await judged(daemon, chosen, shown.units)
    if running:
        made = replace(made, rows=[_as_yet(row, daemon) for row in made.rows])
    return {
        **common,
        "sentence": _sentence(made),
        **_sheets(made, shown),
        "corrective": [_action(entry, shown) for entry in made.logged if _is_action(entry)],
        "checks": [
            _check(entry.body, entry, shown)
            for entry in made.logged[-MOST_CHECKS:]
            if isinstance(entry.body, CheckMade)
        ],
        "signed": [
            {"by": held.by, "name": held.name, "at": shown.clock(held.at_ms), "entries": held.seq}
            for held in made.signed
        ],
        "since": [
            {"id": one.id, "by": one.by, "at": shown.clock(one.t_ms), "words": words}
            for one, words in made.since
        ],
        "faults": made.faults,
        "head": made.head,
        "entries": made.entries,
    }


async def _answerable(daemon: Node, cook: str) -> list[str]:
    """Return the pieces that corrective action may name."""
    return await daemon.ask(lambda reader: list(fold(reader.entries(cook=cook)).pieces))


def _sheets(made: JudgedCook, shown: Shown) -> dict[str, Any]:
    """Return the sheets that hold anything, one with a limit not met first, and the empty ones."""
    held = {sheet: [row for row in made.rows if row.sheet == sheet] for sheet in SHEETS}
    filled = sorted(
        (sheet for sheet, rows in held.items() if rows),
        key=lambda sheet: all(row.met is not False for row in held[sheet]),
    )
    return {
        "sheets": [
            {"name": tr(SHEETS[sheet]), "rows": [_row(row, shown) for row in held[sheet]]}
            for sheet in filled
        ],
        "empty": [tr(SHEETS[sheet]) for sheet, rows in held.items() if not rows],
    }


def _as_yet(row: LogRow, daemon: Node) -> LogRow:
    """Return a verdict on a piece that still cooks: what it has not reached is not missed."""
    held = daemon.engine.book.pieces.get(row.product.partition(" ")[0].rstrip(","))
    cooks = held is not None and (held.stage in BEFORE_FIRE or held.stage in ON_PIT)
    if row.id is None and row.what == "lethality" and row.met is False and cooks:
        return replace(row, met=None, note=tr("It still cooks: not reached yet."))
    return row


def _doubts(daemon: Node, shown: Shown) -> list[dict[str, str]]:
    """Return what was doubted of probes, the last first, and what was said of it."""
    found = sorted(told_doubts(daemon.engine.book), key=lambda one: -one.body.from_ms)
    return [
        {
            "channel": body.channel,
            "reason": tr(body.reason),
            "since": shown.clock(body.from_ms),
            "until": "" if body.to_ms is None else shown.clock(body.to_ms),
            "at": rfc3339(body.from_ms + daemon.utc_offset_ms),
            "word": tr(word) if word else "",
        }
        for body, word in found[:MOST_DOUBTS]
    ]


def _sentence(made: JudgedCook) -> str:
    verdicts = [row for row in made.rows if row.id is None]
    not_met = [row for row in verdicts if row.met is False]
    unknown = [row for row in verdicts if row.met is None]
    met = len(verdicts) - len(not_met) - len(unknown)
    parts = [trn("{count} limit met", "{count} limits met", met)]
    if not_met:
        what = ", ".join(f"{row.product} {plain(row.what)}" for row in not_met)
        parts.insert(0, tr("limit not met: {what}", what=what))
    if unknown:
        parts.append(tr("{count} not shown", count=len(unknown)))
    if made.signed:
        parts.append(tr("signed by {by}", by=made.signed[-1].by))
    return f"{made.name}: {'; '.join(parts)}."


def plain(what: str) -> str:
    """Return what was judged in the words of a kitchen."""
    checkpoint = what.removesuffix(" mass")
    if checkpoint != what and checkpoint in words.CHECKPOINTS:
        return tr("weight {checkpoint}", checkpoint=words.checkpoint(checkpoint))
    return tr(_PLAIN.get(what, what))


def _row(row: LogRow, shown: Shown) -> dict[str, Any]:
    differs = row.is_timed and abs(row.entered_ms - row.observed_ms) > 60_000
    return {
        "at": shown.clock(row.observed_ms) if row.is_timed else tr("time not recorded"),
        "entered": shown.clock(row.entered_ms) if differs else "",
        "by": row.by,
        "product": row.product,
        "what": plain(row.what),
        "value": _local(row.value, shown),
        "limit": row.limit,
        "met": in_words(row.met) if row.id is None or row.met is not None else "",
        "failed": row.met is False,
        "instrument": row.instrument,
        "note": _local(row.note, shown),
        "struck": row.struck_by is not None,
        "missing": []
        if row.struck_by
        else [tr(LACKING[part.rpartition(".")[2]]) for part in missing(row)],
    }


def _local(text: str, shown: Shown) -> str:
    def said(found: re.Match[str]) -> str:
        return shown.when(datetime.fromisoformat(found[0].replace(" +", "+").replace(" -", "-")))

    return _LOCAL.sub(said, text)


def _is_action(entry: Entry) -> bool:
    return isinstance(entry.body, CorrectiveTaken)


def _action(entry: Entry, shown: Shown) -> dict[str, str]:
    assert isinstance(entry.body, CorrectiveTaken)
    taken = entry.body
    return {
        "at": shown.clock(entry.t_ms), "by": entry.by, "piece": taken.piece, "cause": taken.cause,
        "restored": taken.control_restored, "prevention": taken.prevention,
        "disposition": words.became(taken.disposition, taken.reason),
    }  # fmt: skip


def _check(made: CheckMade, entry: Entry, shown: Shown) -> dict[str, Any]:
    is_scale = made.method == "scale"
    error = (
        shown.mass(made.error)
        if is_scale
        else tr("{step} degrees", step=figure(f"{shown.step(made.error):+.1f}"))
    )
    return {
        "at": shown.clock(entry.t_ms), "by": entry.by, "instrument": made.instrument,
        "method": made.method, "error": error, "within": made.within,
    }  # fmt: skip
