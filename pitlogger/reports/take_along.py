"""The take-along sheet for service off site: what goes out, its limits, and lines to fill in.

What is written on it by hand is typed in afterwards with ``pitlogger temp ... --at TIME``.
"""

from __future__ import annotations

from collections.abc import Iterator

from pitlogger.model.book import PieceBook
from pitlogger.model.cooks import BEFORE_FIRE, HOT_OFF_PIT, Stage
from pitlogger.reports.cook_record import CookRecord
from pitlogger.reports.cook_report import made_by
from pitlogger.reports.sheet import CAUTIONS, Block, Facts, Heading, Lines, Sheet, Table
from pitlogger.views import shown, words
from pitlogger.views.language import figure, mark, tr

READINGS_A_PIECE = 3
# What does not go: not cooked yet, or eaten, handed over, thrown away.
STAYS = BEFORE_FIRE | {Stage.SERVED, Stage.DISCARDED}
_TYPED_IN = (
    mark("Afterwards, for each line: pitlogger temp PIECE READING --at TIME --by INITIALS"),
    mark(
        "What is left over: pitlogger weigh PIECE leftover MASS. Only then: pitlogger cook finish"
    ),
    mark("A new reading below the limit: write what was done with the food."),
)


def take_along(record: CookRecord) -> Sheet:
    """Return the sheet for the pieces that are not used up."""
    standing = [
        held
        for held in record.book.pieces.values()
        if held.ended_ms is None and held.stage not in STAYS
    ]
    blocks: list[Block] = [Facts(tuple(_facts(record)))]
    blocks += [Heading(tr("What goes out")), _pieces(record, standing)]
    blocks.append(Heading(tr("Readings by hand, coldest spot, calibrated probe")))
    heads = (tr("piece"), tr("time"), tr("reading"), tr("probe"), tr("what was done"), tr("by"))
    rows = tuple((held.piece.id, "", "", "", "", "") for held in standing)
    blocks.append(Table(heads, rows, blank=max(4, (READINGS_A_PIECE - 1) * len(standing))))
    blocks.append(Heading(tr("Left over")))
    blocks.append(
        Table(
            (tr("piece"), tr("mass left"), tr("time"), tr("discarded or cooled"), tr("by")),
            (),
            blank=4,
        )
    )
    blocks.append(Lines(tuple(map(tr, _TYPED_IN))))
    return Sheet(
        title=tr("Take-along sheet: {name}", name=record.cook.name),
        about=tr(
            "{node}, the record as of {begin}",
            node=record.node,
            begin=record.wall.full(record.end_ms),
        ),
        blocks=tuple(blocks),
        cautions=CAUTIONS,
        made=made_by(record),
    )


def _facts(record: CookRecord) -> Iterator[tuple[str, str]]:
    for service in record.cook.services:
        place = tr(" at {place}", place=service.place) if service.place else ""
        yield tr("Serve"), f"{record.wall.full(service.at_ms)}{place}"
    policy = record.policy
    unit = record.units.temperature
    hot, cold, time = policy.hot_hold, policy.cold_hold, policy.time_control_4h
    above = tr(
        "at {value} or above ({cite})",
        value=shown.temperature(hot.mc, unit),
        cite=policy.cite(hot),
    )
    below = tr(
        "at {value} or below ({cite})",
        value=shown.temperature(cold.mc, unit),
        cite=policy.cite(cold),
    )
    yield tr("Hold hot"), above
    yield tr("Hold cold"), below
    allowed = tr("where the local code allows time as the control at all")
    hours = time.ms / 3_600_000
    yield (
        tr("Out of control"),
        tr(
            "discard after {hours} h ({cite}), {allowed}",
            hours=figure(f"{hours:g}"),
            cite=policy.cite(time),
            allowed=allowed,
        ),
    )


def _pieces(record: CookRecord, standing: list[PieceBook]) -> Table:
    rows = tuple(
        (
            held.piece.id, words.cut(held.piece.cut), words.stage(held.stage),
            record.wall.clock(_off_pit(held)),
            _last_core(record, held.piece.id), "", "",
        )
        for held in standing
    )  # fmt: skip
    heads = (tr("piece"), tr("cut"), tr("stage"), tr("off the pit"), tr("last core reading"),
             tr("left home at"), tr("discard at"))  # fmt: skip
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
        return tr("none")
    at_ms, value_mc = max(hand + probes)
    return tr(
        "{value} at {at}",
        value=shown.temperature(value_mc, unit),
        at=record.wall.clock(at_ms),
    )
