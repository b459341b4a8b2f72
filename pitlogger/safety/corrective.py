"""Which corrective action answers which row of the food log.

One action answers one breach: the one it names by a moment of it; where it names an alert alone,
the last breach of that limit by then; where it names nothing, the only breach of its piece, and
of several none, since it is not known which. Of several actions on one breach the last one
counts; all stay in the journal. A verdict over the whole record is answered once each of its
breaches is. What was not met stays not met.

Source: 9 CFR 417.3(c), 417.5(a)(3): corrective actions are documented with the deviation.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from pitlogger.model.journal import CorrectiveTaken, Entry
from pitlogger.safety.breaches import (
    ABOUT,
    DELAY_MS,
    Breach,
    breaches,
    is_failing,
    limit_of_row,
)
from pitlogger.safety.record import CorrectiveAction, LogRow


@dataclass(frozen=True, slots=True)
class AnsweredRow:
    """A breach and the corrective action that answers it, ``None`` while nobody took any."""

    breach: Breach
    action: CorrectiveAction | None = None


def tied(rows: Sequence[LogRow], entries: Iterable[Entry]) -> list[LogRow]:
    """Return the rows, each limit not met with the corrective action that answers it."""
    found = answered(rows, entries)
    return [
        replace(row, corrective=_of_row(row, found)) if is_failing(row) else row for row in rows
    ]


def answered(rows: Sequence[LogRow], entries: Iterable[Entry]) -> list[AnsweredRow]:
    """Return every breach of a record with what was done about it, in order of time."""
    entries = list({(entry.run, entry.seq): entry for entry in entries}.values())
    known = breaches(rows, entries)
    told = {(one.piece, one.limit) for one in known}
    known += [  # seen in the readings alone, afterwards
        Breach(*of, 0, value=row.value)
        for row in rows
        if is_failing(row) and row.id is None and (of := (row.piece, limit_of_row(row))) not in told
    ]
    answers: dict[Breach, CorrectiveAction] = {}
    taken = [entry for entry in entries if isinstance(entry.body, CorrectiveTaken)]
    for entry in sorted(taken, key=lambda entry: entry.t_ms):
        breach = _answered_by(entry, known)
        if breach is not None:
            answers[breach] = _action(entry)
    return [AnsweredRow(breach, answers.get(breach)) for breach in known]


def _answered_by(entry: Entry, known: Sequence[Breach]) -> Breach | None:
    body = entry.body
    assert isinstance(body, CorrectiveTaken)
    mine = [one for one in known if one.piece == body.piece]
    by_ms = entry.t_ms + DELAY_MS
    if body.alert is not None:
        kind = body.alert.partition("/")[0]
        mine = [one for one in mine if _is_about(kind, one)]
    if body.breach_ms is not None:
        by_ms = body.breach_ms
    begun = [one for one in mine if one.from_ms <= by_ms]
    if body.alert is None and body.breach_ms is None and len(begun) > 1:
        return None
    return begun[-1] if begun else None


def _is_about(kind: str, breach: Breach) -> bool:
    sheet, what = ABOUT.get(kind, (None, ""))
    return sheet == breach.limit[0] and what in ("", breach.limit[1])


def _of_row(row: LogRow, found: Sequence[AnsweredRow]) -> CorrectiveAction | None:
    mine = [one for one in found if (one.breach.piece, one.breach.limit) == (
        row.piece, limit_of_row(row))]  # fmt: skip
    if row.id is not None:
        begun = [one for one in mine if one.breach.from_ms <= row.observed_ms]
        return begun[-1].action if begun else None
    if not mine or any(one.action is None for one in mine):
        return None
    return max((one.action for one in mine if one.action), key=lambda action: action.at_ms)


def _action(entry: Entry) -> CorrectiveAction:
    body = entry.body
    assert isinstance(body, CorrectiveTaken)
    return CorrectiveAction(
        cause=body.cause,
        control_restored=body.control_restored,
        prevention=body.prevention,
        disposition=body.disposition,
        by=entry.by,
        at_ms=entry.t_ms,
        id=(entry.run, entry.seq),
        alert=body.alert,
        reason=body.reason,
    )
