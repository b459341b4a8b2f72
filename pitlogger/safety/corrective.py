"""Which corrective action answers which row of the food log.

One action answers one breach: that of the alert it names, on the rows of its piece about that
limit. One that names none answers the breach of its piece that is open, where it is the only
one; of several breaches it answers none, since nobody can tell which. Of several actions the
last one counts; all stay in the journal. What was not met stays not met.

Source: 9 CFR 417.3(c), 417.5(a)(3): corrective actions are documented with the deviation.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import replace

from pitlogger.model.journal import CorrectiveTaken, Entry
from pitlogger.safety.record import CorrectiveAction, LogRow, Sheet

# The sheet, and what of it (any, where empty), that an alert is about.
ABOUT: dict[str, tuple[Sheet, str]] = {
    "hot-hold-low": ("hot-hold", ""),
    "time-limit": ("hot-hold", ""),
    "discard-due": ("time", ""),
    "cold-hold-high": ("cold-hold", ""),
    "come-up-slow": ("cook", "come-up"),
    "lethality-not-met": ("cook", "lethality"),
    "cooling-stage-1-late": ("cooling-reheat", "cooling"),
    "cooling-stage-2-late": ("cooling-reheat", "cooling"),
    "cooling-will-miss": ("cooling-reheat", "cooling"),
    "reheat-late": ("cooling-reheat", "reheating"),
}


def tied(rows: Sequence[LogRow], entries: Iterable[Entry]) -> list[LogRow]:
    """Return the rows, each limit not met with the corrective action that answers it."""
    taken = {
        (entry.run, entry.seq): entry
        for entry in entries
        if isinstance(entry.body, CorrectiveTaken)
    }
    ordered = sorted(taken.values(), key=lambda entry: entry.t_ms, reverse=True)
    breaches: dict[str, set[tuple[Sheet, str]]] = defaultdict(set)
    for row in rows:
        if _asks(row):
            breaches[row.piece].add(_breach(row))
    return [
        replace(row, corrective=_answer(row, ordered, len(breaches[row.piece]) == 1))
        if _asks(row)
        else row
        for row in rows
    ]


def _breach(row: LogRow) -> tuple[Sheet, str]:
    """Return which limit a row is about: a hand reading and its verdict are one breach."""
    return row.sheet, "" if row.sheet in ("hot-hold", "cold-hold") else row.what


def _asks(row: LogRow) -> bool:
    return row.met is False and row.struck_by is None and bool(row.piece)


def _answer(row: LogRow, taken: Sequence[Entry], is_only: bool) -> CorrectiveAction | None:
    mine = [
        (entry, entry.body)
        for entry in taken
        if isinstance(entry.body, CorrectiveTaken) and entry.body.piece == row.piece
    ]
    named = [pair for pair in mine if _is_about(pair[1], row)]
    unnamed = [pair for pair in mine if pair[1].alert is None and is_only]
    for entry, body in (*named, *unnamed):
        return CorrectiveAction(
            cause=body.cause,
            control_restored=body.control_restored,
            prevention=body.prevention,
            disposition=body.disposition,
            by=entry.by,
            at_ms=entry.t_ms,
            id=(entry.run, entry.seq),
            alert=body.alert,
        )
    return None


def _is_about(body: CorrectiveTaken, row: LogRow) -> bool:
    sheet, what = ABOUT.get((body.alert or "").partition("/")[0], (None, ""))
    return sheet == row.sheet and what in ("", row.what)
