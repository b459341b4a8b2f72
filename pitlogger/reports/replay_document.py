"""The document that replay and demo print: alerts, stages, weighings, yields, forecasts."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from pitlogger.clock import rfc3339
from pitlogger.engine.inputs import Output
from pitlogger.inference.recogniser import StageProposal
from pitlogger.model.alerts import alert_class
from pitlogger.model.book import Book
from pitlogger.model.journal import AlertChanged, Entry, ForecastMade
from pitlogger.model.readings import Tagged
from pitlogger.yields.books import from_book
from pitlogger.yields.document import piece_document
from pitlogger.yields.ledger import accounts

Looks = Mapping[str, Sequence[StageProposal]]


@dataclass(slots=True)
class Gathered:
    """What a run of the engine gave, counted and kept as far as the document needs it."""

    readings: int = 0
    first_ms: int | None = None
    last_ms: int | None = None
    entries: list[Entry] = field(default_factory=list)

    def take(self, outputs: Iterable[Output]) -> None:
        """Take outputs in order."""
        for output in outputs:
            if type(output) is Tagged:
                self.readings += 1
                self._span(output.t_ms)
            elif isinstance(output, Entry):
                self.entries.append(output)
                self._span(output.t_ms)

    def _span(self, t_ms: int) -> None:
        if self.first_ms is None:
            self.first_ms = t_ms
        self.last_ms = t_ms


def replay_document(gathered: Gathered, book: Book, looks: Looks | None = None) -> dict[str, Any]:
    """Return the document as plain values; keys as the contract of ``replay`` names them.

    Args:
        looks: As ``stage_rows`` takes them.
    """
    span_ms = (gathered.last_ms or 0) - (gathered.first_ms or 0)
    return {
        "readings": gathered.readings,
        "span_s": span_ms / 1000,
        "alerts": [
            alert_row(entry.t_ms, entry.body)
            for entry in gathered.entries
            if isinstance(entry.body, AlertChanged)
        ],
        "stages": stage_rows(book, looks),
        "weighings": weighing_rows(book),
        "yields": yield_rows(book),
        "forecasts": [
            forecast_row(entry.t_ms, entry.body)
            for entry in gathered.entries
            if isinstance(entry.body, ForecastMade)
        ],
    }


def alert_row(t_ms: int, changed: AlertChanged) -> dict[str, Any]:
    """Return one state an alert entered."""
    row: dict[str, Any] = {
        "at": rfc3339(t_ms),
        "kind": changed.alert_kind,
        "class": alert_class(changed.alert_kind),
        "priority": changed.priority.label,
        "state": changed.now.value,
        "piece": changed.piece,
        "channel": changed.channel,
        "message": changed.message,
        "wakes": changed.wakes,
    }
    if changed.value is not None and changed.unit == "c":
        row["value_c"] = round(changed.value / 1000, 3)
    elif changed.value is not None and changed.unit == "g":
        row["value_g"] = round(changed.value / 1000, 3)
    return row


def stage_rows(book: Book, looks: Looks | None = None) -> list[dict[str, Any]]:
    """Return each stage of each piece: start, end, who found it, and how likely if inferred.

    Args:
        looks: What pieces look to be in that is not set, by piece: rows after their own.
    """
    rows: list[dict[str, Any]] = [
        {
            "piece": piece,
            "stage": span.stage.value,
            "from": rfc3339(span.from_ms),
            "to": None if span.to_ms is None else rfc3339(span.to_ms),
            "source": span.source,
            "p": span.p,
        }
        for piece, held in book.pieces.items()
        for span in held.spans()
    ]
    for piece, found in (looks or {}).items():
        for one in found:
            row: dict[str, Any] = {
                "piece": piece, "stage": one.stage.value, "from": rfc3339(one.at_ms), "to": None,
            }  # fmt: skip
            if one.between_ms is not None:
                row |= dict(zip(("earliest", "latest"), map(rfc3339, one.between_ms), strict=True))
            mine = [row for row in rows if row["piece"] == piece]
            before = [other for other in mine if other["from"] <= row["from"]]
            after = mine[len(before) :]
            if before:
                before[-1]["to"] = row["from"]
            row["to"] = after[0]["from"] if after else None
            place = rows.index(after[0]) if after else rows.index(mine[-1]) + 1 if mine else None
            row |= {"source": "inferred", "p": round(one.p, 3)}
            rows.insert(len(rows) if place is None else place, row)
    return rows


def weighing_rows(book: Book) -> list[dict[str, Any]]:
    """Return each weighing that counts, with its standard uncertainty."""
    rows = []
    for record in from_book(book):
        for weighing in book.pieces[record.piece].weighings:
            weighed = weighing.weighed
            mass = record.masses[weighed.checkpoint]
            rows.append(
                {
                    "piece": weighed.piece,
                    "checkpoint": weighed.checkpoint,
                    "net_g": weighed.net_mg / 1000,
                    "u_g": round(mass.u, 3),
                    "at": rfc3339(weighed.at_ms),
                }
            )
    return sorted(rows, key=lambda row: str(row["at"]))


def yield_rows(book: Book) -> list[dict[str, Any]]:
    """Return the piece objects of ``pitlogger yield`` for each piece that was weighed."""
    records = from_book(book)
    return [piece_document(account) for account in accounts(records) if account.record.masses]


def forecast_row(t_ms: int, made: ForecastMade) -> dict[str, Any]:
    """Return one forecast as it took effect."""
    return {
        "at": rfc3339(t_ms),
        "piece": made.piece,
        "target": made.target,
        "p10": None if made.p10_ms is None else rfc3339(made.p10_ms),
        "p50": None if made.p50_ms is None else rfc3339(made.p50_ms),
        "p90": None if made.p90_ms is None else rfc3339(made.p90_ms),
        "p_reach": made.p_reach,
        "widened": made.widened,
        "reason": made.reason,
    }
