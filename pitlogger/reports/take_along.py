"""The take-along sheet for service off site: what goes out, its limits, and lines to fill in.

What is written on it by hand is typed in afterwards with ``pitlogger temp ... --at TIME``.
"""

from __future__ import annotations

from collections.abc import Iterator

from pitlogger.model.book import PieceBook
from pitlogger.model.cooks import HOT_OFF_PIT
from pitlogger.model.quantities import show_temperature
from pitlogger.reports.cook_record import CookRecord
from pitlogger.reports.cook_report import made_by
from pitlogger.reports.sheet import CAUTIONS, Block, Facts, Heading, Lines, Sheet, Table
from pitlogger.views import words

READINGS_A_PIECE = 3
_TYPED_IN = (
    "Afterwards, for each line: pitlogger temp PIECE READING --at TIME --by INITIALS",
    "What is left over: pitlogger weigh PIECE leftover MASS. Only then: pitlogger cook finish",
    "A new reading below the limit: write what was done with the food.",
)


def take_along(record: CookRecord) -> Sheet:
    """Return the sheet for the pieces that are not used up."""
    standing = [held for held in record.book.pieces.values() if held.ended_ms is None]
    blocks: list[Block] = [Facts(tuple(_facts(record)))]
    blocks += [Heading("What goes out"), _pieces(record, standing)]
    blocks.append(Heading("Readings by hand, coldest spot, calibrated probe"))
    heads = ("piece", "time", "reading", "probe", "what was done", "by")
    rows = tuple((held.piece.id, "", "", "", "", "") for held in standing)
    blocks.append(Table(heads, rows, blank=max(4, (READINGS_A_PIECE - 1) * len(standing))))
    blocks.append(Heading("Left over"))
    blocks.append(Table(("piece", "mass left", "time", "discarded or cooled", "by"), (), blank=4))
    blocks.append(Lines(_TYPED_IN))
    return Sheet(
        title=f"Take-along sheet: {record.cook.name}",
        about=f"{record.node}, the record as of {record.wall.full(record.end_ms)}",
        blocks=tuple(blocks),
        cautions=CAUTIONS,
        made=made_by(record),
    )


def _facts(record: CookRecord) -> Iterator[tuple[str, str]]:
    for service in record.cook.services:
        place = f" at {service.place}" if service.place else ""
        yield "Serve", f"{record.wall.full(service.at_ms)}{place}"
    policy = record.policy
    unit = record.units.temperature
    hot, cold, time = policy.hot_hold, policy.cold_hold, policy.time_control_4h
    above = f"at {show_temperature(hot.mc, unit)} or above ({policy.cite(hot)})"
    below = f"at {show_temperature(cold.mc, unit)} or below ({policy.cite(cold)})"
    yield "Hold hot", above
    yield "Hold cold", below
    allowed = "where the local code allows time as the control at all"
    hours = time.ms / 3_600_000
    yield "Out of control", f"discard after {hours:g} h ({policy.cite(time)}), {allowed}"


def _pieces(record: CookRecord, standing: list[PieceBook]) -> Table:
    rows = tuple(
        (
            held.piece.id, words.cut(held.piece.cut), words.stage(held.stage),
            record.wall.clock(_off_pit(held)),
            _last_core(record, held.piece.id), "", "",
        )
        for held in standing
    )  # fmt: skip
    heads = ("piece", "cut", "stage", "off the pit", "last core reading", "left home at",
             "discard at")  # fmt: skip
    return Table(heads, rows)


def _off_pit(held: PieceBook) -> int | None:
    return held.first(*HOT_OFF_PIT)


def _last_core(record: CookRecord, piece: str) -> str:
    unit = record.units.temperature
    hand = [(spot.at_ms, spot.value_mc) for _, spot in record.book.spots if spot.piece == piece]
    cores = set(record.book.cores(piece))
    probes = [
        (line.at_ms[-1], line.low[-1])
        for line in record.lines
        if line.channel in cores and line.at_ms
    ]
    if not hand and not probes:
        return "none"
    at_ms, value_mc = max(hand + probes)
    return f"{show_temperature(value_mc, unit)} at {record.wall.clock(at_ms)}"
