"""The joined chart's facts: what is drawn over and under the readings on one time axis.

Readings themselves come from the chart route in buckets; this is everything that a journal
says: stages, weighings as a stair, bands and targets, alarms, forecasts.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any

from pitlogger.model.alerts import ACTIVE, alert_class
from pitlogger.model.book import Book, PieceBook, fold
from pitlogger.model.cooks import Checkpoint
from pitlogger.model.journal import Entry, ForecastMade
from pitlogger.model.readings import Site
from pitlogger.rules.policies import Policy
from pitlogger.store.rows import ClockRow, CookRow
from pitlogger.views import words

ToUtc = Callable[[int], int]
_STAIR = tuple(kind for kind in Checkpoint if kind is not Checkpoint.LABEL)
MARGIN_MS = 10 * 60_000


@dataclass(frozen=True, slots=True)
class Recorded:
    """A cook as kept: its row, its journal, and how its engine time becomes UTC."""

    row: CookRow
    entries: list[Entry]
    clocks: list[ClockRow]

    def to_utc(self, t_ms: int, run: str | None = None) -> int:
        """Return wall time of a moment of the cook's run."""
        offset_ms = 0
        for clock in self.clocks:
            if clock.run == (run or self.row.run) and (clock.from_ms <= t_ms or not offset_ms):
                offset_ms = clock.offset_ms
        return t_ms + offset_ms


def joined(recorded: Recorded, policy: Policy, now_ms: int) -> dict[str, Any]:
    """Return what the joined chart draws of one cook. Times are UTC milliseconds.

    Args:
        now_ms: UTC now; the chart of a running cook ends there.
    """
    book = fold(recorded.entries)
    utc = recorded.to_utc
    started_ms = utc(book.started_ms or 0)
    is_running = book.finished_ms is None
    end_ms = now_ms if book.finished_ms is None else utc(book.finished_ms)
    return {
        "cook": recorded.row.id,
        "name": recorded.row.name,
        "from_ms": started_ms - MARGIN_MS,
        "to_ms": end_ms + (0 if is_running else MARGIN_MS),
        "running": is_running,
        "lines": lines(book),
        "pieces": [piece(held, book, policy, utc) for held in book.pieces.values()],
        "alarms": alarms(book, utc, end_ms),
        "forecasts": forecasts(recorded.entries, utc) if is_running else [],
    }


def lines(book: Book) -> list[dict[str, Any]]:
    """Return the temperature channels of a cook with their bands, pits first."""
    found = []
    for channel, history in book.channels.items():
        placed = history[-1].channel
        if placed.site in (Site.BENCH, Site.NONE):
            continue
        found.append(
            {
                "channel": channel,
                "site": placed.site.value,
                "piece": placed.piece,
                "low_c": _c(placed.low_mc),
                "high_c": _c(placed.high_mc),
                "set_c": _c(placed.set_point_mc),
            }
        )
    return sorted(found, key=lambda line: line["site"] != Site.PIT.value)


def piece(held: PieceBook, book: Book, policy: Policy, utc: ToUtc) -> dict[str, Any]:
    """Return one piece: its cores, targets, stages and its stair of weights."""
    wrap_at, pull_at = policy.wrap_at_mc(held.piece), policy.pull_at_mc(held.piece)
    return {
        "piece": held.piece.id,
        "pit": held.piece.pit,
        "cores": book.cores(held.piece.id),
        "ended": held.ended_ms is not None,
        "wrap_c": _c(wrap_at),
        "pull_c": _c(pull_at),
        "stages": [
            {
                "stage": span.stage.value,
                "flag": words.stage_flag(span.stage),
                "at_ms": utc(span.from_ms),
            }
            for span in held.spans()
        ],
        "stair": stair(held, utc),
    }


def stair(held: PieceBook, utc: ToUtc) -> list[dict[str, Any]]:
    """Return the weighings on the way from purchase to the plate, in order of time."""
    return [
        {
            "checkpoint": weighing.weighed.checkpoint,
            "label": words.checkpoint(weighing.weighed.checkpoint),
            "at_ms": utc(weighing.weighed.at_ms),
            "net_g": weighing.weighed.net_mg / 1000,
            "corrected": weighing.corrected,
        }
        for weighing in held.weighings
        if weighing.weighed.checkpoint in _STAIR
    ]


def alarms(book: Book, utc: ToUtc, end_ms: int) -> list[dict[str, Any]]:
    """Return the spans in which an alarm was active."""
    open_since: dict[str, dict[str, Any]] = {}
    found: list[dict[str, Any]] = []
    for entry, changed in book.alerts:
        if alert_class(changed.alert_kind) != "alarm":
            continue
        if changed.now in ACTIVE and changed.alert not in open_since:
            span = {
                "alert": changed.alert, "kind": changed.alert_kind, "message": changed.message,
                "piece": changed.piece, "channel": changed.channel,
                "from_ms": utc(entry.t_ms), "to_ms": end_ms,
            }  # fmt: skip
            open_since[changed.alert] = span
            found.append(span)
        elif changed.now not in ACTIVE and changed.alert in open_since:
            open_since.pop(changed.alert)["to_ms"] = utc(entry.t_ms)
    return found


def forecasts(entries: Iterable[Entry], utc: ToUtc) -> list[dict[str, Any]]:
    """Return the newest forecast of each target of each piece."""
    newest: dict[str, ForecastMade] = {}
    for entry in entries:
        if isinstance(entry.body, ForecastMade):
            newest[entry.body.of] = entry.body
    return [
        {
            "piece": made.piece,
            "target": made.target,
            "made_ms": utc(made.requested_ms),
            "p10_ms": None if made.p10_ms is None else utc(made.p10_ms),
            "p50_ms": None if made.p50_ms is None else utc(made.p50_ms),
            "p90_ms": None if made.p90_ms is None else utc(made.p90_ms),
        }
        for made in newest.values()
    ]


def _c(milli_c: int | None) -> float | None:
    return None if milli_c is None or milli_c < -273_150 else milli_c / 1000
