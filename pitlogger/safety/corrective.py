"""Which corrective action answers which row of the food log.

One action answers one breach: that of the alert it names, on the rows of its piece about that
limit. It answers no later one: food that was at its limit again and falls once more asks for
another. One that names none answers the breach of its piece that is open, where it is the only
one; of several breaches it answers none, since nobody can tell which. Of several actions the
last one counts; all stay in the journal. What was not met stays not met.

Source: 9 CFR 417.3(c), 417.5(a)(3): corrective actions are documented with the deviation.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import replace

from pitlogger.model.alerts import AlertState
from pitlogger.model.journal import AlertChanged, CorrectiveTaken, Entry
from pitlogger.safety.record import CorrectiveAction, LogRow, Sheet

# An alarm raised so soon after an action is of the breach it answers, whose delay still ran.
DELAY_MS = 5 * 60_000
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
    entries = list(entries)
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
    raised = [
        (entry.body.alert, entry.t_ms - DELAY_MS)
        for entry in entries
        if isinstance(entry.body, AlertChanged) and entry.body.was is AlertState.NORMAL
    ]
    found = []
    for row in rows:
        if _asks(row):
            since_ms = max(_fell_again(row, rows), _raised_again(row, raised))
            able = [entry for entry in ordered if entry.t_ms >= since_ms]
            answer = _answer(row, able, len(breaches[row.piece]) == 1)
            found.append(replace(row, corrective=answer))
        else:
            found.append(row)
    return found


def _fell_again(row: LogRow, rows: Sequence[LogRow]) -> int:
    """Return when the breach of a row began after a reading by hand that was within the limit."""
    since_ms, was_met = 0, False
    read = [one for one in rows if one.id is not None and one.struck_by is None]
    for one in sorted(read, key=lambda one: one.observed_ms):
        if one.piece != row.piece or _breach(one) != _breach(row) or one.met is None:
            continue
        if one.observed_ms <= row.observed_ms:
            if not one.met and was_met:
                since_ms = one.observed_ms
            was_met = one.met
    return since_ms


def _raised_again(row: LogRow, raised: Sequence[tuple[str, int]]) -> int:
    """Return when the alarm about a row was last raised before it."""
    return max(
        (
            t_ms
            for alert, t_ms in raised
            if t_ms <= row.observed_ms
            and alert.partition("/")[2] == row.piece
            and _is_of(alert, row)
        ),
        default=0,
    )


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
    return _is_of(body.alert or "", row)


def _is_of(alert: str, row: LogRow) -> bool:
    sheet, what = ABOUT.get(alert.partition("/")[0], (None, ""))
    return sheet == row.sheet and what in ("", row.what)
