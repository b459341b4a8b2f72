"""A cook that begins beside others: what they share, and what they cannot.

Each piece has one cook, so piece ids are unique among the open ones, and a probe that sits in a
piece stays there. Pits, cold rooms and scales are common.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from pitlogger.errors import RefusedError, UsageError
from pitlogger.model.book import Book
from pitlogger.model.cooks import Channel, Cook
from pitlogger.model.journal import CookStarted


def beside(body: CookStarted, book: Book) -> CookStarted:
    """Return the start of a cook as it enters the journal.

    Raises:
        UsageError: A name or a piece that an open cook has already.
        RefusedError: It wants a probe that sits in a piece of an open cook.
    """
    others = book.open_cooks()
    cook = body.cook
    for other in others.values():
        if other.cook.name.casefold() == cook.name.casefold():
            raise RefusedError(
                f"the cook '{other.cook.name}' is still running: finish it first "
                "(pitlogger cook finish), or give this one another name"
            )
    for piece in cook.pieces:
        held = book.pieces.get(piece.id)
        if held is not None and held.cook in others:
            raise UsageError(
                f"there is a piece '{piece.id}' in '{others[held.cook].cook.name}' already: "
                "give it another id"
            )
    if not others:
        return body
    channels = tuple(_channels(cook, book))
    return replace(body, cook=replace(cook, id=cook.id or cook.name, channels=channels))


def _channels(cook: Cook, book: Book) -> Iterator[Channel]:
    """Yield the channels of a cook that begins, less those that sit in other cooks' pieces."""
    others = book.open_cooks()
    for channel in cook.channels:
        placed = book.assignment(channel.id)
        held = None if placed is None else book.pieces.get(placed.channel.piece or "")
        if placed is None or held is None or held.cook not in others:
            yield _with_band(channel, None if placed is None else placed.channel)
        elif channel.piece is not None:
            raise RefusedError(
                f"{channel.id} sits in {held.piece.id} of '{others[held.cook].cook.name}': name "
                "another probe, or assign it after the start"
            )


def _with_band(channel: Channel, now: Channel | None) -> Channel:
    """Return a pit with the band it has now, where the cook that begins gives none."""
    if now is None or now.site is not channel.site or band_of(channel) != (None, None, None):
        return channel
    return replace(channel, set_point_mc=now.set_point_mc, low_mc=now.low_mc, high_mc=now.high_mc)


def band_of(channel: Channel) -> tuple[int | None, int | None, int | None]:
    """Return set point, low and high of a pit, milli-Celsius."""
    return channel.set_point_mc, channel.low_mc, channel.high_mc


def differing_bands(cook: Cook, book: Book) -> Iterator[tuple[Channel, Channel]]:
    """Yield each place that an open cook has under another band: as it is now, and as wanted."""
    if not book.open_cooks():
        return
    for channel in cook.channels:
        placed = book.assignment(channel.id)
        if placed is None or placed.channel.site is not channel.site or channel.piece is not None:
            continue
        now, wanted = band_of(placed.channel), band_of(channel)
        if now != wanted and (None, None, None) not in (now, wanted):
            yield placed.channel, channel
