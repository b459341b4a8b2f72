"""What was written down in a cook, each line with its corrections, and the forms that mend it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import datetime
from typing import Any

from pitlogger.model import journal
from pitlogger.model.cooks import CUTS, STAGE_ALIASES, WEIGHABLE, WRAPS, Piece, Stage
from pitlogger.model.folding import counted
from pitlogger.store.queries import Reader
from pitlogger.store.rows import CookRow
from pitlogger.views import words
from pitlogger.views.entries import body_words
from pitlogger.views.joined import Recorded
from pitlogger.views.language import date, tr
from pitlogger.views.node import Node
from pitlogger.views.shown import Shown

_SHOWN = (
    journal.CookStarted,
    journal.PieceAdded,
    journal.StageSet,
    journal.Weighed,
    journal.SpotRead,
    journal.Noted,
    journal.TargetSet,
)
_TEACHES = (journal.Weighed, journal.StageSet)
Fields = list[dict[str, Any]]


async def written(daemon: Node, row: CookRow, shown: Shown) -> dict[str, Any]:
    """Return the lines of a cook's journal that people wrote, and what was said of the cook."""

    def read(reader: Reader) -> Recorded:
        return Recorded(row, reader.entries(cook=row.id), reader.clocks())

    kept = await daemon.ask(read)
    standing = {(one.run, one.seq): body for one, body, _ in counted(kept.entries)}
    lines = [_line(one, kept, standing, shown) for one in kept.entries
             if isinstance(one.body, _SHOWN)]  # fmt: skip
    cook_said = [one for one in kept.entries if _is_of_the_cook(one.body)]
    counts = [one for one in cook_said if (one.run, one.seq) in standing]
    withdrawn = [one.id for one in counts if isinstance(one.body, journal.CookWithdrawn)]
    return {
        "lines": sorted(lines, key=lambda line: line["ms"]),
        "said": [_said(one, kept, shown) for one in cook_said],
        "withdrawn_by": withdrawn[-1] if withdrawn else "",
        "untaught": _last_says_no([one.body for one in counts]),
    }


def _is_of_the_cook(body: journal.Body) -> bool:
    if isinstance(body, journal.LearningSet):
        return body.of_run is None and body.piece is None
    return isinstance(body, journal.CookWithdrawn)


def _last_says_no(bodies: Sequence[journal.Body]) -> bool:
    learning = [body for body in bodies if isinstance(body, journal.LearningSet)]
    return bool(learning) and not learning[-1].teaches


def _line(
    entry: journal.Entry,
    kept: Recorded,
    standing: dict[tuple[str, int], journal.Body],
    shown: Shown,
) -> dict[str, Any]:
    """Return one line: what counts now, what it said first, what was said of it and by whom."""
    of = (entry.run, entry.seq)
    body = standing.get(of, entry.body)
    about = [one for one in kept.entries if _names(one.body, of)]
    at_ms = getattr(body, "at_ms", None)
    ms = kept.to_utc(entry.t_ms if at_ms is None else at_ms, entry.run)
    entered = _at(kept.to_utc(entry.t_ms, entry.run))
    said = body_words(body, shown.units)
    first = body_words(entry.body, shown.units)
    is_timed = getattr(body, "timed", "live") != "unrecorded"
    return {
        "id": entry.id,
        "ms": ms,
        "at": _at(ms) if is_timed else tr("time not recorded"),
        "entered": entered if entered != _at(ms) or not is_timed else "",
        "by": entry.by,
        "words": said,
        "first": first if first != said else "",
        "gone": of not in standing,
        "said": [_said(one, kept, shown) for one in about],
        "teaches": isinstance(body, _TEACHES),
        "untaught": _last_says_no([one.body for one in about if (one.run, one.seq) in standing]),
        "forms": _forms(body, shown) if of in standing else [],
    }


def _names(body: journal.Body, of: tuple[str, int]) -> bool:
    named = isinstance(body, journal.Corrected | journal.Undone | journal.LearningSet)
    return named and (body.of_run, body.of_seq) == of  # type: ignore[union-attr]


def _said(entry: journal.Entry, kept: Recorded, shown: Shown) -> str:
    """Return what was said of a line, when and by whom."""
    who = f", {entry.by}" if entry.by else ""
    at = _at(kept.to_utc(entry.t_ms, entry.run))
    return f"{at}{who}: {body_words(entry.body, shown.units)}"


def _at(utc_ms: int) -> str:
    at = datetime.fromtimestamp(utc_ms / 1000).astimezone()
    return f"{date(at, with_year=True)}, {at:%H:%M}"


def _field(
    name: str, label: str, now: object = "", options: Sequence[str] = (),
    worded: Callable[[str], str] = str,
) -> dict[str, Any]:  # fmt: skip
    kind = "datetime-local" if name == "at" else "text"
    as_is = "" if now is None else str(now)
    return {"name": name, "label": label, "kind": kind, "now": worded(as_is) if as_is else "",
            "options": [(one, worded(one)) for one in options if one != as_is]}  # fmt: skip


def _forms(body: journal.Body, shown: Shown) -> list[dict[str, Any]]:
    """Return the forms that correct a line: fields left empty stay as they are."""
    match body:
        case journal.Weighed():
            fields = [
                _field("mass", tr("Mass with its container"), shown.mass(body.gross_mg)),
                _field("tare", tr("Container"), shown.mass(body.tare_mg)),
                _field(
                    "checkpoint", tr("Weighed as"), body.checkpoint, WEIGHABLE, words.checkpoint
                ),
            ]
        case journal.StageSet():
            stages = [stage.value for stage in Stage if stage not in STAGE_ALIASES]
            fields = [_field("stage", tr("Stage"), body.stage, stages, words.stage)]
        case journal.SpotRead():
            fields = [_field("value", tr("Temperature"), shown.temperature(body.value_mc, 1))]
        case journal.HeldByTime():
            fields = [_field("hours", tr("Hours"), body.hours, ("4", "6"))]
        case journal.Noted():
            return [{"piece": "", "fields": [_field("text", tr("Text"), body.text)]}]
        case journal.TargetSet():
            return [{"piece": "", "fields": [_field("wrap_at", tr("Wrap at")),
                                             _field("pull_at", tr("Off the pit at"))]}]  # fmt: skip
        case journal.PieceAdded(piece=piece):
            return [{"piece": "", "fields": _of_piece(piece, shown)}]
        case journal.CookStarted(cook=cook):
            head = [
                _field("name", tr("Name"), cook.name),
                _field("guests", tr("Guests"), cook.guests),
                _field("at", tr("When")),
            ]
            pieces = [{"piece": one.id, "fields": _of_piece(one, shown)} for one in cook.pieces]
            return [{"piece": "", "fields": head}, *pieces]
        case _:
            return []
    return [{"piece": "", "fields": [*fields, _field("piece", tr("Piece"), body.piece),
                                     _field("at", tr("When"))]}]  # fmt: skip


def _of_piece(piece: Piece, shown: Shown) -> Fields:
    mass = "" if piece.mass_mg is None else shown.mass(piece.mass_mg)
    return [
        _field("cut", tr("Cut"), piece.cut, tuple(CUTS), words.cut),
        _field("count", tr("How many"), piece.count),
        _field("mass", tr("Mass"), mass),
        _field("wrap", tr("Wrap"), piece.wrap, WRAPS, tr),
        _field("supplier", tr("Supplier"), piece.supplier),
        _field("grade", tr("Grade"), piece.grade),
    ]
