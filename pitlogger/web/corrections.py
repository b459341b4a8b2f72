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
from pitlogger.model import journal
from pitlogger.model.belonging import BESIDE, cooks_of
from pitlogger.model.book import Book
from pitlogger.model.folding import counted, fold
from pitlogger.questions import NO_ANSWERS, Answers
from pitlogger.store.queries import Reader
from pitlogger.views.language import trn
from pitlogger.views.node import Node
from pitlogger.web.by_time import by_time_asked
from pitlogger.web.past_entries import meal_of
from pitlogger.web.requests import CorrectAsk, EntryAsk, LearningAsk, UndoAsk, WithdrawAsk

MOST_NAMED = 6
_OWN = (journal.Undone, journal.CookStarted)  # what "the last decision" never means


@dataclass(frozen=True, slots=True)
class Journal:
    """The journal that something is decided about; ``past`` is the id of a finished cook."""

    entries: list[journal.Entry]
    past: str = ""

    def book(self) -> Book:
        return fold(self.entries)

    def accept(self, body: journal.Body, t_ms: int) -> journal.Body:
        """Return the body as it enters the journal of a finished cook; as ``engine`` does it.

        Raises:
            RefusedError: The cook was withdrawn: what is added to it would count nowhere.
        """
        book = self.book()
        if not isinstance(body, journal.Undone | journal.Corrected):
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
    kept: list[journal.Entry] = await daemon.ask(lambda reader: reader.entries(cook=cook))
    return Journal(kept, cook)


async def find(daemon: Node, ask: EntryAsk) -> tuple[journal.Entry, Journal]:
    """Return the entry that is named, and the journal it stands in.

    Raises:
        UsageError: No such entry.
        QuestionError: A bare number that several entries have.
    """
    text = ask.entry or (f"{ask.run}/{ask.seq}" if ask.run else str(ask.seq))
    if text.isdecimal():
        kept = await journal_of(daemon, ask.cook, ask.answers)
        found = [entry for entry in kept.entries if entry.seq == int(text)]
        if not found:
            raise UsageError(f"there is no entry {text} here: name it as it is shown, k7qm-{text}")
        ids = [entry.id for entry in found]
        chosen = ids[0] if len(ids) == 1 else ask.answers.choose(
            f"several entries are number {text}: which one?", ids)  # fmt: skip
        return found[ids.index(chosen)], kept
    await daemon.flushed()

    def look(reader: Reader) -> list[tuple[journal.Entry, str | None]]:
        return reader.entries_by_id(text)

    named: list[tuple[journal.Entry, str | None]] = await daemon.ask(look)
    if not named:
        raise UsageError(f"there is no entry '{text}': 'pitlogger cook show' lists them")
    runs = [f"{entry.run}/{entry.seq}" for entry, _ in named]
    chosen = runs[0] if len(runs) == 1 else ask.answers.choose(
        f"several entries are known as {text}: which one?", runs)  # fmt: skip
    entry, cook = named[runs.index(chosen)]
    if cook is None:
        return entry, await _beside(daemon, entry)
    return entry, await _kept(daemon, cook)


async def _beside(daemon: Node, entry: journal.Entry) -> Journal:
    """Return what was entered of the meal that an entry is of: it lies beside its cook.

    Raises:
        UsageError: It is of no meal, and so of no cook at all.
    """
    await daemon.flushed()
    told: list[journal.Entry] = await daemon.ask(lambda reader: meal_of(reader, entry))
    if not told:
        raise UsageError(f"entry {entry.id} ({entry.body.kind}) belongs to no cook")
    return Journal(told, BESIDE)


_STAYS: dict[type, str] = {
    journal.CheckMade: "a check stays on record: make another (pitlogger check)",
    journal.CorrectiveTaken: "corrective action stays on record: write another for that breach, the"
    " last one counts (pitlogger record correct)",
    journal.ChannelDoubted: "the node noticed that: say whether it was right (pitlogger channel"
    " doubt)",
    journal.SignedOff: "a signature stays: what is entered later makes a version that is not"
    " signed",
}


def _refuse_what_stays(entry: journal.Entry) -> None:
    """Refuse to take back or correct what stays on record, and say what to do instead."""
    if not is_undoable(entry) and not isinstance(entry.body, journal.CookStarted):
        why = _STAYS.get(type(entry.body), "it is no decision of a person's")
        raise UsageError(f"entry {entry.id} ({entry.body.kind}) stays as it is: {why}")


def last_decision(kept: Journal) -> journal.Entry:
    """Return the last entry of a person that counts.

    Raises:
        RefusedError: There is none.
    """
    never = (*_OWN, journal.CookFinished) if kept.past else _OWN  # nor is a cook opened by it
    for entry, _, _ in reversed(counted(kept.entries)):
        if is_undoable(entry) and not isinstance(entry.body, never):
            return entry
    raise RefusedError("there is nothing to undo")


def taken_along(
    kept: Journal,
    entry: journal.Entry,
    answers: Answers,
    instead: journal.Correctable | None = None,
) -> tuple[list[journal.Body], Journal]:
    """Return the undos of what rests on an entry, last first, and the journal with them.

    Raises:
        QuestionError: There is something, and nobody said that it goes too.
    """
    resting = resting_on(kept.entries, entry, instead)
    if not resting:
        return [], kept
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
    undos: list[journal.Body] = [
        journal.Undone(one.run, one.seq, f"rested on {entry.id}") for one in reversed(resting)
    ]
    said = [
        journal.Entry(entry.run, -number, entry.t_ms, undo) for number, undo in enumerate(undos, 1)
    ]
    return undos, replace(kept, entries=[*kept.entries, *said])


async def undone(daemon: Node, ask: UndoAsk) -> tuple[journal.Body, Journal, list[journal.Body]]:
    """Return the undo requested, else of the last decision, and those that come before it."""
    if ask.entry is None and ask.seq is None:
        kept = await journal_of(daemon, ask.cook, ask.answers)
        entry = last_decision(kept)
        while isinstance(entry.body, journal.MealTold) and not kept.past:
            if _counts(entry, await _beside(daemon, entry)):
                break
            kept = replace(kept, entries=[one for one in kept.entries if one is not entry])
            entry = last_decision(kept)
    else:
        entry, kept = await find(daemon, ask)
    _refuse_what_stays(entry)
    if isinstance(entry.body, journal.MealTold) and not kept.past:
        kept = await _beside(daemon, entry)
    if isinstance(entry.body, journal.CookFinished) and kept.past:
        kept = _reopened(daemon, entry)
    if not _counts(entry, kept):
        raise RefusedError(f"entry {entry.id} was taken back already; nothing was changed")
    along, kept = taken_along(kept, entry, ask.answers)
    return journal.Undone(entry.run, entry.seq, ask.reason), kept, along


def _counts(entry: journal.Entry, kept: Journal) -> bool:
    """Return whether an entry was not taken back."""
    return any(one is entry or one.id == entry.id for one, _, _ in counted(kept.entries))


async def corrected(
    daemon: Node, ask: CorrectAsk
) -> tuple[journal.Body, Journal, list[journal.Body]]:
    """Return the correction requested: the entry as it counts now, with the fields given.

    With it the undos of what rests on the entry as it was, which come first.
    """
    entry, kept = await find(daemon, ask)
    _refuse_what_stays(entry)
    if isinstance(entry.body, journal.Corrected):  # a correction names what it corrected
        first = (entry.body.of_run, entry.body.of_seq)
        entry = next(one for one in kept.entries if (one.run, one.seq) == first)
    standing = {(one.run, one.seq): body for one, body, _ in counted(kept.entries)}
    body = standing.get((entry.run, entry.seq))
    if body is None:
        raise RefusedError(f"entry {entry.id} was taken back: undo that first, then correct it")
    changed = _changed(body, ask)
    if changed is None:
        raise UsageError(f"entry {entry.id} ({body.kind}) cannot be corrected: undo it")
    _check_fits(entry, body, ask)
    if changed == body:
        raise UsageError(f"entry {entry.id} stays as it was: say what is right (--mass, --at, ...)")
    along, kept = taken_along(kept, entry, ask.answers, changed)
    if isinstance(changed, journal.HeldByTime):
        correction = journal.Corrected(entry.run, entry.seq, changed)
        accept(correction, kept.book(), kept.entries, {}, daemon.clock.engine_ms())
        by_time_asked(daemon, changed, ask.answers)
    return journal.Corrected(entry.run, entry.seq, changed, ask.reason), kept, along


def _reopened(daemon: Node, finish: journal.Entry) -> Journal:
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


def _changed(body: journal.Body, ask: CorrectAsk) -> Any:
    """Return a body with the fields given in place of its own, ``None`` where none can be."""
    timed = {} if ask.at is None else {"at_ms": ask.at, "timed": "stated"}
    match body:
        case journal.Weighed():
            given = {"gross_mg": ask.mass, "tare_mg": ask.tare, "checkpoint": ask.checkpoint,
                     "piece": ask.piece}  # fmt: skip
            typed = {} if ask.mass is None else {"source": "typed", "interval_mg": 0}
            return _with(body, given, {**timed, **typed})
        case journal.StageSet():
            given = {"stage": ask.stage, "piece": ask.piece, "wrap": ask.wrap, "mass_mg": ask.mass}
            return _with(body, given, timed)
        case journal.SpotRead():
            return _with(body, {"value_mc": ask.value, "piece": ask.piece}, timed)
        case journal.HeldByTime():
            return _with(body, {"hours": ask.hours, "piece": ask.piece}, timed)
        case journal.Noted():
            return _with(body, {"text": ask.text, "piece": ask.piece}, {})
        case journal.TargetSet():
            given = {"wrap_at_mc": ask.wrap_at, "pull_at_mc": ask.pull_at, "piece": ask.piece}
            return _with(body, given, {})
        case journal.PieceAdded(piece=piece):
            return replace(body, piece=_with(piece, _piece_fields(ask), {}))
        case journal.CookStarted(cook=cook):
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
    journal.Weighed: ("mass", "tare", "checkpoint", "piece", "at"),
    journal.StageSet: ("stage", "piece", "wrap", "mass", "at"),
    journal.SpotRead: ("value", "piece", "at"),
    journal.HeldByTime: ("hours", "piece", "at"),
    journal.Noted: ("text", "piece"),
    journal.TargetSet: ("wrap_at", "pull_at", "piece"),
    journal.PieceAdded: _PIECE,
    journal.CookStarted: ("name", "guests", "piece", "at", *_PIECE),
}
_NOT_OF_THE_BODY = {"entry", "run", "seq", "cook", "reason", "by", "key", "confirm"}


def _check_fits(entry: journal.Entry, body: journal.Body, ask: CorrectAsk) -> None:
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


def afterwards(body: Any, kept: Journal, *, is_timed: bool) -> Any:
    """Return what is entered for a finished cook; without a time it happened by its end."""
    if is_timed or not isinstance(body, journal.Weighed | journal.StageSet | journal.SpotRead):
        return body
    book = kept.book()
    end_ms = book.finished_ms if book.finished_ms is not None else kept.entries[-1].t_ms
    return replace(body, at_ms=end_ms, timed="unrecorded")


async def learning(daemon: Node, ask: LearningAsk) -> tuple[journal.Body, Journal]:
    """Return what is to be excluded from learning or included again: entry, piece or cook."""
    if ask.entry is not None or ask.seq is not None:
        entry, kept = await find(daemon, ask)
        if kept.past == BESIDE:
            raise UsageError(
                f"entry {entry.id} is of a meal: tell it again, or take it back (undo)"
            )
        body = journal.LearningSet(ask.teaches, ask.reason, None, entry.run, entry.seq)
        return body, kept
    kept = await journal_of(daemon, ask.cook, ask.answers)
    gone = [
        one for one, body, _ in counted(kept.entries) if isinstance(body, journal.CookWithdrawn)
    ]
    if gone and ask.teaches and ask.piece is None:  # what was taken out whole comes back whole
        return journal.Undone(gone[-1].run, gone[-1].seq, ask.reason), kept
    running = kept.book().cook
    if ask.piece is None and ask.cook is None and running is not None:
        question = f"no entry, piece or cook is named: is it all of '{running.name}'?"
        ask.answers.choose(question, ["all of it"])
    return journal.LearningSet(ask.teaches, ask.reason, ask.piece), kept


async def withdrawn(daemon: Node, ask: WithdrawAsk) -> tuple[journal.Body, Journal]:
    """Return the withdrawal of a cook: out of lists and learning, never erased.

    Raises:
        UsageError: No such cook.
        RefusedError: It still runs.
    """
    kept = await journal_of(daemon, ask.cook, ask.answers)
    if not kept.past:
        raise RefusedError("the cook still runs: finish it first (pitlogger cook finish)")
    return journal.CookWithdrawn(kept.past, ask.reason), kept
