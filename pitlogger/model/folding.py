"""From journal entries to the book.

``fold`` reads entries in order. Undone ones drop out, corrected ones count as corrected; both
stay visible in the journal.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

from pitlogger.model import journal
from pitlogger.model.book import (
    Assignment,
    Book,
    ByTime,
    CookSpan,
    Id,
    Mark,
    PieceBook,
    Struck,
    Weighing,
)
from pitlogger.model.cooks import Channel, Cook, Piece, Stage


def counted(entries: Iterable[journal.Entry]) -> list[tuple[journal.Entry, journal.Body, bool]]:
    """Return the entries that count, each with its body as corrected and whether it was.

    An undo of an undo brings the entry back; of several corrections the last one counts.
    """
    listed = list(entries)
    undone: set[Id] = set()
    for entry in reversed(listed):
        if isinstance(entry.body, journal.Undone) and (entry.run, entry.seq) not in undone:
            undone.add((entry.body.of_run, entry.body.of_seq))
    corrections: dict[Id, journal.Body] = {}
    for entry in listed:
        if isinstance(entry.body, journal.Corrected) and (entry.run, entry.seq) not in undone:
            corrections[entry.body.of_run, entry.body.of_seq] = entry.body.body
    return [
        (entry, corrections.get(known, entry.body), known in corrections)
        for entry in listed
        if (known := (entry.run, entry.seq)) not in undone
    ]


def last_ms_of(entries: Sequence[journal.Entry], now_ms: int = 0) -> int:
    """Return when a cook ended as its journal has it: what is said of it later is no part of it.

    Of one that still runs, ``now_ms``, or the time of its last entry if that is later.
    """
    ends = [
        entry.t_ms for entry, body, _ in counted(entries) if isinstance(body, journal.CookFinished)
    ]
    return ends[-1] if ends else max(entries[-1].t_ms, now_ms)


def fold(entries: Iterable[journal.Entry]) -> Book:
    """Return the book that the entries of one cook amount to."""
    book = Book()
    listed = list(entries)
    since = _said_since(listed)
    for entry, body, corrected in counted(listed):
        entered_ms, by = since.get((entry.run, entry.seq), (entry.t_ms, entry.by))
        _apply(book, entry, body, corrected, entered_ms)
        if isinstance(body, journal.ChannelDoubted):
            book.doubted.append((entry.by, body))
        if isinstance(body, journal.StageSet) and body.piece in book.pieces:
            mark = Mark(body.stage, body.at_ms, entered_ms, by)
            book.pieces[body.piece].entered.append(mark)
    book.struck = _struck(listed)
    for piece in book.pieces.values():
        _inherit(book, piece)
        piece.marks.sort(key=lambda mark: mark.at_ms)
        piece.weighings.sort(key=lambda weighing: weighing.weighed.at_ms)
        if book.untaught_entries:
            piece.weighings = [
                replace(
                    one,
                    untaught=book.untaught_entries.get(one.id, ""),
                    taught=book.untaught_entries.get(one.id) == "",
                )
                for one in piece.weighings
            ]
    return book


def _said_since(entries: list[journal.Entry]) -> dict[Id, tuple[int, str]]:
    """Return since when what is said of a stage or of time as a control was known, and by whom.

    Where a correction changed the time of a stage alone, or left less time to food that is held
    by time, it was known from the first entry on.
    """
    counts = {(entry.run, entry.seq) for entry, _, _ in counted(entries)}
    said: dict[Id, journal.StageSet | journal.HeldByTime] = {}
    since: dict[Id, tuple[int, str]] = {}
    for entry in entries:
        body = entry.body
        of = (entry.run, entry.seq)
        if of in counts and isinstance(body, journal.Corrected):
            of, body = (body.of_run, body.of_seq), body.body
        if of not in counts or not isinstance(body, journal.StageSet | journal.HeldByTime):
            continue
        if of not in said or _is_new(said[of], body):
            since[of] = (entry.t_ms, entry.by)
        said[of] = body
    return since


def _is_new(
    before: journal.StageSet | journal.HeldByTime, body: journal.StageSet | journal.HeldByTime
) -> bool:
    if before.piece != body.piece:
        return True
    if isinstance(before, journal.HeldByTime) and isinstance(body, journal.HeldByTime):
        return body.discard_ms > before.discard_ms
    return getattr(before, "stage", None) is not getattr(body, "stage", None)


def _struck(entries: list[journal.Entry]) -> list[Struck]:
    """Return each value of a hand reading that counts no more, as it was entered."""
    counts = {(entry.run, entry.seq): body for entry, body, _ in counted(entries)}
    said: dict[Id, list[tuple[journal.Entry, journal.SpotRead]]] = {}
    ended: dict[Id, journal.Entry] = {}
    for entry in entries:
        body = entry.body
        if isinstance(body, journal.SpotRead):
            said[entry.run, entry.seq] = [(entry, body)]
        elif isinstance(body, journal.Corrected | journal.Undone):
            ended[body.of_run, body.of_seq] = entry
            if isinstance(body, journal.Corrected) and isinstance(body.body, journal.SpotRead):
                known = said.get((body.of_run, body.of_seq))
                if known is not None:
                    known.append((entry, body.body))
    return [
        Struck(entry, read, ended[of].t_ms, ended[of].by)
        for of, values in said.items()
        for entry, read in values
        if of in ended and counts.get(of) != read
    ]


def _apply(
    book: Book, entry: journal.Entry, body: journal.Body, corrected: bool, entered_ms: int
) -> None:
    t_ms = entry.t_ms
    match body:
        case journal.CookStarted(cook=cook):
            _start(book, cook, t_ms if body.at_ms is None else body.at_ms)
        case journal.CookFinished(cook=cook_id):
            _finish(book, cook_id, t_ms)
        case journal.LearningSet() | journal.CookWithdrawn():
            _set_learning(book, body)
        case journal.PieceAdded(piece=piece, cook=cook_id):
            of = cook_id if cook_id in book.cooks else _newest(book)
            book.pieces[piece.id] = PieceBook(piece, t_ms, of)
        case journal.PieceSplit(piece=parent, children=children):
            _succeed(book, (parent,), children, t_ms)
        case journal.PiecesMerged(pieces=parents, child=child):
            _succeed(book, parents, (child,), t_ms)
        case journal.ChannelAssigned():
            _place(book, body, t_ms)
        case journal.StageSet(piece=piece_id):
            if piece_id in book.pieces:
                _mark(book.pieces[piece_id], body)
        case journal.Weighed(piece=piece_id):
            if piece_id in book.pieces:
                weighing = Weighing((entry.run, entry.seq), entry.by, body, corrected)
                book.pieces[piece_id].weighings.append(weighing)
        case journal.TargetSet(piece=piece_id) if piece_id in book.pieces:
            _target(book.pieces[piece_id], body)
        case journal.SpotRead():
            book.spots.append((entry, body))
        case journal.Noted():
            book.notes.append((entry, body))
        case journal.Received(piece=piece_id) if piece_id in book.pieces:
            held = book.pieces[piece_id]
            held.piece = replace(
                held.piece,
                supplier=body.supplier or held.piece.supplier,
                lot=body.lot or held.piece.lot,
            )
        case journal.HeldByTime(piece=piece_id) if piece_id in book.pieces:
            held = book.pieces[piece_id]
            held.by_time = _soonest([held.by_time, ByTime(body, entered_ms)])
        case journal.MealTold():
            book.meal = body if book.meal is None else _added(book.meal, body)
        case journal.ProbeMoved(channel=channel_id):
            book.moved.append((t_ms, channel_id))
        case journal.CheckMade():
            book.checks.append((entry, body))
        case journal.Adjusted():
            book.adjusted.append((entry, body))
        case journal.Tared(channel=channel_id):
            book.tares[channel_id] = body
        case journal.AlertChanged():
            book.alerts.append((entry, body))
        case _:
            pass


def _start(book: Book, cook: Cook, t_ms: int) -> None:
    subject = cook.name if book.open_cooks() else "node"
    book.cooks[cook.id] = CookSpan(cook, t_ms, subject=subject)
    book.cook, book.started_ms, book.finished_ms = cook, t_ms, None
    for piece in cook.pieces:
        book.pieces[piece.id] = PieceBook(piece, t_ms, cook.id)
    for channel in cook.channels:
        _assign(book, channel, t_ms, lead=False)


def _newest(book: Book) -> str:
    return next(reversed(book.open_cooks()), "")


def _finish(book: Book, named: str, t_ms: int) -> None:
    """End the cook named, or the newest where records of earlier versions name none."""
    cook = named if named in book.cooks else _newest(book)
    if cook in book.cooks:
        book.cooks[cook] = replace(book.cooks[cook], finished_ms=t_ms)
    for held in book.pieces.values():
        if held.cook == cook:
            held.over_ms = t_ms
    left = book.open_cooks()
    if left:
        span = left[_newest(book)]
        book.cook, book.started_ms = span.cook, span.started_ms
    else:
        book.finished_ms = t_ms


_ORDER = {stage: place for place, stage in enumerate(Stage)}


def _mark(held: PieceBook, mark: journal.StageSet) -> None:
    """Add a mark; what was marked late as "now" gives way to a later stage stated before it.

    "On the pit" typed at ten, then "wrapped at half past nine": it went on the pit before
    that, at a time nobody recorded.
    """
    if mark.timed == "stated":
        place = _ORDER[mark.stage]
        held.marks = [
            replace(one, at_ms=mark.at_ms - 1, timed="unrecorded")
            if one.timed == "live" and one.at_ms > mark.at_ms and _ORDER[one.stage] < place
            and all(_ORDER[before.stage] < place for before in held.marks)
            else one
            for one in held.marks
        ]  # fmt: skip
    held.marks.append(mark)


def _set_learning(book: Book, body: journal.LearningSet | journal.CookWithdrawn) -> None:
    if isinstance(body, journal.CookWithdrawn):
        book.withdrawn = body.reason
        return
    why = "" if body.teaches else body.reason
    if body.of_run is not None and body.of_seq is not None:
        book.untaught_entries[body.of_run, body.of_seq] = why
    elif body.piece is None:
        book.untaught = why
    elif body.piece in book.pieces:
        book.pieces[body.piece].untaught = why


def _target(held: PieceBook, body: journal.TargetSet) -> None:
    piece = held.piece
    held.piece = replace(
        piece,
        wrap_at_mc=piece.wrap_at_mc if body.wrap_at_mc is None else body.wrap_at_mc,
        pull_at_mc=piece.pull_at_mc if body.pull_at_mc is None else body.pull_at_mc,
    )


def _soonest(found: Iterable[ByTime | None]) -> ByTime | None:
    """Return the one that is thrown away first: no later mark gives food more time."""
    known = (one for one in found if one is not None)
    return min(known, key=lambda one: one.said.discard_ms, default=None)


def _succeed(book: Book, parents: tuple[str, ...], children: tuple[Piece, ...], t_ms: int) -> None:
    """End the parents and begin the children."""
    cook = ""
    by_time = _soonest(held.by_time for name in parents if (held := book.pieces.get(name)))
    for parent in parents:
        if (held := book.pieces.get(parent)) is not None:
            cook = held.cook
            held.children += tuple(child.id for child in children)
            held.ended_ms = t_ms
            if held.by_time is not None:
                held.by_time = replace(held.by_time, divided=True)
    for child in children:
        made = book.pieces[child.id] = PieceBook(replace(child, parents=parents), t_ms, cook)
        if by_time is not None:
            made.by_time = replace(by_time, said=replace(by_time.said, piece=child.id))


def _inherit(book: Book, child: PieceBook) -> None:
    """Begin a child at the stage its first parent was in, however late that was marked."""
    parent = next((book.pieces[name] for name in child.piece.parents if name in book.pieces), None)
    stage = Stage.RAW if parent is None else parent.stage_at(child.added_ms)
    if stage is not Stage.RAW:
        inherited = journal.StageSet(child.piece.id, stage, child.added_ms)
        own, child.marks = child.marks, []
        for mark in (inherited, *own):
            _mark(child, mark)


def _added(told: journal.MealTold, later: journal.MealTold) -> journal.MealTold:
    """Return a meal as entered before with what was entered later in its place."""
    marks = {marked.piece: marked for marked in (*told.tender, *later.tender)}
    return journal.MealTold(
        later.cook,
        told.came if later.came is None else later.came,
        told.left_mg if later.left_mg is None else later.left_mg,
        tuple(marks.values()),
        later.text or told.text,
    )


def _place(book: Book, body: journal.ChannelAssigned, t_ms: int) -> None:
    was, other = book.assignment(body.channel.id), book.assignment(body.swapped_with or "")
    _assign(book, body.channel, t_ms, body.lead, body.at_ms)
    if was is not None and other is not None:
        there = replace(other.channel, site=was.channel.site, piece=was.channel.piece)
        _assign(book, there, t_ms, was.lead, body.at_ms)


def _assign(
    book: Book, channel: Channel, t_ms: int, lead: bool, at_ms: int | None = None
) -> None:  # fmt: skip
    """Let a channel sit somewhere, from ``at_ms`` on where that is said later."""
    history = book.channels.setdefault(channel.id, [])
    new = Assignment(channel, t_ms if at_ms is None else min(at_ms, t_ms), lead=lead)
    if new.from_ms < t_ms:
        same = history and history[-1].place == new.place
        new = replace(new, begun_said_ms=history[-1].from_ms if same else t_ms)
    for number, before in enumerate(history):
        until_ms = t_ms if before.to_ms is None else before.to_ms
        if until_ms < new.from_ms:
            continue
        said_ms = before.end_said_ms
        if until_ms > new.from_ms and before.place != new.place:
            said_ms = max(until_ms, said_ms or 0)
        history[number] = replace(
            before, to_ms=max(before.from_ms, new.from_ms), end_said_ms=said_ms
        )
    history.append(new)
    if lead:
        for other, held in book.channels.items():
            now = held[-1]
            if other != channel.id and now.lead and now.channel.piece == channel.piece:
                held[-1] = replace(now, lead=False)
