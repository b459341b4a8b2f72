"""Which commands are accepted, and in what form they enter the journal.

``accept`` changes nothing. What cannot be used raises ``UsageError`` (exit code 2), what is
understood but refused as things stand ``RefusedError`` (exit code 1).
"""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

from pitlogger.clock import rfc3339
from pitlogger.engine.alert_acts import check_act
from pitlogger.engine.beside import beside
from pitlogger.errors import RefusedError, UsageError, unknown
from pitlogger.model import journal
from pitlogger.model.alerts import KINDS
from pitlogger.model.book import Book, PieceBook
from pitlogger.model.cooks import BACK, BEFORE_FIRE, ON_PIT, WEIGHABLE, Piece, Stage, may_follow
from pitlogger.model.entry_ids import short_id
from pitlogger.model.folding import fold
from pitlogger.rules.conditions import Watch

BEFORE_COOK_MS = 24 * 3_600_000  # meat may be read before its cook is entered
# What a person may take back or correct; the rest is history.
UNDOABLE = (
    journal.StageSet, journal.Weighed, journal.SpotRead, journal.Noted, journal.ChannelAssigned,
    journal.PieceAdded, journal.TargetSet, journal.PieceSplit, journal.PiecesMerged,
    journal.Received, journal.HeldByTime, journal.Undone, journal.Corrected, journal.CookFinished,
    journal.CookWithdrawn, journal.LearningSet, journal.MealTold,
)  # fmt: skip


def is_undoable(entry: journal.Entry) -> bool:
    """Return whether a person may take an entry back: a doubt only where a person said it."""
    own = isinstance(entry.body, journal.ChannelDoubted) and bool(entry.by)
    return own or isinstance(entry.body, UNDOABLE)


def accept(
    body: journal.Body,
    book: Book,
    entries: list[journal.Entry],
    watches: dict[str, Watch],
    t_ms: int,
) -> journal.Body:
    """Return the body as it enters the journal.

    Raises:
        UsageError: An unknown piece, checkpoint or alert, a stage out of order, a bad mass.
        RefusedError: No cook is running, one is running already, nothing to undo.
    """
    match body:
        case journal.CookStarted():
            return beside(body, book)
        case journal.CookFinished():
            return replace(body, cook=_open_cook(book, body.cook))
        case journal.StageSet() | journal.HeldByTime() | journal.TargetSet():
            _check_of_piece(body, piece_of(book, body.piece), t_ms)
        case journal.Weighed():
            piece_of(book, body.piece, at_ms=body.at_ms)
            _check_mass(body, t_ms)
        case journal.SpotRead():
            if body.piece is not None:
                piece_of(book, body.piece)
            _not_ahead(body.at_ms, t_ms)
            _not_before(body.at_ms, book)
        case journal.Noted(piece=str(piece)) if piece not in book.pieces:
            raise UsageError(unknown("piece", piece, book.pieces))
        case journal.Received(piece=piece):
            piece_of(book, piece)
            _not_ahead(body.at_ms, t_ms)
        case journal.PieceAdded():
            _check_new(book, (body.piece,))
            return replace(body, cook=_open_cook(book, body.cook))
        case journal.PieceSplit():
            return _split(body, book)
        case journal.PiecesMerged():
            for parent in body.pieces:
                piece_of(book, parent, at_ms=t_ms)
            if len({book.pieces[parent].cook for parent in body.pieces}) > 1:
                raise UsageError("pieces of two cooks stay apart: each has its own yield")
            _check_new(book, (body.child,))
            return replace(body, child=_like(body.child, book.pieces[body.pieces[0]].piece))
        case journal.ChannelAssigned(channel=channel):
            if channel.piece is not None:
                piece_of(book, channel.piece)
            if body.at_ms is not None and not (book.started_ms or 0) <= body.at_ms <= t_ms:
                raise UsageError(f"{channel.id}: it sits there since a time within the cook")
        case journal.CorrectiveTaken():
            _check_corrective(body, book)
        case journal.ProbeMoved() | journal.ChannelDoubted():
            running(book)
            if body.channel not in book.channels:
                raise UsageError(unknown("channel", body.channel, book.channels))
        case journal.Undone():
            named(entries, body.of_run, body.of_seq, "undone")
        case journal.Corrected():
            _check_correction(body, entries, t_ms)
        case journal.LearningSet():
            _check_learning(body, book, entries)
        case journal.AlertActed():
            check_act(body, watches, t_ms)
        case _:
            pass
    return body


def renamed(body: journal.Body, origins: dict[str, tuple[str, int]]) -> journal.Body:
    """Return a body with a replayed undo or correction pointed at the entry as numbered here.

    Args:
        origins: Where entries stand that had another ``run/seq`` once.
    """
    if isinstance(body, journal.Undone | journal.Corrected):
        found = origins.get(f"{body.of_run}/{body.of_seq}")
        if found is not None:
            return replace(body, of_run=found[0], of_seq=found[1])
    return body


def running(book: Book) -> None:
    """Refuse where no cook is running."""
    if book.cook is None or book.finished_ms is not None:
        raise RefusedError("no cook is running: start one with 'pitlogger cook start FILE'")


def _open_cook(book: Book, named: str) -> str:
    """Return the id of the cook that is meant; the only one that is open where none is named."""
    running(book)
    known = book.open_cooks()
    if not named and len(known) == 1:
        return next(iter(known))
    if named in known:
        return named
    names = ", ".join(span.cook.name for span in known.values())
    raise UsageError(
        f"no open cook '{named}': {names}" if named else f"which cook is meant: {names}?"
    )


def piece_of(book: Book, piece: str, at_ms: int | None = None) -> PieceBook:
    """Return a piece of the running cook."""
    running(book)
    held = book.pieces.get(piece)
    if held is None or (held.over_ms is not None and book.finished_ms is None):
        followed = [name for name, one in book.pieces.items() if one.over_ms is None]
        raise UsageError(unknown("piece", piece, followed))
    if at_ms is not None and held.ended_ms is not None and at_ms > held.ended_ms:
        raise _ended(held)
    return held


def _ended(held: PieceBook) -> UsageError:
    """Return why nothing more is said of a piece that was split or merged."""
    return UsageError(
        f"piece '{held.piece.id}' ended at {rfc3339(held.ended_ms or 0)}: "
        f"name what it became: {', '.join(held.children)}"
    )


def named(entries: list[journal.Entry], run: str, seq: int, what: str) -> journal.Entry:
    """Return the entry that an undo or a correction names."""
    for entry in entries:
        if (entry.run, entry.seq) == (run, seq):
            if is_undoable(entry) or (
                what == "corrected" and isinstance(entry.body, journal.CookStarted)
            ):
                return entry
            raise UsageError(f"entry {entry.id} ({entry.body.kind}) cannot be {what}")
    raise UsageError(
        f"there is no entry {short_id(run, seq)} to be {what}: see 'pitlogger cook show'"
    )


def _not_ahead(at_ms: int, t_ms: int) -> None:
    if at_ms > t_ms + 1000:
        raise UsageError(f"{rfc3339(at_ms)} lies in the future: it is {rfc3339(t_ms)} now")


def _not_before(at_ms: int, book: Book) -> None:
    """Refuse what was read long before its cook began."""
    if book.started_ms is not None and at_ms < book.started_ms - BEFORE_COOK_MS:
        raise UsageError(
            f"{rfc3339(at_ms)} lies before this cook, which began at {rfc3339(book.started_ms)}: "
            "was another day or time meant?"
        )


def _check_of_piece(
    body: journal.StageSet | journal.HeldByTime | journal.TargetSet, held: PieceBook, t_ms: int
) -> None:
    if isinstance(body, journal.StageSet):
        _check_stage(body, held, t_ms)
    elif isinstance(body, journal.HeldByTime):
        _check_by_time(body, held, t_ms)
    else:
        _check_targets(body, held.piece)


def _check_stage(body: journal.StageSet, held: PieceBook, t_ms: int) -> None:
    _not_ahead(body.at_ms, t_ms)
    if held.ended_ms is not None and body.at_ms >= held.ended_ms:
        raise _ended(held)
    before = held.stage_at(body.at_ms)
    thrown_ms = held.first(Stage.DISCARDED)
    if body.stage is Stage.DISCARDED and thrown_ms is not None:
        raise UsageError(f"{body.piece}: discarded already at {rfc3339(thrown_ms)}")
    later = next((mark for mark in held.marks if mark.at_ms > body.at_ms), None)
    if not may_follow(before, body.stage):
        raise UsageError(_out_of_order(body.piece, before, body.stage))
    if later is not None and not may_follow(body.stage, later.stage):
        raise UsageError(_out_of_order(body.piece, body.stage, later.stage))


def _out_of_order(piece: str, earlier: Stage, later: Stage) -> str:
    return (
        f"{piece}: stage '{later}' cannot follow '{earlier}'. "
        "If the earlier mark was wrong, take it back first (pitlogger undo)"
    )


def _check_by_time(body: journal.HeldByTime, held: PieceBook, t_ms: int) -> None:
    """Refuse what cannot be held by time; its temperature at the start is judged elsewhere."""
    _not_ahead(body.at_ms, t_ms)
    if held.ended_ms is not None:
        raise _ended(held)
    if held.by_time is not None:
        said = held.by_time.said
        raise RefusedError(
            f"{body.piece} is held by time already, since {rfc3339(said.at_ms)}, and is thrown "
            f"away at {rfc3339(said.discard_ms)}: its time is not begun anew"
        )
    stage = held.stage_at(body.at_ms)
    if stage in BEFORE_FIRE | ON_PIT | {Stage.REHEATING}:
        raise RefusedError(
            f"{body.piece} is {stage}: only cooked food that is off the pit is held by time"
        )
    if stage in (Stage.SERVED, Stage.DISCARDED):
        raise RefusedError(f"{body.piece} is {stage} already: there is nothing left to hold")
    back = next((m for m in held.marks if m.at_ms > body.at_ms and m.stage in BACK), None)
    if back is not None:
        raise RefusedError(
            f"{body.piece} was {back.stage} at {rfc3339(back.at_ms)}: food that is held by time "
            "does not go back to temperature control"
        )


def _check_mass(body: journal.Weighed, t_ms: int) -> None:
    if body.checkpoint not in WEIGHABLE:
        raise UsageError(unknown("checkpoint", body.checkpoint, WEIGHABLE))
    if body.gross_mg < 0 or body.tare_mg < 0:
        raise UsageError(f"{body.piece}: a mass is zero or more, got {body.gross_mg / 1000:g} g")
    if body.net_mg < 0:
        raise UsageError(
            f"{body.piece}: tare {body.tare_mg / 1000:g} g is more than gross "
            f"{body.gross_mg / 1000:g} g: which container was on the scale?"
        )
    _not_ahead(body.at_ms, t_ms)


def _check_targets(body: journal.TargetSet, piece: Piece) -> None:
    wrap_at = piece.wrap_at_mc if body.wrap_at_mc is None else body.wrap_at_mc
    pull_at = piece.pull_at_mc if body.pull_at_mc is None else body.pull_at_mc
    if wrap_at is not None and pull_at is not None and pull_at < wrap_at:
        raise UsageError(
            f"{piece.id}: pull at {pull_at / 1000:.1f} C lies below wrap at {wrap_at / 1000:.1f} C"
        )


def _check_corrective(body: journal.CorrectiveTaken, book: Book) -> None:
    """Refuse corrective action on what is no piece, or about no alert there is."""
    if book.cook is not None and body.piece not in book.pieces:
        raise UsageError(unknown("piece", body.piece, book.pieces))
    if body.alert is not None and body.alert.partition("/")[0] not in KINDS:
        raise UsageError(unknown("alert kind", body.alert.partition("/")[0], KINDS))


def _check_new(book: Book, children: tuple[Piece, ...]) -> None:
    names = [child.id for child in children]
    for name in names:
        if name in book.pieces or names.count(name) > 1:
            raise UsageError(f"there is a piece '{name}' already: each needs its own id")


def _split(body: journal.PieceSplit, book: Book) -> journal.PieceSplit:
    parent = piece_of(book, body.piece)
    if parent.ended_ms is not None:
        raise UsageError(f"piece '{body.piece}' was split or merged already")
    if len(body.children) < 2:
        raise UsageError(f"{body.piece}: a split needs at least two children")
    _check_new(book, body.children)
    return replace(body, children=tuple(_like(child, parent.piece) for child in body.children))


def _like(child: Piece, parent: Piece) -> Piece:
    """Return a child that takes from its parent what it does not say itself."""
    cut = child.cut
    if cut == "other":
        cut = parent.cut
        if parent.family == "brisket":
            for name in ("point", "flat"):
                if child.id.endswith(name):
                    cut = f"brisket-{name}"
    return replace(
        child,
        cut=cut,
        prepared=parent.prepared,
        pit=child.pit or parent.pit,
        wrap=child.wrap or parent.wrap,
        pull_at_mc=parent.pull_at_mc if child.pull_at_mc is None else child.pull_at_mc,
        supplier=parent.supplier,
        grade=parent.grade,
        lot=parent.lot,
    )


def _check_correction(body: journal.Corrected, entries: list[journal.Entry], t_ms: int) -> None:
    """Refuse a correction after which the journal would make no sense."""
    entry = named(entries, body.of_run, body.of_seq, "corrected")
    if type(entry.body) is not type(body.body):
        raise UsageError(
            f"entry {entry.id} is '{entry.body.kind}' and cannot be corrected to a "
            f"'{body.body.kind}': undo it and enter the other"
        )
    after = fold([*entries, journal.Entry(entry.run, -1, t_ms, body)])
    piece = getattr(body.body, "piece", None)
    if isinstance(piece, str) and piece not in after.pieces:
        raise UsageError(unknown("piece", piece, after.pieces))
    if isinstance(body.body, journal.Weighed):
        _check_mass(body.body, t_ms)
    elif isinstance(body.body, journal.HeldByTime):
        without = fold(
            [*entries, journal.Entry(entry.run, -1, t_ms, journal.Undone(entry.run, entry.seq))]
        )
        _check_by_time(body.body, without.pieces[body.body.piece], t_ms)
    elif isinstance(body.body, journal.StageSet | journal.SpotRead):
        _not_ahead(body.body.at_ms, t_ms)
        if isinstance(body.body, journal.SpotRead):
            _not_before(body.body.at_ms, after)
    if isinstance(body.body, journal.StageSet):
        marks = after.pieces[body.body.piece].marks
        for earlier, later in pairwise(marks):
            if not may_follow(earlier.stage, later.stage):
                raise UsageError(_out_of_order(later.piece, earlier.stage, later.stage))


def _check_learning(body: journal.LearningSet, book: Book, entries: list[journal.Entry]) -> None:
    if body.of_run is not None and body.of_seq is not None:
        wanted = (body.of_run, body.of_seq)
        if all((entry.run, entry.seq) != wanted for entry in entries):
            raise UsageError(f"there is no entry {short_id(*wanted)}: see 'pitlogger cook show'")
    elif body.piece is not None and body.piece not in book.pieces:
        raise UsageError(unknown("piece", body.piece, book.pieces))
    if not body.reason.strip():
        raise UsageError("say why (--reason): whoever plans from this later will ask")
