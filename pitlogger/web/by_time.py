"""Beginning to hold food by time: what is refused, and what is asked before it begins."""

from __future__ import annotations

from typing import Literal

from pitlogger.engine.commands import accept
from pitlogger.engine.watch.lineage import history_of
from pitlogger.errors import RefusedError
from pitlogger.model.journal import HeldByTime
from pitlogger.questions import Answers
from pitlogger.safety.time_control import limit_of, start_fault
from pitlogger.views.node import Node
from pitlogger.views.shown import Shown, in_unit
from pitlogger.web import requests

MARKED = "yes, it is marked"  # no figure in it: between question and answer time goes on


def held_by_time(daemon: Node, ask: requests.ByTimeAsk) -> HeldByTime:
    """Return the entry by which a piece is held by time.

    Raises:
        UsageError: No such piece, or a time that lies ahead.
        RefusedError: It is not off the pit, is gone, did not begin cold or hot, or nobody knows.
        QuestionError: Nobody said yet that it is marked and meant so.
    """
    engine, now_ms = daemon.engine, daemon.clock.engine_ms()
    timed: Literal["live", "stated"] = "live" if ask.at is None else "stated"
    at_ms = now_ms if ask.at is None else ask.at
    body = HeldByTime(ask.piece, at_ms, ask.hours, timed)
    accept(body, engine.book, engine.state.entries, {}, now_ms)  # refusals come before questions
    by_time_asked(daemon, body, ask.answers)
    return body


def by_time_asked(daemon: Node, body: HeldByTime, answers: Answers) -> None:
    """Refuse a start that nobody knows or that was neither cold nor hot; ask about the rest."""
    _refuse_start(daemon, body)
    shown = Shown(daemon.units, daemon.clock.engine_ms(), daemon.utc_offset_ms)
    limit = limit_of(body, daemon.safety)
    by = shown.clock(body.at_ms + limit.ms)
    since = "now" if body.timed == "live" else shown.clock(body.at_ms)
    question = (
        f"{body.piece} is held by time from {since} on, {body.hours} h: what is left at {by} is "
        "thrown away, and nothing of it goes back to heat or cold. Is this in your written "
        f"procedure, and is {by} marked on it?"
    )
    if body.hours == 6:
        most = in_unit("70 F", daemon.units.temperature)
        question += f" Its warmest part has to be read, and never passes {most}."
    if daemon.safety.time_control_susceptible.value == "none":
        question += " It is not for highly susceptible guests: the very young, the old, the ill."
    answers.choose(question, [MARKED])


def _refuse_start(daemon: Node, body: HeldByTime) -> None:
    engine = daemon.engine
    history = history_of(engine.state, engine.book, body.piece)
    if history is None:
        return
    begun, why = start_fault(history, body.at_ms, body.hours, daemon.safety)
    words = f"{body.piece}: {in_unit(why, daemon.units.temperature)}"
    if begun is None:
        raise RefusedError(
            f"{words}. Enter a reading of its core by hand first, with the time it was taken"
        )
    if begun is False:
        raise RefusedError(f"{words}: it cannot be held by time")
