"""The book of a cook, or of several that are open at once: what its journal amounts to.

Pieces with their stages and weighings, where each channel sat and when, hand readings, notes.
``model.folding`` makes it of journal entries; engine, ledger, reports and pages all read it.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Literal

from pitlogger.model import journal
from pitlogger.model.cooks import BEFORE_FIRE, ON_PIT, Channel, Cook, Piece, Stage, Wrap
from pitlogger.model.readings import Site

Id = tuple[str, int]  # run, seq


@dataclass(frozen=True, slots=True)
class Span:
    """A stage of a piece from ``from_ms`` to ``to_ms``; ``None`` while it lasts.

    ``source`` is who found it, ``p`` how likely it was when recognised.
    """

    stage: Stage
    from_ms: int
    to_ms: int | None = None
    source: Literal["person", "inferred"] = "person"
    p: float | None = None


@dataclass(frozen=True, slots=True)
class Mark:
    """A stage as it was marked: when it began, and when and by whom that was entered."""

    stage: Stage
    at_ms: int
    entered_ms: int
    by: str = ""


@dataclass(frozen=True, slots=True)
class ByTime:
    """A piece held by time: what was said of it, and when that was entered.

    ``divided``: it was split or merged since and goes on in what it became.
    """

    said: journal.HeldByTime
    entered_ms: int
    divided: bool = False


@dataclass(frozen=True, slots=True)
class Struck:
    """A hand reading that was taken back, corrected or given to another piece.

    ``until_ms`` is when, ``until_by`` by whom.
    """

    entry: journal.Entry
    read: journal.SpotRead
    until_ms: int
    until_by: str


@dataclass(frozen=True, slots=True)
class Weighing:
    """A weighing that counts, and the entry it came from."""

    id: Id
    by: str
    weighed: journal.Weighed
    corrected: bool = False
    untaught: str = ""  # why a person excluded it from learning
    taught: bool = False  # a person included it: it is right though it looks wrong


@dataclass(frozen=True, slots=True)
class Assignment:
    """Where a channel sat from ``from_ms`` to ``to_ms``; ``None`` while it lasts.

    Where its beginning or its end was said later, ``begun_said_ms`` and ``end_said_ms`` are when:
    what was read between is in doubt, here as there.
    """

    channel: Channel
    from_ms: int
    to_ms: int | None = None
    lead: bool = False
    begun_said_ms: int | None = None
    end_said_ms: int | None = None

    @property
    def place(self) -> tuple[Site, str | None]:
        return self.channel.site, self.channel.piece


@dataclass(frozen=True, slots=True)
class CookSpan:
    """A cook from its start to its end; ``None`` while it is open.

    ``subject`` is what its own alerts are about: ``node`` for a cook that began alone, its name
    for one that began beside another.
    """

    cook: Cook
    started_ms: int
    finished_ms: int | None = None
    subject: str = "node"


@dataclass(slots=True)
class PieceBook:
    """One piece as the journal tells it. ``marks`` are its stages as set, in order of time.

    ``cook`` is the id of its cook, ``over_ms`` when that was finished.
    """

    piece: Piece
    added_ms: int
    cook: str = ""
    over_ms: int | None = None
    marks: list[journal.StageSet] = field(default_factory=list)
    weighings: list[Weighing] = field(default_factory=list)
    entered: list[Mark] = field(default_factory=list)  # its marks, as they were entered
    children: tuple[str, ...] = ()
    ended_ms: int | None = None  # when it was split or merged away
    untaught: str = ""  # why a person excluded it from learning
    by_time: ByTime | None = None

    @property
    def is_open(self) -> bool:
        """Whether it is followed: its cook goes on, and it was not split or merged away."""
        return self.ended_ms is None and self.over_ms is None

    @property
    def stage(self) -> Stage:
        return self.marks[-1].stage if self.marks else Stage.RAW

    @property
    def stage_since_ms(self) -> int:
        return self.marks[-1].at_ms if self.marks else self.added_ms

    @property
    def told_ms(self) -> int:
        """When a person last told of its stage; what is recognised alone does not count."""
        told = (mark.at_ms for mark in self.marks if not mark.is_unconfirmed)
        return max(told, default=self.added_ms)

    @property
    def is_unsaid(self) -> bool:
        """Whether the stage it is in was recognised and nobody agreed."""
        return bool(self.marks) and self.marks[-1].is_unconfirmed

    @property
    def may_be_on_pit(self) -> bool:
        """Whether it is on the pit, or only looks as if it were not any more."""
        for mark in reversed(self.marks):
            if mark.stage in ON_PIT:
                return True
            if not mark.is_unconfirmed:
                return False
        return False

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
        mark = self.mark_at(t_ms)
        return Stage.RAW if mark is None else mark.stage

    def mark_at(self, t_ms: int) -> journal.StageSet | None:
        """Return the last mark up to a time."""
        return next((mark for mark in reversed(self.marks) if mark.at_ms <= t_ms), None)

    def first(self, *stages: Stage) -> int | None:
        """Return when the piece first entered any of the stages."""
        mark = self.mark(*stages)
        return None if mark is None else mark.at_ms

    def mark(self, *stages: Stage) -> journal.StageSet | None:
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
            spans.append(Span(mark.stage, mark.at_ms, None, mark.source, mark.p))
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
    """What a journal tells. ``cook`` is ``None`` before one is started.

    Of several open cooks, ``cook`` and ``started_ms`` are the newest one's; ``finished_ms`` is
    ``None`` while any is open. ``only`` gives the book of one of them.
    """

    cook: Cook | None = None
    started_ms: int | None = None
    finished_ms: int | None = None
    cooks: dict[str, CookSpan] = field(default_factory=dict)  # by id, as they began
    pieces: dict[str, PieceBook] = field(default_factory=dict)
    channels: dict[str, list[Assignment]] = field(default_factory=dict)
    spots: list[tuple[journal.Entry, journal.SpotRead]] = field(default_factory=list)
    struck: list[Struck] = field(default_factory=list)
    checks: list[tuple[journal.Entry, journal.CheckMade]] = field(default_factory=list)
    notes: list[tuple[journal.Entry, journal.Noted]] = field(default_factory=list)
    moved: list[tuple[int, str]] = field(default_factory=list)  # t_ms, channel
    adjusted: list[tuple[journal.Entry, journal.Adjusted]] = field(default_factory=list)
    tares: dict[str, journal.Tared] = field(default_factory=dict)
    meal: journal.MealTold | None = None  # each part as last told
    alerts: list[tuple[journal.Entry, journal.AlertChanged]] = field(default_factory=list)
    doubted: list[tuple[str, journal.ChannelDoubted]] = field(
        default_factory=list
    )  # by whom, if by any
    untaught: str = ""  # why a person excluded the whole cook from learning
    untaught_entries: dict[Id, str] = field(default_factory=dict)
    withdrawn: str = ""  # why it was taken out of lists and learning

    def open_cooks(self) -> dict[str, CookSpan]:
        """Return the cooks that are not finished, by id, the newest last."""
        return {cook: span for cook, span in self.cooks.items() if span.finished_ms is None}

    def span_of(self, piece: str) -> CookSpan | None:
        """Return the cook of a piece."""
        held = self.pieces.get(piece)
        return None if held is None else self.cooks.get(held.cook)

    def reopened(self) -> Book:
        """Return the book as if its cooks were not finished: what is said of them later joins."""
        return replace(
            self, finished_ms=None,
            cooks={cook: replace(span, finished_ms=None) for cook, span in self.cooks.items()},
            pieces={name: replace(held, over_ms=None) for name, held in self.pieces.items()},
        )  # fmt: skip

    def only(self, cook: str) -> Book:
        """Return the book of one cook: its pieces, its times, and all that is common."""
        span = self.cooks[cook]
        pieces = {name: held for name, held in self.pieces.items() if held.cook == cook}
        return replace(
            self, cook=span.cook, started_ms=span.started_ms, finished_ms=span.finished_ms,
            cooks={cook: span}, pieces=pieces,
        )  # fmt: skip

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

    def hand_readings(self, piece: str) -> list[journal.SpotRead]:
        """Return the hand readings of a piece of which the time is known, by time."""
        held = [spot for _, spot in self.spots if spot.piece == piece]
        return sorted((s for s in held if s.timed != "unrecorded"), key=lambda spot: spot.at_ms)

    def told_until_ms(self) -> int:
        """Return the latest moment of which, or while a cook is open at which, anything is said."""
        pieces = self.pieces.values()
        moments = [self.finished_ms or self.started_ms or 0]
        moments += [mark.at_ms for held in pieces for mark in held.marks]
        if self.finished_ms is None:
            moments += [mark.entered_ms for held in pieces for mark in held.entered]
        moments += [sat.from_ms for held in self.channels.values() for sat in held]
        moments += [max(entry.t_ms, spot.at_ms) for entry, spot in self.spots]
        moments += [entry.t_ms for entry, _ in self.checks]
        moments += [struck.until_ms for struck in self.struck]
        return max(moments)
