"""What another phone did meanwhile, and what is asked before a mass counts twice."""

from __future__ import annotations

from pitlogger.errors import RefusedError, UsageError
from pitlogger.model.book import PieceBook, Weighing
from pitlogger.model.cooks import Checkpoint, Stage
from pitlogger.model.journal import Corrected, Entry, StageSet, Weighed
from pitlogger.node.containers import tare_of
from pitlogger.views import words
from pitlogger.views.node import Node
from pitlogger.views.shown import Shown
from pitlogger.web.access.roles import who_asks
from pitlogger.web.actions import decide, in_engine_time
from pitlogger.web.bodies import weighed as weighed_body
from pitlogger.web.page.cooking.figures import net_mg
from pitlogger.web.page.typed import MAY_BE_NOTHING
from pitlogger.web.requests import StageAsk, WeighAsk

REPLACE, SECOND = "replace", "second weighing"


def done_by_another(daemon: Node, ask: StageAsk, seen: str, shown: Shown) -> str:
    """Return who marked the stage already, empty if nobody did.

    Args:
        seen: The stage the phone showed when it was tapped, empty where it does not say.

    Raises:
        RefusedError: The piece is in another stage than the one the phone showed.
    """
    held = daemon.engine.book.pieces.get(ask.piece)
    if held is None or not held.marks:
        return ""
    entry = _mark(daemon, held)
    who = (entry.by if entry is not None else "") or "Somebody"
    ago = f"{shown.since(held.stage_since_ms)} ago"
    if held.stage is ask.stage and seen != ask.stage:
        return f"{who} marked {ask.piece} {words.stage(held.stage)} {ago}."
    if seen and held.stage != seen:
        raise RefusedError(
            f"{ask.piece} is {words.stage(held.stage)}: {who} marked it {ago}. "
            f"It was not marked {words.stage(Stage(ask.stage))}"
        )
    return ""


def _mark(daemon: Node, held: PieceBook) -> Entry | None:
    """Return the entry of the stage a piece is in."""
    for entry in reversed(daemon.engine.state.entries):
        body = entry.body.body if isinstance(entry.body, Corrected) else entry.body
        if isinstance(body, StageSet) and body.piece == held.piece.id and body.stage is held.stage:
            return entry
    return None


async def weigh_once(daemon: Node, ask: WeighAsk, shown: Shown) -> Entry:
    """Keep a mass; ask first where the checkpoint has one already.

    Raises:
        QuestionError: There is one, and no answer says what becomes of it.
        FieldError: The mass is zero or less.
    """
    refuse_nothing(daemon, ask)
    held = daemon.engine.book.pieces.get(ask.piece)
    before = None if held is None else _kept(held, ask)
    if before is not None and (known := await daemon.earlier(ask.key)) is not None:
        return known
    if before is None or _answer(ask, before, shown) == SECOND:
        return await decide(daemon, "weigh", ask)
    made = body_of(daemon, ask)
    return await daemon.submit(
        Corrected(*before.id, made, "weighed again"), ask.by or who_asks.get().initials, ask.key
    )


def _answer(ask: WeighAsk, before: Weighing, shown: Shown) -> str:
    mass, at = shown.mass(before.weighed.net_mg), shown.clock(before.weighed.at_ms)
    by = f" by {before.by}" if before.by else ""
    label = words.checkpoint(ask.checkpoint)
    question = (
        f"{ask.piece} has {mass} {label}, kept {at}{by}. Is it replaced, "
        "or is this a second weighing?"
    )
    return ask.answers.choose(question, (REPLACE, SECOND))


def body_of(daemon: Node, ask: WeighAsk) -> Weighed:
    """Return the weighing requested, less its container."""
    if ask.tare is None and (tare_mg := tare_of(daemon, ask.container)) is not None:
        ask = ask.model_copy(update={"tare": tare_mg})
    timed = in_engine_time(daemon, ask)
    assert isinstance(timed, WeighAsk)
    return weighed_body(daemon.engine, timed, daemon.clock.engine_ms())


def _kept(held: PieceBook, ask: WeighAsk) -> Weighing | None:
    """Return what stands at the checkpoint; what is taken off or put on simply adds up."""
    if ask.checkpoint not in set(Checkpoint):
        return None
    kept = [one for one in held.weighings if one.weighed.checkpoint == ask.checkpoint]
    return kept[-1] if kept else None


def refuse_nothing(daemon: Node, ask: WeighAsk) -> None:
    """Refuse a mass of zero or less.

    Raises:
        FieldError: It is, and what was weighed cannot be nothing.
    """
    if ask.checkpoint in MAY_BE_NOTHING:
        return
    mass_mg = ask.mass
    if mass_mg is None and ask.channel in daemon.engine.lanes:
        mass_mg = net_mg(daemon, ask.channel)
    if mass_mg is not None and mass_mg - (ask.tare or 0 if ask.mass is not None else 0) <= 0:
        raise UsageError(
            "That weighs nothing. Is the meat on the scale, and the right container taken off?",
            "mass" if ask.mass is not None else "",
        )
