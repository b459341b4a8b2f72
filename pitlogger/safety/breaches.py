"""Breaches of food limits: from when to when a limit of a piece was not met, one by one.

A breach begins with an alarm or a hand reading and ends when the alarms of its limit have
returned or a hand reading is within the limit. What is raised after that, or after somebody
acted on it, is another breach, and asks for a disposition of its own. An alarm that was raised
on an entry taken back since is no breach of its own: the food log keeps the entry, struck out.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from pitlogger.model.alerts import TAKEN_BACK, AlertState
from pitlogger.model.journal import AlertChanged, CorrectiveTaken, Entry
from pitlogger.safety.record import LogRow, Sheet

# An alarm raised so soon after a reading or an action is of the same breach: its delay still ran.
DELAY_MS = 5 * 60_000
Limit = tuple[Sheet, str]  # the sheet, and what of it a limit is about; any, where empty
# The limit that an alert is about.
ABOUT: dict[str, Limit] = {
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
_FORESEEN = "cooling-will-miss"  # an alarm of what lies ahead is no breach
_ENDED = (AlertState.NORMAL, AlertState.LATCHED_UNACKNOWLEDGED, AlertState.LATCHED_ACKNOWLEDGED,
          AlertState.RETURNED_UNACKNOWLEDGED)  # fmt: skip
_Event = tuple[int, str, str]  # when, what happened, the alarm or the value


@dataclass(frozen=True, slots=True)
class Breach:
    """A limit of a piece that was not met from ``from_ms`` on; open where ``to_ms`` is ``None``.

    ``alert`` is the alarm that was raised first, empty where hand readings alone show it;
    ``value`` is what was read then, in words.
    """

    piece: str
    limit: Limit
    from_ms: int
    to_ms: int | None = None
    alert: str = ""
    value: str = ""

    @property
    def alert_named(self) -> str:
        """The alarm by which it is named: its own, or that of its limit where none was raised."""
        kind = next((kind for kind, limit in ABOUT.items() if limit == self.limit), "")
        return self.alert or (kind and f"{kind}/{self.piece}")


def limit_of_row(row: LogRow) -> Limit:
    """Return which limit a row is about: a hand reading and its verdict are of one."""
    return row.sheet, "" if row.sheet in ("hot-hold", "cold-hold", "time") else row.what


def is_failing(row: LogRow) -> bool:
    return row.met is False and row.struck_by is None and bool(row.piece)


def breaches(rows: Iterable[LogRow], entries: Iterable[Entry]) -> list[Breach]:
    """Return the breaches that hand readings and alarms show, in order of time."""
    entries = list(entries)
    told: dict[tuple[str, Limit], list[_Event]] = defaultdict(list)
    for row in rows:
        if row.id is not None and row.struck_by is None and row.piece and row.met is not None:
            what = "within" if row.met else "beyond"
            told[row.piece, limit_of_row(row)].append((row.observed_ms, what, row.value))
    for alert, raised_ms, returned_ms in _rings(entries):
        kind, _, piece = alert.partition("/")
        events = told[piece, ABOUT[kind]]
        events.append((raised_ms, "raised", alert))
        if returned_ms is not None:
            events.append((returned_ms, "returned", alert))
    for entry in entries:
        if isinstance(entry.body, CorrectiveTaken):
            for (piece, _), events in told.items():
                if piece == entry.body.piece:
                    events.append((entry.t_ms, "acted", ""))
    found = [one for (piece, limit), events in told.items() for one in _of(piece, limit, events)]
    return sorted(found, key=lambda one: one.from_ms)


def _rings(entries: Iterable[Entry]) -> list[tuple[str, int, int | None]]:
    """Return each time a food alarm was true: the alarm, since when, until when."""
    found: list[tuple[str, int, int | None]] = []
    for entry in entries:
        body = entry.body
        if not isinstance(body, AlertChanged) or body.alert_kind not in ABOUT:
            continue
        last = next((n for n in reversed(range(len(found))) if found[n][0] == body.alert), None)
        if body.was in _ENDED and body.now is AlertState.UNACKNOWLEDGED:
            if body.alert_kind != _FORESEEN:
                found.append((body.alert, entry.t_ms, None))
        elif last is not None and body.message == TAKEN_BACK and body.now is AlertState.NORMAL:
            del found[last]
        elif last is not None and body.now in _ENDED and found[last][2] is None:
            found[last] = (*found[last][:2], entry.t_ms)
    return found


def _of(piece: str, limit: Limit, events: list[_Event]) -> list[Breach]:
    """Return the breaches of one limit of a piece from what was read and rung, in order."""
    found: list[Breach] = []
    ringing: set[str] = set()
    acted_ms: int | None = None
    for t_ms, what, said in sorted(events, key=lambda event: event[0]):
        is_open = bool(found) and found[-1].to_ms is None
        if what == "raised":
            is_answered = acted_ms is not None and t_ms - acted_ms > DELAY_MS
            is_same = is_open and (bool(ringing) or not is_answered)
            ringing.add(said)
            if not is_same:
                found[-1:] = _closed(found[-1:], t_ms)
                found.append(Breach(piece, limit, t_ms, alert=said))
                acted_ms = None
            elif not found[-1].alert:
                found[-1] = replace(found[-1], alert=said)
        elif what == "beyond":
            if not is_open:
                found.append(Breach(piece, limit, t_ms, value=said))
                acted_ms = None
            elif not found[-1].value:
                found[-1] = replace(found[-1], value=said)
        elif what == "acted":
            acted_ms = t_ms if acted_ms is None else acted_ms
        elif is_open:  # an alarm returned, or a reading within the limit
            ringing.discard(said)
            if not ringing:
                found[-1:] = _closed(found[-1:], t_ms)
    return found


def _closed(last: Sequence[Breach], t_ms: int) -> list[Breach]:
    return [one if one.to_ms is not None else replace(one, to_ms=t_ms) for one in last]
