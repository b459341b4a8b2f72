"""Taking back, correcting, excluding: any entry of any cook, by its short id.

An entry of the running cook goes to the engine like every decision. One of a finished cook is
judged against that cook's own journal as it lies in the store, and the new entry joins it; the
engine only numbers and writes it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

from pitlogger.engine.commands import accept, is_undoable
from pitlogger.engine.resting import resting_on
from pitlogger.errors import RefusedError, UsageError
from pitlogger.model.belonging import BESIDE, cooks_of
from pitlogger.model.book import Book
from pitlogger.model.folding import counted, fold
from pitlogger.model.journal import (
    Body,
    ChannelDoubted,
    CheckMade,
    CookFinished,
    CookStarted,
    CookWithdrawn,
    Correctable,
    Corrected,
    CorrectiveTaken,
    Entry,
    HeldByTime,
    LearningSet,
    MealTold,
    Noted,
    PieceAdded,
    SignedOff,
    SpotRead,
    StageSet,
    TargetSet,
    Undone,
    Weighed,
)
from pitlogger.questions import NO_ANSWERS, Answers
from pitlogger.store.queries import Reader
from pitlogger.views.language import trn
from pitlogger.views.node import Node
from pitlogger.web.by_time import by_time_asked
from pitlogger.web.past_entries import meal_of
from pitlogger.web.requests import CorrectAsk, EntryAsk, LearningAsk, UndoAsk, WithdrawAsk

MOST_NAMED = 6
_OWN = (Undone, CookStarted)  # what "the last decision" never means


@dataclass(frozen=True, slots=True)
class Journal:
    """The journal that something is decided about; ``past`` is the id of a finished cook."""

    entries: list[Entry]
    past: str = ""

    def book(self) -> Book:
        return fold(self.entries)

    def accept(self, body: Body, t_ms: int) -> Body:
        """Return the body as it enters the journal of a finished cook; as ``engine`` does it.

        Raises:
            RefusedError: The cook was withdrawn: what is added to it would count nowhere.
        """
        book = self.book()
        if not isinstance(body, Undone | Corrected):
            refuse_withdrawn(book)
        return accept(body, book.reopened(), self.entries, {}, t_ms)


def refuse_withdrawn(book: Book) -> None:
    """Refuse to add to a cook that was taken out of lists and learning."""
    if book.withdrawn and book.cook is not None:
        name = book.cook.name
        raise RefusedError(f"'{name}' was withdrawn ({book.withdrawn}): take that back first, with"
                           f" 'pitlogger undo --cook \"{name}\"'")  # fmt: skip


async def journal_of(daemon: Node, cook: str | None, answers: Answers = NO_ANSWERS) -> Journal:
    """Return the journal of a cook by id or name; of what runs now where none is named.

    Raises:
        UsageError: No such cook.
    """
    from pitlogger.web.routes.reading import cook_id

    if cook is None:
        return Journal(daemon.engine.state.entries)
    known = await cook_id(daemon, cook, answers)
    return await _kept(daemon, known)


async def _kept(daemon: Node, cook: str) -> Journal:
    if cook in daemon.cooks:
        entries, book = daemon.engine.state.entries, daemon.engine.book
        return Journal([one for one in entries if cook in cooks_of(one.body, book, entries)])
    kept: list[Entry] = await daemon.ask(lambda reader: reader.entries(cook=cook))
    return Journal(kept, cook)


async def find(daemon: Node, ask: EntryAsk) -> tuple[Entry, Journal]:
    """Return the entry that is named, and the journal it stands in.

    Raises:
        UsageError: No such entry.
        QuestionError: A bare number that several entries have.
    """
    text = ask.entry or (f"{ask.run}/{ask.seq}" if ask.run else str(ask.seq))
    if text.isdecimal():
        journal = await journal_of(daemon, ask.cook, ask.answers)
        found = [entry for entry in journal.entries if entry.seq == int(text)]
        if not found:
            raise UsageError(f"there is no entry {text} here: name it as it is shown, k7qm-{text}")
        ids = [entry.id for entry in found]
        chosen = ids[0] if len(ids) == 1 else ask.answers.choose(
            f"several entries are number {text}: which one?", ids)  # fmt: skip
        return found[ids.index(chosen)], journal
    await daemon.flushed()

    def look(reader: Reader) -> list[tuple[Entry, str | None]]:
        return reader.entries_by_id(text)

    named: list[tuple[Entry, str | None]] = await daemon.ask(look)
    if not named:
        raise UsageError(f"there is no entry '{text}': 'pitlogger cook show' lists them")
    runs = [f"{entry.run}/{entry.seq}" for entry, _ in named]
    chosen = runs[0] if len(runs) == 1 else ask.answers.choose(
        f"several entries are known as {text}: which one?", runs)  # fmt: skip
    entry, cook = named[runs.index(chosen)]
    if cook is None:
        return entry, await _beside(daemon, entry)
    return entry, await _kept(daemon, cook)


async def _beside(daemon: Node, entry: Entry) -> Journal:
    """Return what was entered of the meal that an entry is of: it lies beside its cook.

    Raises:
        UsageError: It is of no meal, and so of no cook at all.
    """
    await daemon.flushed()
    told: list[Entry] = await daemon.ask(lambda reader: meal_of(reader, entry))
    if not told:
        raise UsageError(f"entry {entry.id} ({entry.body.kind}) belongs to no cook")
    return Journal(told, BESIDE)


_STAYS: dict[type, str] = {
    CheckMade: "a check stays on record: make another (pitlogger check)",
    CorrectiveTaken: "corrective action stays on record: write another for that breach, the last "
    "one counts (pitlogger record correct)",
    ChannelDoubted: "the node noticed that: say whether it was right (pitlogger channel doubt)",
    SignedOff: "a signature stays: what is entered later makes a version that is not signed",
}


def _refuse_what_stays(entry: Entry) -> None:
    """Refuse to take back or correct what stays on record, and say what to do instead."""
    if not is_undoable(entry) and not isinstance(entry.body, CookStarted):
        why = _STAYS.get(type(entry.body), "it is no decision of a person's")
        raise UsageError(f"entry {entry.id} ({entry.body.kind}) stays as it is: {why}")


def last_decision(journal: Journal) -> Entry:
    """Return the last entry of a person that counts.

    Raises:
        RefusedError: There is none.
    """
    never = (*_OWN, CookFinished) if journal.past else _OWN  # nor is a cook opened by it
    for entry, _, _ in reversed(counted(journal.entries)):
        if is_undoable(entry) and not isinstance(entry.body, never):
            return entry
    raise RefusedError("there is nothing to undo")


def taken_along(
    journal: Journal, entry: Entry, answers: Answers, instead: Correctable | None = None
) -> tuple[list[Body], Journal]:
    """Return the undos of what rests on an entry, last first, and the journal with them.

    Raises:
        QuestionError: There is something, and nobody said that it goes too.
    """
    resting = resting_on(journal.entries, entry, instead)
    if not resting:
        return [], journal
    shown = "; ".join(f"{one.id} {one.body.kind}" for one in resting[:MOST_NAMED])
    more = "" if len(resting) <= MOST_NAMED else f" and {len(resting) - MOST_NAMED} more"
    answers.choose(
        trn(
            "{count} entry rests on {entry}: {shown}. Take it back too?",
            "{count} entries rest on {entry}: {shown}. Take them back too?",
            len(resting), entry=entry.id, shown=shown.replace(";", ",") + more,
        ),
        [f"take back {len(resting)} more"],
    )  # fmt: skip
    undos: list[Body] = [
        Undone(one.run, one.seq, f"rested on {entry.id}") for one in reversed(resting)
    ]
    said = [Entry(entry.run, -number, entry.t_ms, undo) for number, undo in enumerate(undos, 1)]
    return undos, replace(journal, entries=[*journal.entries, *said])


async def undone(daemon: Node, ask: UndoAsk) -> tuple[Body, Journal, list[Body]]:
    """Return the undo requested, else of the last decision, and those that come before it."""
    if ask.entry is None and ask.seq is None:
        journal = await journal_of(daemon, ask.cook, ask.answers)
        entry = last_decision(journal)
        while isinstance(entry.body, MealTold) and not journal.past:
            if _counts(entry, await _beside(daemon, entry)):
                break
            journal = replace(journal, entries=[one for one in journal.entries if one is not entry])
            entry = last_decision(journal)
    else:
        entry, journal = await find(daemon, ask)
    _refuse_what_stays(entry)
    if isinstance(entry.body, MealTold) and not journal.past:
        journal = await _beside(daemon, entry)
    if isinstance(entry.body, CookFinished) and journal.past:
        journal = _reopened(daemon, entry)
    if not _counts(entry, journal):
        raise RefusedError(f"entry {entry.id} was taken back already; nothing was changed")
    along, journal = taken_along(journal, entry, ask.answers)
    return Undone(entry.run, entry.seq, ask.reason), journal, along


def _counts(entry: Entry, journal: Journal) -> bool:
    """Return whether an entry was not taken back."""
    return any(one is entry or one.id == entry.id for one, _, _ in counted(journal.entries))


async def corrected(daemon: Node, ask: CorrectAsk) -> tuple[Body, Journal, list[Body]]:
    """Return the correction requested: the entry as it counts now, with the fields given.

    With it the undos of what rests on the entry as it was, which come first.
    """
    entry, journal = await find(daemon, ask)
    _refuse_what_stays(entry)
    if isinstance(entry.body, Corrected):  # a correction names what it corrected
        first = (entry.body.of_run, entry.body.of_seq)
        entry = next(one for one in journal.entries if (one.run, one.seq) == first)
    standing = {(one.run, one.seq): body for one, body, _ in counted(journal.entries)}
    body = standing.get((entry.run, entry.seq))
    if body is None:
        raise RefusedError(f"entry {entry.id} was taken back: undo that first, then correct it")
    changed = _changed(body, ask)
    if changed is None:
        raise UsageError(f"entry {entry.id} ({body.kind}) cannot be corrected: undo it")
    _check_fits(entry, body, ask)
    if changed == body:
        raise UsageError(f"entry {entry.id} stays as it was: say what is right (--mass, --at, ...)")
    along, journal = taken_along(journal, entry, ask.answers, changed)
    if isinstance(changed, HeldByTime):
        correction = Corrected(entry.run, entry.seq, changed)
        accept(correction, journal.book(), journal.entries, {}, daemon.clock.engine_ms())
        by_time_asked(daemon, changed, ask.answers)
    return Corrected(entry.run, entry.seq, changed, ask.reason), journal, along


def _reopened(daemon: Node, finish: Entry) -> Journal:
    """Return the journal in which a cook that is over can go on.

    Raises:
        RefusedError: The node has begun another since, or anew, and forgot this one.
    """
    entries = daemon.engine.state.entries
    if any((one.run, one.seq) == (finish.run, finish.seq) for one in entries):
        return Journal(entries)
    raise RefusedError(
        "this cook is over for good; its entries can be corrected and added to all the same"
    )


def _changed(body: Body, ask: CorrectAsk) -> Any:
    """Return a body with the fields given in place of its own, ``None`` where none can be."""
    timed = {} if ask.at is None else {"at_ms": ask.at, "timed": "stated"}
    match body:
        case Weighed():
            given = {"gross_mg": ask.mass, "tare_mg": ask.tare, "checkpoint": ask.checkpoint,
                     "piece": ask.piece}  # fmt: skip
            typed = {} if ask.mass is None else {"source": "typed", "interval_mg": 0}
            return _with(body, given, {**timed, **typed})
        case StageSet():
            given = {"stage": ask.stage, "piece": ask.piece, "wrap": ask.wrap, "mass_mg": ask.mass}
            return _with(body, given, timed)
        case SpotRead():
            return _with(body, {"value_mc": ask.value, "piece": ask.piece}, timed)
        case HeldByTime():
            return _with(body, {"hours": ask.hours, "piece": ask.piece}, timed)
        case Noted():
            return _with(body, {"text": ask.text, "piece": ask.piece}, {})
        case TargetSet():
            given = {"wrap_at_mc": ask.wrap_at, "pull_at_mc": ask.pull_at, "piece": ask.piece}
            return _with(body, given, {})
        case PieceAdded(piece=piece):
            return replace(body, piece=_with(piece, _piece_fields(ask), {}))
        case CookStarted(cook=cook):
            pieces = cook.pieces
            if ask.piece is not None:
                pieces = tuple(_with(one, _piece_fields(ask), {}) if one.id == ask.piece else one
                               for one in pieces)  # fmt: skip
            made = _with(cook, {"name": ask.name, "guests": ask.guests}, {"pieces": pieces})
            return replace(body, cook=made, at_ms=body.at_ms if ask.at is None else ask.at)
        case _:
            return None


_PIECE = ("cut", "count", "mass", "supplier", "grade", "wrap", "price_per_kg")
_FITTING: dict[type, tuple[str, ...]] = {  # what a kind of entry holds
    Weighed: ("mass", "tare", "checkpoint", "piece", "at"),
    StageSet: ("stage", "piece", "wrap", "mass", "at"),
    SpotRead: ("value", "piece", "at"),
    HeldByTime: ("hours", "piece", "at"),
    Noted: ("text", "piece"),
    TargetSet: ("wrap_at", "pull_at", "piece"),
    PieceAdded: _PIECE,
    CookStarted: ("name", "guests", "piece", "at", *_PIECE),
}
_NOT_OF_THE_BODY = {"entry", "run", "seq", "cook", "reason", "by", "key", "confirm"}


def _check_fits(entry: Entry, body: Body, ask: CorrectAsk) -> None:
    """Refuse a field that an entry of its kind does not hold: it would be passed over.

    Raises:
        UsageError: One is given.
    """
    held = _FITTING[type(body)]
    given = {name for name, value in ask.model_dump(exclude_none=True).items() if value != ""}
    if strange := sorted(given - _NOT_OF_THE_BODY - {*held}):
        options = {
            name: f"--{_OPTION.get(name, name).replace('_', '-')}" for name in (*strange, *held)
        }
        raise UsageError(
            f"entry {entry.id} ({body.kind}) has no {options[strange[0]]}:"
            f" expected {', '.join(options[name] for name in held)}"
        )


_OPTION = {"value": "temp"}  # as the command line names it


def _piece_fields(ask: CorrectAsk) -> dict[str, Any]:
    return {"cut": ask.cut, "count": ask.count, "mass_mg": ask.mass, "supplier": ask.supplier,
            "grade": ask.grade, "wrap": ask.wrap, "price_per_kg": ask.price_per_kg}  # fmt: skip


def _with(held: Any, given: dict[str, Any], always: dict[str, Any]) -> Any:
    changed = {name: value for name, value in given.items() if value is not None}
    return replace(held, **changed, **always)


def afterwards(body: Any, journal: Journal, *, is_timed: bool) -> Any:
    """Return what is entered for a finished cook; without a time it happened by its end."""
    if is_timed or not isinstance(body, Weighed | StageSet | SpotRead):
        return body
    book = journal.book()
    end_ms = book.finished_ms if book.finished_ms is not None else journal.entries[-1].t_ms
    return replace(body, at_ms=end_ms, timed="unrecorded")


async def learning(daemon: Node, ask: LearningAsk) -> tuple[Body, Journal]:
    """Return what is to be excluded from learning or included again: entry, piece or cook."""
    if ask.entry is not None or ask.seq is not None:
        entry, journal = await find(daemon, ask)
        if journal.past == BESIDE:
            raise UsageError(
                f"entry {entry.id} is of a meal: tell it again, or take it back (undo)"
            )
        body = LearningSet(ask.teaches, ask.reason, None, entry.run, entry.seq)
        return body, journal
    journal = await journal_of(daemon, ask.cook, ask.answers)
    gone = [one for one, body, _ in counted(journal.entries) if isinstance(body, CookWithdrawn)]
    if gone and ask.teaches and ask.piece is None:  # what was taken out whole comes back whole
        return Undone(gone[-1].run, gone[-1].seq, ask.reason), journal
    running = journal.book().cook
    if ask.piece is None and ask.cook is None and running is not None:
        question = f"no entry, piece or cook is named: is it all of '{running.name}'?"
        ask.answers.choose(question, ["all of it"])
    return LearningSet(ask.teaches, ask.reason, ask.piece), journal


async def withdrawn(daemon: Node, ask: WithdrawAsk) -> tuple[Body, Journal]:
    """Return the withdrawal of a cook: out of lists and learning, never erased.

    Raises:
        UsageError: No such cook.
        RefusedError: It still runs.
    """
    journal = await journal_of(daemon, ask.cook, ask.answers)
    if not journal.past:
        raise RefusedError("the cook still runs: finish it first (pitlogger cook finish)")
    return CookWithdrawn(journal.past, ask.reason), journal
