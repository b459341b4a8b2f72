"""A person's word about a doubt of a probe: it was right, or it was wrong.

A word alone turns no doubted stretch into credit: one that it was wrong wants a hand reading
taken in it which agrees with the probe.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

from pitlogger.engine.watch.lineage import history_of
from pitlogger.errors import RefusedError, UsageError, unknown
from pitlogger.model.book import Book
from pitlogger.model.journal import ChannelDoubted
from pitlogger.safety.instruments.belief import AGREES_MC, agreed_ms
from pitlogger.views.node import Node
from pitlogger.views.shown import Shown
from pitlogger.web.access.roles import who_asks
from pitlogger.web.requests import DoubtAsk


class ToldDoubt(NamedTuple):
    """A doubt as the node noticed it, and what a person said of it: right, wrong, nothing yet."""

    body: ChannelDoubted
    word: str = ""


def told_doubts(book: Book) -> Iterator[ToldDoubt]:
    """Yield each doubt of a cook, as it was noticed last, with the last word about it."""
    noticed: dict[tuple[str, str, int], ChannelDoubted] = {}
    words: dict[tuple[str, str, int], str] = {}
    for by, body in book.doubted:
        key = (body.channel, body.reason, body.from_ms)
        if by:
            words[key] = "wrong" if body.believed else "right"
        else:
            noticed[key] = body
    for key, body in noticed.items():
        yield ToldDoubt(body, words.get(key, ""))


def doubt_told(daemon: Node, ask: DoubtAsk) -> ChannelDoubted:
    """Return the entry that says whether a doubt was right.

    Raises:
        UsageError: No initials, no such channel, or nothing was doubted of it then.
        RefusedError: It is said to be wrong, and no hand reading shows that.
    """
    engine = daemon.engine
    if ask.channel not in engine.book.channels:
        raise UsageError(unknown("channel", ask.channel, engine.book.channels))
    if not (ask.by or who_asks.get().initials):
        raise UsageError("a word about a doubt is signed: give the initials of who says so (--by)")
    mine = [one.body for one in told_doubts(engine.book) if one.body.channel == ask.channel]
    if ask.since is not None:
        mine = [one for one in mine if one.from_ms <= ask.since < (one.to_ms or ask.since + 1)]
    if not mine:
        raise UsageError(f"nothing is on record that was doubted of {ask.channel} then")
    body = max(mine, key=lambda one: one.from_ms)
    is_wrong = ask.doubt == "wrong"
    if is_wrong and not _is_shown_wrong(daemon, body):
        shown = Shown(daemon.units, daemon.clock.engine_ms(), daemon.utc_offset_ms)
        step = f"{shown.step(AGREES_MC):.0f} {daemon.units.temperature}"
        raise RefusedError(
            f"a word alone gives {ask.channel} no credit: while it was doubted (since "
            f"{shown.clock(body.from_ms)}) no hand reading agreed with it within {step}. Read "
            f"{body.piece or 'the piece'} by hand beside it (pitlogger temp), then say it again"
        )
    return ChannelDoubted(
        body.channel, body.reason, body.from_ms, body.to_ms, body.piece, believed=is_wrong
    )


def _is_shown_wrong(daemon: Node, body: ChannelDoubted) -> bool:
    engine = daemon.engine
    history = None if body.piece is None else history_of(engine.state, engine.book, body.piece)
    if history is None:
        return False
    end_ms = body.to_ms or daemon.clock.engine_ms()
    points = [
        point
        for core in history.cores
        if core.channel == body.channel
        for point in core.points
        if body.from_ms <= point[0] <= end_ms
    ]
    return agreed_ms(points, history.spots) is not None
