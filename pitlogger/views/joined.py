"""The joined chart's facts: what is drawn over and under the readings on one time axis.

Readings themselves come from the chart route in buckets; this is everything that a journal
says: stages, weighings as a stair, bands and targets, alarms, forecasts.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass

from pitlogger.model.alerts import ACTIVE, alert_class
from pitlogger.model.book import Book, PieceBook
from pitlogger.model.cooks import Checkpoint, Stage
from pitlogger.model.folding import fold
from pitlogger.model.journal import Entry, ForecastMade
from pitlogger.model.readings import Site
from pitlogger.rules.policies import RulePolicy
from pitlogger.store.rows import ClockRow, CookRow
from pitlogger.views import words
from pitlogger.views.view import View

ToUtc = Callable[[int], int]
_STAIR = tuple(kind for kind in Checkpoint if kind is not Checkpoint.LABEL)
MARGIN_MS = 10 * 60_000


class LineView(View):
    """A temperature channel with its band."""

    channel: str
    site: Site
    piece: str | None
    low_c: float | None
    high_c: float | None
    set_c: float | None


class StageMark(View):
    stage: Stage
    flag: str
    at_ms: int


class StairStep(View):
    """A weighing on the way from purchase to the plate."""

    checkpoint: str
    label: str
    at_ms: int
    net_g: float
    corrected: bool


class ChartPiece(View):
    """A piece: its pit, its core channels, targets, stages, and its stair of weights."""

    piece: str
    pit: str | None
    cores: tuple[str, ...]
    ended: bool
    wrap_c: float | None
    pull_c: float | None
    stages: tuple[StageMark, ...]
    stair: tuple[StairStep, ...]


class AlarmSpan(View):
    """A span in which an alarm was active."""

    alert: str
    kind: str
    message: str
    piece: str | None
    channel: str | None
    from_ms: int
    to_ms: int


class ForecastMark(View):
    piece: str
    target: str
    made_ms: int
    p10_ms: int | None
    p50_ms: int | None
    p90_ms: int | None


class JoinedView(View):
    """What is drawn over and under the readings of a cook. Times are UTC milliseconds."""

    cook: str
    name: str
    from_ms: int
    to_ms: int
    running: bool
    lines: tuple[LineView, ...]
    pieces: tuple[ChartPiece, ...]
    alarms: tuple[AlarmSpan, ...]
    forecasts: tuple[ForecastMark, ...]


class ChartView(View):
    """One channel in equal buckets; empty ones are left out. Values are milli-units."""

    channel: str
    at_ms: list[int]
    low: list[int]
    high: list[int]
    mean: list[int]
    readings: list[int]


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


def joined(recorded: Recorded, policy: RulePolicy, now_ms: int) -> JoinedView:
    """Return what the joined chart draws of one cook. Times are UTC milliseconds.

    Args:
        now_ms: UTC now; the chart of a running cook ends there.
    """
    book = fold(recorded.entries)
    utc = recorded.to_utc
    started_ms = utc(book.started_ms or 0)
    is_running = book.finished_ms is None
    end_ms = now_ms if book.finished_ms is None else utc(book.finished_ms)
    return JoinedView(
        cook=recorded.row.id,
        name=recorded.row.name,
        from_ms=started_ms - MARGIN_MS,
        to_ms=end_ms + (0 if is_running else MARGIN_MS),
        running=is_running,
        lines=tuple(_lines(book)),
        pieces=tuple(_piece(held, book, policy, utc) for held in book.pieces.values()),
        alarms=tuple(_alarms(book, utc, end_ms)),
        forecasts=tuple(_forecasts(recorded.entries, utc)) if is_running else (),
    )


def _lines(book: Book) -> list[LineView]:
    """Return the temperature channels of a cook with their bands, pits first."""
    found = []
    for channel, history in book.channels.items():
        placed = history[-1].channel
        if placed.site in (Site.BENCH, Site.GRATE, Site.NONE):
            continue
        found.append(
            LineView(
                channel=channel,
                site=placed.site,
                piece=placed.piece,
                low_c=_c(placed.low_mc),
                high_c=_c(placed.high_mc),
                set_c=_c(placed.set_point_mc),
            )
        )
    return sorted(found, key=lambda line: line.site is not Site.PIT)


def _piece(held: PieceBook, book: Book, policy: RulePolicy, utc: ToUtc) -> ChartPiece:
    return ChartPiece(
        piece=held.piece.id,
        pit=held.piece.pit,
        cores=tuple(book.cores(held.piece.id)),
        ended=held.ended_ms is not None,
        wrap_c=_c(policy.wrap_at_mc(held.piece)),
        pull_c=_c(policy.pull_at_mc(held.piece)),
        stages=tuple(
            StageMark(stage=s.stage, flag=words.stage_flag(s.stage), at_ms=utc(s.from_ms))
            for s in held.spans()
        ),
        stair=tuple(_stair(held, utc)),
    )


def _stair(held: PieceBook, utc: ToUtc) -> Iterator[StairStep]:
    """Yield the weighings on the way from purchase to the plate, in order of time."""
    for weighing in held.weighings:
        weighed = weighing.weighed
        if weighed.checkpoint in _STAIR:
            yield StairStep(
                checkpoint=weighed.checkpoint,
                label=words.checkpoint(weighed.checkpoint),
                at_ms=utc(weighed.at_ms),
                net_g=weighed.net_mg / 1000,
                corrected=weighing.corrected,
            )


def _alarms(book: Book, utc: ToUtc, end_ms: int) -> list[AlarmSpan]:
    """Return the spans in which an alarm was active."""
    found: list[AlarmSpan] = []
    open_at: dict[str, int] = {}
    for entry, changed in book.alerts:
        if alert_class(changed.alert_kind) != "alarm":
            continue
        if changed.now in ACTIVE and changed.alert not in open_at:
            open_at[changed.alert] = len(found)
            found.append(AlarmSpan(
                alert=changed.alert, kind=changed.alert_kind, message=changed.message,
                piece=changed.piece, channel=changed.channel,
                from_ms=utc(entry.t_ms), to_ms=end_ms,
            ))  # fmt: skip
        elif changed.now not in ACTIVE and changed.alert in open_at:
            at = open_at.pop(changed.alert)
            found[at] = found[at].model_copy(update={"to_ms": utc(entry.t_ms)})
    return found


def _forecasts(entries: Iterable[Entry], utc: ToUtc) -> Iterator[ForecastMark]:
    """Yield the newest forecast of each target of each piece."""
    newest: dict[str, ForecastMade] = {}
    for entry in entries:
        if isinstance(entry.body, ForecastMade):
            newest[entry.body.of] = entry.body

    def at(t_ms: int | None) -> int | None:
        return None if t_ms is None else utc(t_ms)

    for made in newest.values():
        yield ForecastMark(
            piece=made.piece, target=made.target, made_ms=utc(made.requested_ms),
            p10_ms=at(made.p10_ms), p50_ms=at(made.p50_ms), p90_ms=at(made.p90_ms),
        )  # fmt: skip


def _c(milli_c: int | None) -> float | None:
    return None if milli_c is None or milli_c < -273_150 else milli_c / 1000
