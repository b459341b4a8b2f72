"""The book of a cook: what its journal amounts to.

``fold`` reads journal entries in order and returns the cook as it stands: pieces with
their stages and weighings, where each channel sat and when, hand readings, notes. Undone
entries drop out, corrected ones count as corrected; both stay visible in the journal.
Engine, ledger, reports and pages all read this one book.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace

from pitlogger.model.cooks import BEFORE_FIRE, Channel, Cook, Piece, Stage, Wrap
from pitlogger.model.journal import (
    Adjusted,
    AlertChanged,
    Body,
    ChannelAssigned,
    CheckMade,
    CookFinished,
    CookStarted,
    CookWithdrawn,
    Corrected,
    Entry,
    LearningSet,
    MealTold,
    Noted,
    PieceAdded,
    PiecesMerged,
    PieceSplit,
    ProbeMoved,
    SpotRead,
    StageSet,
    Tared,
    TargetSet,
    Undone,
    Weighed,
)
from pitlogger.model.readings import Site

Id = tuple[str, int]  # run, seq


@dataclass(frozen=True, slots=True)
class Span:
    """A stage of a piece from ``from_ms`` to ``to_ms``; ``None`` while it lasts."""

    stage: Stage
    from_ms: int
    to_ms: int | None = None


@dataclass(frozen=True, slots=True)
class Mark:
    """A stage as it was marked: when it began, and when and by whom that was entered."""

    stage: Stage
    at_ms: int
    entered_ms: int
    by: str = ""


@dataclass(frozen=True, slots=True)
class Struck:
    """A hand reading that was taken back, corrected or given to another piece.

    ``until_ms`` is when, ``until_by`` by whom.
    """

    entry: Entry
    read: SpotRead
    until_ms: int
    until_by: str


@dataclass(frozen=True, slots=True)
class Weighing:
    """A weighing that counts, and the entry it came from."""

    id: Id
    by: str
    weighed: Weighed
    corrected: bool = False
    untaught: str = ""  # why a person excluded it from learning
    taught: bool = False  # a person included it: it is right though it looks wrong


@dataclass(frozen=True, slots=True)
class Assignment:
    """Where a channel sat from ``from_ms`` to ``to_ms``; ``None`` while it lasts."""

    channel: Channel
    from_ms: int
    to_ms: int | None = None
    lead: bool = False


@dataclass(slots=True)
class PieceBook:
    """One piece as the journal tells it. ``marks`` are its stages as set, in order of time."""

    piece: Piece
    added_ms: int
    marks: list[StageSet] = field(default_factory=list)
    weighings: list[Weighing] = field(default_factory=list)
    entered: list[Mark] = field(default_factory=list)  # its marks, as they were entered
    children: tuple[str, ...] = ()
    ended_ms: int | None = None  # when it was split or merged away
    untaught: str = ""  # why a person excluded it from learning

    @property
    def stage(self) -> Stage:
        return self.marks[-1].stage if self.marks else Stage.RAW

    @property
    def stage_since_ms(self) -> int:
        return self.marks[-1].at_ms if self.marks else self.added_ms

    @property
    def wrap(self) -> Wrap | None:
        """How it is wrapped now, ``None`` if it is not."""
        if self.stage in (Stage.SMOKING,) or self.stage in BEFORE_FIRE:
            return None
        for mark in reversed(self.marks):
            if mark.stage is Stage.WRAPPED:
                return mark.wrap or self.piece.wrap or "paper"
        return None

    def stage_at(self, t_ms: int) -> Stage:
        """Return the stage at a time, ``raw`` before the first mark."""
        found = Stage.RAW
        for mark in self.marks:
            if mark.at_ms > t_ms:
                break
            found = mark.stage
        return found

    def first(self, *stages: Stage) -> int | None:
        """Return when the piece first entered any of the stages."""
        mark = self.mark(*stages)
        return None if mark is None else mark.at_ms

    def mark(self, *stages: Stage) -> StageSet | None:
        """Return the mark by which the piece first entered any of the stages."""
        return next((mark for mark in self.marks if mark.stage in stages), None)

    def spans(self) -> list[Span]:
        """Return its stages, each ending where the next begins; repeats are joined."""
        spans: list[Span] = []
        for mark in self.marks:
            if spans and spans[-1].stage is mark.stage:
                continue
            if spans:
                spans[-1] = replace(spans[-1], to_ms=mark.at_ms)
            spans.append(Span(mark.stage, mark.at_ms))
        if spans and self.ended_ms is not None:
            spans[-1] = replace(spans[-1], to_ms=max(self.ended_ms, spans[-1].from_ms))
        return spans

    def net_mg(self, checkpoint: str) -> int | None:
        """Return the last net mass kept at a checkpoint, ``None`` if it was not weighed."""
        for weighing in reversed(self.weighings):
            if weighing.weighed.checkpoint == checkpoint:
                return weighing.weighed.net_mg
        return None


@dataclass(slots=True)
class Book:
    """A cook as its journal tells it. ``cook`` is ``None`` before one is started."""

    cook: Cook | None = None
    started_ms: int | None = None
    finished_ms: int | None = None
    pieces: dict[str, PieceBook] = field(default_factory=dict)
    channels: dict[str, list[Assignment]] = field(default_factory=dict)
    spots: list[tuple[Entry, SpotRead]] = field(default_factory=list)
    struck: list[Struck] = field(default_factory=list)
    checks: list[tuple[Entry, CheckMade]] = field(default_factory=list)
    notes: list[tuple[Entry, Noted]] = field(default_factory=list)
    moved: list[tuple[int, str]] = field(default_factory=list)  # t_ms, channel
    adjusted: list[tuple[Entry, Adjusted]] = field(default_factory=list)
    tares: dict[str, Tared] = field(default_factory=dict)
    meal: MealTold | None = None  # each part as last told
    alerts: list[tuple[Entry, AlertChanged]] = field(default_factory=list)
    untaught: str = ""  # why a person excluded the whole cook from learning
    untaught_entries: dict[Id, str] = field(default_factory=dict)
    withdrawn: str = ""  # why it was taken out of lists and learning

    def assignment(self, channel: str, t_ms: int | None = None) -> Assignment | None:
        """Return where a channel sat at a time, or where it sits now."""
        history = self.channels.get(channel, [])
        if t_ms is None:
            return history[-1] if history else None
        for held in reversed(history):
            if held.from_ms <= t_ms:
                return held
        return None

    def channels_of(self, piece: str) -> list[str]:
        """Return the channels that ever sat in a piece."""
        return [
            channel
            for channel, history in self.channels.items()
            if any(held.channel.piece == piece for held in history)
        ]

    def cores(self, piece: str, t_ms: int | None = None) -> list[str]:
        """Return the core channels of a piece, the lead core first."""
        held = {
            channel: now
            for channel in self.channels
            if (now := self.assignment(channel, t_ms)) is not None
            and now.channel.piece == piece
            and now.channel.site is Site.CORE
        }
        return sorted(held, key=lambda channel: not held[channel].lead)


def counted(entries: Iterable[Entry]) -> list[tuple[Entry, Body, bool]]:
    """Return the entries that count, each with its body as corrected and whether it was.

    An undo of an undo brings the entry back; of several corrections the last one counts.
    """
    listed = list(entries)
    undone: set[Id] = set()
    for entry in reversed(listed):
        if isinstance(entry.body, Undone) and (entry.run, entry.seq) not in undone:
            undone.add((entry.body.of_run, entry.body.of_seq))
    corrections: dict[Id, Body] = {}
    for entry in listed:
        if isinstance(entry.body, Corrected) and (entry.run, entry.seq) not in undone:
            corrections[entry.body.of_run, entry.body.of_seq] = entry.body.body
    return [
        (entry, corrections.get(known, entry.body), known in corrections)
        for entry in listed
        if (known := (entry.run, entry.seq)) not in undone
    ]


def last_ms_of(entries: Sequence[Entry]) -> int:
    """Return when a cook ended as its journal has it: what is said of it later is no part of it.

    Of one that still runs, the time of its last entry.
    """
    ends = [entry.t_ms for entry, body, _ in counted(entries) if isinstance(body, CookFinished)]
    return ends[-1] if ends else entries[-1].t_ms


def fold(entries: Iterable[Entry]) -> Book:
    """Return the book that the entries of one cook amount to."""
    book = Book()
    listed = list(entries)
    corrected_ms = _corrections(listed)
    for entry, body, corrected in counted(listed):
        _apply(book, entry, body, corrected)
        if isinstance(body, StageSet) and body.piece in book.pieces:
            entered_ms, by = corrected_ms.get((entry.run, entry.seq), (entry.t_ms, entry.by))
            mark = Mark(body.stage, body.at_ms, entered_ms, by)
            book.pieces[body.piece].entered.append(mark)
    book.struck = _struck(listed)
    for piece in book.pieces.values():
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


def _corrections(entries: list[Entry]) -> dict[Id, tuple[int, str]]:
    """Return when and by whom each corrected entry was last corrected."""
    return {
        (entry.body.of_run, entry.body.of_seq): (entry.t_ms, entry.by)
        for entry in entries
        if isinstance(entry.body, Corrected)
    }


def _struck(entries: list[Entry]) -> list[Struck]:
    """Return each value of a hand reading that counts no more, as it was entered."""
    counts = {(entry.run, entry.seq): body for entry, body, _ in counted(entries)}
    said: dict[Id, list[tuple[Entry, SpotRead]]] = {}
    ended: dict[Id, Entry] = {}
    for entry in entries:
        body = entry.body
        if isinstance(body, SpotRead):
            said[entry.run, entry.seq] = [(entry, body)]
        elif isinstance(body, Corrected | Undone):
            ended[body.of_run, body.of_seq] = entry
            if isinstance(body, Corrected) and isinstance(body.body, SpotRead):
                known = said.get((body.of_run, body.of_seq))
                if known is not None:
                    known.append((entry, body.body))
    return [
        Struck(entry, read, ended[of].t_ms, ended[of].by)
        for of, values in said.items()
        for entry, read in values
        if of in ended and counts.get(of) != read
    ]


def _apply(book: Book, entry: Entry, body: Body, corrected: bool) -> None:
    t_ms = entry.t_ms
    match body:
        case CookStarted(cook=cook):
            t_ms = t_ms if body.at_ms is None else body.at_ms
            book.cook, book.started_ms = cook, t_ms
            for piece in cook.pieces:
                book.pieces[piece.id] = PieceBook(piece, t_ms)
            for channel in cook.channels:
                _assign(book, channel, t_ms, lead=False)
        case CookFinished():
            book.finished_ms = t_ms
        case LearningSet() | CookWithdrawn():
            _set_learning(book, body)
        case PieceAdded(piece=piece):
            book.pieces[piece.id] = PieceBook(piece, t_ms)
        case PieceSplit(piece=parent, children=children):
            _succeed(book, (parent,), children, t_ms)
        case PiecesMerged(pieces=parents, child=child):
            _succeed(book, parents, (child,), t_ms)
        case ChannelAssigned(channel=channel, lead=lead):
            _assign(book, channel, t_ms, lead)
        case StageSet(piece=piece_id):
            if piece_id in book.pieces:
                _mark(book.pieces[piece_id], body)
        case Weighed(piece=piece_id):
            if piece_id in book.pieces:
                weighing = Weighing((entry.run, entry.seq), entry.by, body, corrected)
                book.pieces[piece_id].weighings.append(weighing)
        case TargetSet(piece=piece_id, wrap_at_mc=wrap_at, pull_at_mc=pull_at):
            if piece_id in book.pieces:
                held = book.pieces[piece_id]
                held.piece = replace(
                    held.piece,
                    wrap_at_mc=held.piece.wrap_at_mc if wrap_at is None else wrap_at,
                    pull_at_mc=held.piece.pull_at_mc if pull_at is None else pull_at,
                )
        case SpotRead():
            book.spots.append((entry, body))
        case Noted():
            book.notes.append((entry, body))
        case MealTold():
            book.meal = body if book.meal is None else _added(book.meal, body)
        case ProbeMoved(channel=channel_id):
            book.moved.append((t_ms, channel_id))
        case CheckMade():
            book.checks.append((entry, body))
        case Adjusted():
            book.adjusted.append((entry, body))
        case Tared(channel=channel_id):
            book.tares[channel_id] = body
        case AlertChanged():
            book.alerts.append((entry, body))
        case _:
            pass


_ORDER = {stage: place for place, stage in enumerate(Stage)}


def _mark(held: PieceBook, mark: StageSet) -> None:
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


def _set_learning(book: Book, body: LearningSet | CookWithdrawn) -> None:
    if isinstance(body, CookWithdrawn):
        book.withdrawn = body.reason
        return
    why = "" if body.teaches else body.reason
    if body.of_run is not None and body.of_seq is not None:
        book.untaught_entries[body.of_run, body.of_seq] = why
    elif body.piece is None:
        book.untaught = why
    elif body.piece in book.pieces:
        book.pieces[body.piece].untaught = why


def _succeed(book: Book, parents: tuple[str, ...], children: tuple[Piece, ...], t_ms: int) -> None:
    """End the parents and begin the children at the stage the first parent was in."""
    stage: Stage | None = None
    for parent in parents:
        if (held := book.pieces.get(parent)) is not None:
            stage = stage or held.stage_at(t_ms)
            held.children += tuple(child.id for child in children)
            held.ended_ms = t_ms
    for child in children:
        made = book.pieces[child.id] = PieceBook(replace(child, parents=parents), t_ms)
        if stage is not None and stage is not Stage.RAW:
            made.marks.append(StageSet(child.id, stage, t_ms))


def _added(told: MealTold, later: MealTold) -> MealTold:
    """Return a meal as told before with what was told later in its place."""
    marks = {marked.piece: marked for marked in (*told.tender, *later.tender)}
    return MealTold(
        later.cook,
        told.came if later.came is None else later.came,
        told.left_mg if later.left_mg is None else later.left_mg,
        tuple(marks.values()),
        later.text or told.text,
    )


def _assign(book: Book, channel: Channel, t_ms: int, lead: bool) -> None:
    history = book.channels.setdefault(channel.id, [])
    if history:
        history[-1] = replace(history[-1], to_ms=t_ms)
    history.append(Assignment(channel, t_ms, lead=lead))
    if lead:
        for other, held in book.channels.items():
            now = held[-1]
            if other != channel.id and now.lead and now.channel.piece == channel.piece:
                held[-1] = replace(now, lead=False)
