"""Records from the book of a cook: which weighings count, and what is odd about them."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import UTC, datetime

from pitlogger.model.book import Book, PieceBook, Weighing
from pitlogger.model.cooks import AddedMass, ByProduct, Checkpoint, Cook, Stage
from pitlogger.model.journal import MealTold
from pitlogger.yields.causes import CHAIN
from pitlogger.yields.plausible import implausible_masses
from pitlogger.yields.records import EntryDoubt, ListedHistory, PastPiece
from pitlogger.yields.weighing.uncertainty import KnownScale, Measured, net_mass, total

_POOLED = frozenset((*ByProduct, *AddedMass))


def from_books(books: Iterable[Book]) -> ListedHistory:
    """Return the history that the books of past cooks amount to, in the order given.

    A cook is known by its name (``names_of``).
    """
    told = list(books)
    listed: list[PastPiece] = []
    for known_as, book in zip(names_of(told), told, strict=True):
        listed += [replace(piece, cook=known_as) for piece in from_book(book)]
    return ListedHistory(tuple(listed))


def names_of(books: Iterable[Book]) -> Iterator[str]:
    """Yield what each cook is known as: one whose name was used before as ``name #2``."""
    times: dict[str, int] = {}
    for book in books:
        name = book.cook.name if book.cook else ""
        times[name] = times.get(name, 0) + 1
        yield name if times[name] == 1 else f"{name} #{times[name]}"


def from_book(book: Book, scales: Mapping[str, KnownScale] | None = None) -> list[PastPiece]:
    """Return the pieces of one cook.

    Args:
        book: The cook as its journal tells it.
        scales: What is known of each scale, by channel; an unknown one is taken as a
            kitchen scale with the interval its weighings declare.
    """
    known = scales or {}
    untared = list(_tare_not_taken(book))
    return [_from_piece(book, piece, known, untared) for piece in book.pieces.values()]


def _from_piece(
    book: Book, held: PieceBook, scales: Mapping[str, KnownScale], untared: Sequence[EntryDoubt]
) -> PastPiece:
    piece = held.piece
    masses = {
        checkpoint: _kept(held, checkpoint, scales)
        for checkpoint in dict.fromkeys(
            w.weighed.checkpoint for w in held.weighings if not w.weighed.reason
        )
    }
    drops = tuple(_drops(held, scales))
    wraps = [mark.wrap for mark in held.marks if mark.wrap]
    cook, meal = book.cook, book.meal
    return PastPiece(
        piece.id,
        piece.cut,
        cook=cook.name if cook else "",
        date=_day(book.started_ms),
        count=piece.count,
        masses={name: mass for name, mass in masses.items() if mass.value > 0},
        wrap=wraps[-1] if wraps else piece.wrap,
        pull_at_mc=piece.pull_at_mc,
        supplier=piece.supplier,
        grade=piece.grade,
        pit=piece.pit,
        price_per_kg=piece.price_per_kg,
        guests=_booked(cook),
        came=meal.came if meal else None,
        left_g=None if meal is None or meal.left_mg is None else meal.left_mg / 1000,
        tender=_tender(meal, piece.id),
        notes="; ".join(n.text for _, n in book.notes if n.piece == piece.id),
        parents=piece.parents,
        children=held.children,
        doubts=(
            *_weighed_twice(held),
            *_no_mass(held, masses),
            *(doubt for doubt in untared if doubt.piece == piece.id),
        ),
        discarded_g=_discarded(held, masses),
        drops=drops,
        discarded_why="; ".join(_whys(held)),
        teaches=held.stage is not Stage.DISCARDED
        and not any(at for at, _ in drops)
        and not (book.untaught or held.untaught or any(w.untaught for w in held.weighings))
        and not any(w.weighed.is_unconfirmed and not w.taught for w in held.weighings)
        and not _unconfirmed(held, {name: mass.value for name, mass in masses.items()}),
    )


def _discarded(held: PieceBook, masses: Mapping[str, Measured]) -> Measured | None:
    """Return the mass of a piece that was discarded: as told, else as last weighed."""
    if held.stage is not Stage.DISCARDED:
        return None
    told_mg = held.marks[-1].mass_mg
    if told_mg is not None:
        return net_mass(
            told_mg / 1000, scale=KnownScale("scale"), reading=f"{held.piece.id}/discarded"
        )
    weighed = [masses[name] for name in CHAIN if name in masses]
    return weighed[-1] if weighed else None


def _drops(held: PieceBook, scales: Mapping[str, KnownScale]) -> Iterator[tuple[str, Measured]]:
    """Yield each part that was thrown away, with the checkpoint that was weighed next."""
    for dropped in (w for w in held.weighings if w.weighed.reason):
        later = {w.weighed.checkpoint for w in held.weighings
                 if w.weighed.at_ms > dropped.weighed.at_ms}  # fmt: skip
        after = next((checkpoint for checkpoint in CHAIN if checkpoint in later), "")
        yield after, _measured(dropped, scales)


def _whys(held: PieceBook) -> Iterator[str]:
    """Yield why something of a piece was thrown away."""
    yield from (w.weighed.reason for w in held.weighings if w.weighed.reason)
    if held.stage is Stage.DISCARDED and held.marks[-1].reason:
        yield held.marks[-1].reason


def _unconfirmed(held: PieceBook, masses_g: Mapping[str, float]) -> bool:
    """Return whether a mass is hardly possible and nobody said that it is right."""
    confirmed = {w.weighed.checkpoint for w in held.weighings if w.weighed.confirmed or w.taught}
    return any(
        found.checkpoint not in confirmed and found.why != "nothing"
        for found in implausible_masses(held.piece.cut, held.piece.count, masses_g)
    )


def _booked(cook: Cook | None) -> int | None:
    """Return the guests booked: of all services together, else as the cook says itself."""
    if cook is None:
        return None
    return sum(service.guests or 0 for service in cook.services) or cook.guests or None


def _tender(meal: MealTold | None, piece: str) -> int | None:
    marks = meal.tender if meal else ()
    return next((told.mark for told in marks if told.piece == piece), None)


def _day(t_ms: int | None) -> str:
    return "" if t_ms is None else datetime.fromtimestamp(t_ms / 1000, UTC).date().isoformat()


def counting(held: PieceBook, checkpoint: str) -> list[Weighing]:
    """Return the weighings that make up the mass at a checkpoint.

    By-products and added masses add up. At a checkpoint the last weighing counts, but
    portions weighed in different named containers add up, the last of each container.
    """
    at = [w for w in held.weighings if w.weighed.checkpoint == checkpoint and not w.weighed.reason]
    if checkpoint in _POOLED:
        return at
    if len({w.weighed.container for w in at}) > 1 and all(w.weighed.container for w in at):
        return list({w.weighed.container: w for w in at}.values())
    return at[-1:]


def _kept(held: PieceBook, checkpoint: str, scales: Mapping[str, KnownScale]) -> Measured:
    return total(_measured(w, scales) for w in counting(held, checkpoint))


def _measured(weighing: Weighing, scales: Mapping[str, KnownScale]) -> Measured:
    w = weighing.weighed
    packer = w.checkpoint == Checkpoint.LABEL and w.source == "typed"
    owner = "packer" if packer else w.channel or "scale"
    scale = scales.get(owner) or (
        KnownScale(owner, interval_g=w.interval_mg / 1000) if w.interval_mg else KnownScale(owner)
    )
    reading = f"{w.piece}/{w.checkpoint}/{weighing.id[0]}:{weighing.id[1]}"
    tare = None
    if w.tare_mg or w.source == "scale":
        # One stored figure used for several weighings is one error, not several.
        stored = w.preset_tare or w.container or (w.tare_mg and w.source == "scale")
        tare = f"{w.container or owner}/{w.tare_mg}" if stored else reading
    return net_mass(w.gross_mg / 1000, w.tare_mg / 1000, scale=scale, reading=reading, tare=tare)


def _weighed_twice(held: PieceBook) -> Iterable[EntryDoubt]:
    """Ask which counts where two weighings of one checkpoint differ by more than 1 %."""
    for checkpoint in dict.fromkeys(w.weighed.checkpoint for w in held.weighings):
        at = [w for w in held.weighings if w.weighed.checkpoint == checkpoint]
        if checkpoint in _POOLED or len(counting(held, checkpoint)) > 1 or len(at) < 2:
            continue
        first, last = at[-2].weighed.net_mg, at[-1].weighed.net_mg
        if abs(first - last) > 0.01 * max(first, last):
            yield EntryDoubt(
                "weighed-twice",
                f"{held.piece.id} has two masses at {checkpoint}, {first / 1000:.0f} g and "
                f"{last / 1000:.0f} g; the later one counts. Undo the wrong one.",
                held.piece.id,
                checkpoint,
            )


def _no_mass(held: PieceBook, masses: Mapping[str, Measured]) -> Iterator[EntryDoubt]:
    """Ask about a net mass of zero or less; it counts as not weighed."""
    for checkpoint, mass in masses.items():
        if mass.value <= 0:
            yield EntryDoubt(
                "no-mass",
                f"{held.piece.id} at {checkpoint} has a net mass of {mass.value:.0f} g, so it is "
                "left out. Is the tare right?",
                held.piece.id,
                checkpoint,
            )


def _tare_not_taken(book: Book) -> Iterator[EntryDoubt]:
    """Ask about a weighing without tare between two that have one, on the same scale."""
    in_order = sorted(
        (w.weighed for held in book.pieces.values() for w in held.weighings),
        key=lambda weighed: weighed.at_ms,
    )
    for channel in dict.fromkeys(w.channel for w in in_order):
        of_scale = [w for w in in_order if w.channel == channel]
        for before, now, after in zip(of_scale, of_scale[1:], of_scale[2:], strict=False):
            if now.tare_mg == 0 and before.tare_mg > 0 and (after.tare_mg > 0 or now.container):
                yield EntryDoubt(
                    "tare-not-taken",
                    f"{now.piece} at {now.checkpoint} has no tare, but the weighing before it "
                    f"has {before.tare_mg / 1000:.0f} g. Was the container on the scale?",
                    now.piece,
                    now.checkpoint,
                )
