"""What a press of a button does: greasy hands need no screen.

A press names nothing, so it acts only where one meaning is left: the one scale, the one piece
that is followed or the one that a weighing is due for, unless the configuration names them.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

from pitlogger.engine.inputs import Command
from pitlogger.engine.scales import only_scale, weighed_on
from pitlogger.engine.step import Engine
from pitlogger.engine.watch.recognition import inferred, is_return
from pitlogger.engine.watch.weights import ALL, LIKELY, weighing
from pitlogger.errors import PitloggerError, RefusedError
from pitlogger.model.alerts import ACTIVE, ANNUNCIATED
from pitlogger.model.book import PieceBook
from pitlogger.model.cooks import NEVER, ON_PIT, Stage
from pitlogger.model.journal import AlertActed, Body, Noted, StageSet
from pitlogger.model.next_steps import NEXT_CHECKPOINT, NEXT_STAGE, ButtonAct
from pitlogger.questions import QuestionError

BY = "button"  # in place of initials
# Codes of a button's reading (BTHome v2, object 0x3A).
PRESSES = {1: "press", 2: "double", 3: "triple", 4: "long"}


@dataclass(frozen=True, slots=True)
class Binding:
    """What one kind of press does, and to what: ``None`` where there is just one."""

    act: ButtonAct
    piece: str | None = None
    scale: str | None = None


def press(engine: Engine, binding: Binding, now_ms: int, feed: Callable[[Command], object]) -> bool:
    """Do what a press is bound to; return whether it was done."""
    return perform(binding.act, lambda: decisions(engine, binding, now_ms), now_ms, BY, feed)


def perform(
    what: str, make: Callable[[], list[Body]], now_ms: int, by: str,
    feed: Callable[[Command], object],
) -> bool:  # fmt: skip
    """Do what a hand without a screen wants; what cannot be done is noted, so that nobody wonders.

    Returns:
        Whether it was done.
    """
    try:
        for body in make():
            feed(Command(now_ms, body, by))
    except QuestionError as fault:
        words = f"{what} was not done, answer on the page: {fault.asked.question}"
        feed(Command(now_ms, Noted(words), by))
        return False
    except PitloggerError as refusal:
        feed(Command(now_ms, Noted(f"{what} was not done: {refusal}"), by))
        return False
    return True


def decisions(engine: Engine, binding: Binding, now_ms: int) -> list[Body]:
    """Return the journal bodies a press amounts to.

    Raises:
        UsageError: The scale or piece named is none.
        RefusedError: It is not clear what is meant, or it cannot be done as things stand.
    """
    match binding.act:
        case "acknowledge":
            return _acknowledged(engine)
        case "yes":
            return [_agreed(engine)]
        case "next-stage":
            return [_next_stage(_piece(engine, binding), now_ms)]
        case "keep-weight":
            held = _weighed_piece(engine, binding)
            checkpoint = NEXT_CHECKPOINT.get(held.stage)
            if checkpoint is None:
                raise RefusedError(f"{held.piece.id} is {held.stage}: nothing is weighed then")
            scale = binding.scale or only_scale(engine)
            return [weighed_on(engine, scale, held.piece.id, checkpoint, now_ms)]


def _acknowledged(engine: Engine) -> list[Body]:
    waiting = [w.key for w in engine.state.watches.values() if w.state in ANNUNCIATED]
    if not waiting:
        raise RefusedError("nothing waits to be acknowledged")
    return [AlertActed(key, "acknowledge") for key in waiting]


def _agreed(engine: Engine) -> Body:
    """Return a yes to the one question that stands, for what it holds likeliest.

    Off the pit other limits hold: that is agreed to where the temperature is shown, not here.
    """
    kinds = ("stage-likely", LIKELY)
    watches = engine.state.watches.values()
    asked = [one for one in watches if one.kind in kinds and one.state in ACTIVE]
    if len(asked) != 1:
        raise RefusedError(f"{len(asked)} questions stand: a yes answers one")
    subject = asked[0].key.partition("/")[2]
    if asked[0].kind == LIKELY and len(engine.weights.together(subject)) > 1:
        return AlertActed(asked[0].key, "answer", reason=ALL)
    if asked[0].kind == LIKELY and (load := engine.weights.asked(subject)) is not None:
        return replace(weighing(load[0], load[1][0]), confirmed=True)
    found = engine.recognition.proposals.get(subject, [])
    if (
        not found
        or found[-1].stage not in ON_PIT
        or is_return(engine.book.pieces[subject], found[-1].stage)
    ):
        raise RefusedError(f"{subject}: answer on the page, where its temperature is shown")
    return replace(inferred(subject, found[-1]), confirmed=True)


def _next_stage(held: PieceBook, now_ms: int) -> StageSet:
    following = NEXT_STAGE.get(held.stage)
    if following is Stage.WRAPPED and (held.piece.wrap == "none" or held.piece.wrap_at_mc == NEVER):
        following = NEXT_STAGE[Stage.WRAPPED]
    if following is None:
        raise RefusedError(f"{held.piece.id} is {held.stage}: no stage follows")
    return StageSet(held.piece.id, following, now_ms)


def _weighed_piece(engine: Engine, binding: Binding) -> PieceBook:
    """Return the piece that is weighed: the one a weighing is due for, if it is just one."""
    if binding.piece is None:
        watches = engine.state.watches.values()
        due = {w.piece for w in watches if w.kind == "weigh-due" and w.state in ACTIVE}
        if len(due) == 1 and (name := due.pop()) in engine.book.pieces:
            return engine.book.pieces[name]
    return _piece(engine, binding)


def _piece(engine: Engine, binding: Binding) -> PieceBook:
    book = engine.book
    if book.cook is None or book.finished_ms is not None:
        raise RefusedError("no cook is running")
    live = {name: held for name, held in book.pieces.items() if held.is_open}
    if binding.piece is not None:
        if binding.piece not in live:
            raise RefusedError(f"there is no piece '{binding.piece}' now: {', '.join(live)}")
        return live[binding.piece]
    if len(live) != 1:
        raise RefusedError(
            f"{len(live)} pieces are followed and a button cannot tell which is meant: "
            'write piece = "..." beside it in the configuration'
        )
    return next(iter(live.values()))
