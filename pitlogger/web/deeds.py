"""Deeds: what a person can do, from the body of a request to the journal entry it becomes.

The API takes them as JSON, the page's forms as form fields; both end here.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from pitlogger.bootstrap import with_configured
from pitlogger.errors import UsageError, unknown
from pitlogger.formats.cook_file import parse_cook
from pitlogger.model.journal import (
    AlertActed,
    Body,
    ChannelAssigned,
    CookFinished,
    CookStarted,
    CorrectiveTaken,
    Entry,
    Noted,
    PieceAdded,
    PiecesMerged,
    PieceSplit,
    ProbeMoved,
    StageSet,
    TargetSet,
)
from pitlogger.node.daemon import Daemon
from pitlogger.safety.record import DISPOSITIONS
from pitlogger.web import asks, bodies
from pitlogger.web.access.roles import who_asks
from pitlogger.web.containers import tare_of
from pitlogger.web.log_api import CorrectiveAsk

Make = Callable[[Daemon, Any], Body]


@dataclass(frozen=True, slots=True)
class Deed:
    """One thing that can be asked: the model of its body, and how it becomes an entry."""

    ask: type[asks.Ask]
    make: Make


def _cook_started(daemon: Daemon, ask: asks.CookAsk) -> Body:
    return CookStarted(with_configured(parse_cook(ask.toml), daemon.channels))


def _cook_finished(daemon: Daemon, ask: asks.FinishAsk) -> Body:
    cook = daemon.engine.book.cook
    return CookFinished("" if cook is None else cook.name)


def _split(daemon: Daemon, ask: asks.SplitAsk) -> Body:
    return PieceSplit(ask.piece, tuple(table.piece() for table in ask.into))


def _stage(daemon: Daemon, ask: asks.StageAsk) -> Body:
    return StageSet(ask.piece, ask.stage, _moment(daemon, ask.at), ask.wrap)


def _weighed(daemon: Daemon, ask: asks.WeighAsk) -> Body:
    if ask.tare is None and (tare_mg := tare_of(daemon, ask.container)) is not None:
        ask = ask.model_copy(update={"tare": tare_mg})
    return bodies.weighed(daemon.engine, ask, daemon.clock.engine_ms())


def _alert(action: Any) -> Make:
    def make(daemon: Daemon, ask: asks.AlertAsk) -> Body:
        return AlertActed(ask.alert, action, reason=ask.reason)

    return make


def _shelve(daemon: Daemon, ask: asks.ShelveAsk) -> Body:
    until_ms = daemon.clock.engine_ms() + round(ask.minutes * 60_000)
    return AlertActed(ask.alert, "shelve", until_ms, ask.reason)


def _corrective(daemon: Daemon, ask: CorrectiveAsk) -> Body:
    if not (ask.by or who_asks.get().initials):
        raise UsageError("corrective action is signed: give the initials of who took it")
    if ask.disposition not in DISPOSITIONS:
        raise UsageError(unknown("disposition", ask.disposition, DISPOSITIONS))
    return CorrectiveTaken(
        ask.piece, ask.cause, ask.control_restored, ask.prevention, ask.disposition, ask.alert
    )


DEEDS: dict[str, Deed] = {
    "cook": Deed(asks.CookAsk, _cook_started),
    "finish": Deed(asks.FinishAsk, _cook_finished),
    "piece": Deed(asks.PieceAsk, lambda daemon, ask: PieceAdded(ask.piece.piece())),
    "split": Deed(asks.SplitAsk, _split),
    "merge": Deed(asks.MergeAsk, lambda daemon, ask: PiecesMerged(ask.pieces, ask.into.piece())),
    "assign": Deed(
        asks.AssignAsk, lambda daemon, ask: ChannelAssigned(ask.channel.channel(), ask.lead)
    ),
    "moved": Deed(asks.MovedAsk, lambda daemon, ask: ProbeMoved(ask.channel)),
    "stage": Deed(asks.StageAsk, _stage),
    "weigh": Deed(asks.WeighAsk, _weighed),
    "tare": Deed(asks.TareAsk, lambda daemon, ask: bodies.tared(daemon.engine, ask)),
    "temp": Deed(asks.TempAsk, lambda daemon, ask: bodies.spot_read(ask, daemon.clock.engine_ms())),
    "note": Deed(asks.NoteAsk, lambda daemon, ask: Noted(ask.text, ask.piece)),
    "target": Deed(
        asks.TargetAsk, lambda daemon, ask: TargetSet(ask.piece, ask.wrap_at, ask.pull_at)
    ),
    "corrective": Deed(CorrectiveAsk, _corrective),
    "undo": Deed(asks.UndoAsk, lambda daemon, ask: bodies.undone(daemon.engine, ask)),
    "correct": Deed(asks.CorrectAsk, lambda daemon, ask: bodies.corrected(daemon.engine, ask)),
    "acknowledge": Deed(asks.AlertAsk, _alert("acknowledge")),
    "answer": Deed(asks.AnswerAsk, _alert("answer")),
    "unshelve": Deed(asks.AlertAsk, _alert("unshelve")),
    "reset": Deed(asks.AlertAsk, _alert("reset")),
    "shelve": Deed(asks.ShelveAsk, _shelve),
}


def _moment(daemon: Daemon, at_ms: int | None) -> int:
    return daemon.clock.engine_ms() if at_ms is None else at_ms


def in_engine_time(daemon: Daemon, ask: asks.Ask) -> asks.Ask:
    """Return what was asked with its moment, if it names one, in engine time instead of UTC."""
    at_ms = getattr(ask, "at", None)
    if at_ms is None or not daemon.utc_offset_ms:
        return ask
    return ask.model_copy(update={"at": at_ms - daemon.utc_offset_ms})


async def decide(daemon: Daemon, name: str, ask: asks.Ask) -> Entry:
    """Do what was asked and return its entry once it is on disk.

    Raises:
        UsageError: It cannot be used; nothing was changed.
        RefusedError: It is refused as things stand; nothing was changed.
    """
    known = daemon.engine.state.keys.get(ask.key) if ask.key else None
    if known is not None:
        found: Entry | None = await daemon.ask(lambda reader: reader.entry(*known))
        if found is not None:
            return found  # asked a second time: what it became the first time still stands
    body = DEEDS[name].make(daemon, in_engine_time(daemon, ask))
    return await daemon.submit(body, ask.by or who_asks.get().initials, ask.key)
