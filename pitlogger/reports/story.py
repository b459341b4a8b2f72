"""A finished cook to hand to a friend or a client: chart, weights, story, in one file.

It says nothing of money, suppliers, lots, who did what, or limits.
"""

from __future__ import annotations

from collections.abc import Iterator

from pitlogger import __version__
from pitlogger.model.journal import Noted
from pitlogger.reports.cook_record import CookRecord
from pitlogger.reports.cook_report import facts_of, stages_of, yields_of
from pitlogger.reports.joined_chart import described, joined_chart
from pitlogger.reports.sheet import Block, Facts, Heading, Lines, Picture, Sheet
from pitlogger.views.language import tr


def cook_story(record: CookRecord) -> Sheet:
    """Return a cook as a story; one with nothing in it says so."""
    blocks: list[Block] = [Facts(tuple(facts_of(record)))]
    blocks.append(Picture(joined_chart(record), described(record)))
    blocks += yields_of(record)
    blocks += stages_of(record)
    blocks += _notes(record)
    return Sheet(
        title=record.cook.name,
        about=tr(
            "{start} to {end}",
            start=record.wall.full(record.start_ms),
            end=record.wall.full(record.end_ms),
        ),
        blocks=tuple(blocks),
        cautions=(),
        made=tr("Kept by pitlogger {version}.", version=__version__),
        small=True,
    )


def _notes(record: CookRecord) -> Iterator[Block]:
    lines = tuple(
        f"{record.wall.clock(entry.t_ms)} {entry.body.text}"
        for entry in record.entries
        if isinstance(entry.body, Noted) and not entry.body.text.startswith("Ring test")
    )
    if lines:
        yield Heading(tr("As it went"))
        yield Lines(lines)
