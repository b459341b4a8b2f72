"""Which of the open cooks a journal entry belongs to.

With one cook open it is that one. With several, what is about a piece belongs to the piece's
cook, what is about a channel to the cook of the piece it sits in, what is about a pit to the
cooks with a piece on it; the rest, a device, a note about the day, to all that are open. What
comes after the end of its cook belongs to none.
"""

from __future__ import annotations

from collections.abc import Sequence

from pitlogger.model import journal
from pitlogger.model.book import Book
from pitlogger.model.cooks import Channel
from pitlogger.model.readings import Site

BESIDE = "-"  # in place of a past cook's id: a meal, and what takes it back, lie beside their cook


def cooks_of(body: journal.Body, book: Book, entries: Sequence[journal.Entry]) -> tuple[str, ...]:
    """Return the ids of the cooks an entry belongs to; none where no cook is open.

    Args:
        body: What was entered.
        book: The book with it in.
        entries: The entries the book was folded from: an undo belongs where they do.
    """
    match body:
        case journal.CookStarted(cook=cook):
            return (cook.id,)
        case (
            journal.CookFinished(cook=cook_id)
            | journal.PieceAdded(cook=cook_id)
            | journal.Noted(cook=cook_id)
        ) if cook_id in book.cooks:
            return (cook_id,)
        case journal.CookFinished():
            return tuple(book.cooks)[-1:]
        case journal.Undone() | journal.Corrected() | journal.LearningSet(of_run=str()):
            named = (body.of_run, body.of_seq)
            of = next((entry.body for entry in entries if (entry.run, entry.seq) == named), None)
            return _open(book) if of is None else cooks_of(of, book, entries)
        case journal.PiecesMerged(child=child):
            return _of_pieces(book, [child.id])
        case journal.ForecastMade() | journal.ForecastSkipped():
            return _of_pieces(book, [body.piece])
        case journal.ChannelAssigned(channel=channel):
            return _of_channel(book, channel.id)
        case _:
            return _of_subject(book, body)


def _of_subject(book: Book, body: journal.Body) -> tuple[str, ...]:
    piece, channel = getattr(body, "piece", None), getattr(body, "channel", None)
    if piece is None and (alert := getattr(body, "alert", None)) is not None:
        subject = alert.partition("/")[2].partition("@")[0]
        piece, channel = (subject, None) if subject in book.pieces else (None, subject)
    if isinstance(piece, str) and piece in book.pieces:
        return _of_pieces(book, [piece])
    if isinstance(channel, Channel):
        channel = channel.id
    if isinstance(channel, str):
        own = tuple(cook for cook, span in book.open_cooks().items() if span.subject == channel)
        return own or _of_channel(book, channel)
    return _open(book)


def _of_channel(book: Book, channel: str) -> tuple[str, ...]:
    """Return the cooks between which a channel sits: where it is, and where it was before."""
    held = book.channels.get(channel, [])[-2:]
    if held and held[-1].channel.site is Site.PIT:
        on_it = [name for name, one in book.pieces.items() if one.piece.pit in (None, channel)]
        return _of_pieces(book, on_it)
    return _of_pieces(book, [now.channel.piece for now in reversed(held)])


def _of_pieces(book: Book, pieces: Sequence[str | None]) -> tuple[str, ...]:
    known = [book.pieces[piece] for piece in pieces if piece in book.pieces]
    if not known:
        return _open(book)
    return tuple(dict.fromkeys(held.cook for held in known if held.over_ms is None))


def _open(book: Book) -> tuple[str, ...]:
    return tuple(book.open_cooks())
