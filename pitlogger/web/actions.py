"""Actions: what a person can do, from the body of a request to the journal entry it becomes.

The API takes them as JSON, the page's forms as form fields; both end here.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any, Literal

from pitlogger.bootstrap.cooks import with_configured
from pitlogger.clock import rfc3339
from pitlogger.engine.alert_acts import ANSWERS
from pitlogger.engine.commands import accept
from pitlogger.engine.watch.weights import KEPT, LIKELY
from pitlogger.errors import RefusedError, UsageError, unknown
from pitlogger.formats.cook_file import parse_cook
from pitlogger.model import journal
from pitlogger.model.cooks import Stage
from pitlogger.model.quantities import show_temperature
from pitlogger.model.readings import Site
from pitlogger.node.containers import containers, tare_of
from pitlogger.views import doubting
from pitlogger.views.alert_words import standing_words
from pitlogger.views.node import Node
from pitlogger.views.shown import Shown
from pitlogger.web import bodies, corrections, requests
from pitlogger.web.access.roles import who_asks
from pitlogger.web.by_time import held_by_time
from pitlogger.web.dispositions import corrective
from pitlogger.web.finishing import dispose
from pitlogger.web.looks import agreed, answered_weight
from pitlogger.web.probe_doubts import doubt_told
from pitlogger.web.starting import open_cook, started

Make = Callable[[Node, Any], journal.Body]


@dataclass(frozen=True, slots=True)
class Action:
    """One thing that can be asked: the model of its body, how it becomes an entry, and of what."""

    ask: type[requests.Ask]
    make: Make
    becomes: type | tuple[type, ...]


def _cook_started(daemon: Node, ask: requests.CookAsk) -> journal.Body:
    cook = with_configured(parse_cook(ask.toml), daemon.channels)
    now_ms = daemon.clock.engine_ms()
    if ask.at is not None and ask.at > now_ms + 1000:
        raise UsageError(f"the cook begins at {rfc3339(ask.at)}, which lies ahead")
    return started(
        journal.CookStarted(cook, ask.at), daemon.engine.book, ask.answers, daemon.units, now_ms
    )


def _cook_finished(daemon: Node, ask: requests.FinishAsk) -> journal.Body:
    book = daemon.engine.book
    cook = open_cook(book, ask.cook, ask.answers, "Several cooks are open: which one is over?")
    return journal.CookFinished(book.cooks[cook].cook.name if cook else "", cook)


def _received(daemon: Node, ask: requests.ReceiveAsk) -> journal.Body:
    if not ask.accepted and not ask.condition:
        raise UsageError(f"{ask.piece} was refused: say why (its condition)")
    timed: Literal["live", "stated"] = "live" if ask.at is None else "stated"
    return journal.Received(
        ask.piece, ask.accepted, _moment(daemon, ask.at), ask.value, ask.condition, ask.supplier,
        ask.lot, timed,
    )  # fmt: skip


def _noted(daemon: Node, ask: requests.NoteAsk) -> journal.Body:
    """Return a note; of all that are open where neither piece nor cook is named."""
    cook = "" if ask.cook is None else open_cook(daemon.engine.book, ask.cook, ask.answers, "")
    return journal.Noted(ask.text, ask.piece, cook)


def _piece_added(daemon: Node, ask: requests.PieceAsk) -> journal.Body:
    question = f"Several cooks are open: which one is {ask.piece.id} of?"
    cook = open_cook(daemon.engine.book, ask.cook, ask.answers, question)
    return journal.PieceAdded(ask.piece.piece(), cook)


def _split(daemon: Node, ask: requests.SplitAsk) -> journal.Body:
    return journal.PieceSplit(ask.piece, tuple(table.piece() for table in ask.into))


# What an assignment leaves as it is where it says nothing of it, by field and attribute.
_OF_THE_PROBE = (
    ("offset", "offset"), ("stale_after", "stale_after_ms"), ("", "quantity"), ("", "interval_ms"),
    ("", "scale_interval_mg"), ("", "device"), ("", "settled"),
)  # fmt: skip
_OF_THE_PLACE = (("set_point", "set_point_mc"), ("low", "low_mc"), ("high", "high_mc"))


def _assigned(daemon: Node, ask: requests.AssignAsk) -> journal.Body:
    channel, book = ask.channel.channel(), daemon.engine.book
    if ask.swap_with is not None:
        mine, other = book.assignment(channel.id), book.assignment(ask.swap_with)
        if mine is None or other is None or mine is other:
            raise UsageError(f"{channel.id} and {ask.swap_with} are not two channels of the cook")
        site, piece = other.place
        swapped = replace(mine.channel, site=site, piece=piece)
        return journal.ChannelAssigned(swapped, other.lead, ask.at, ask.swap_with)
    if channel.site is Site.CORE and channel.piece is None:
        raise UsageError(f"{channel.id}: a core sits in a piece: say which one (--piece)")
    now = book.assignment(channel.id, ask.at)
    if now is None:
        return journal.ChannelAssigned(channel, ask.lead, ask.at)
    stays = (now.channel.site, now.channel.piece) == (channel.site, channel.piece)
    said = ask.channel.model_fields_set
    kept = {
        name: getattr(now.channel, name)
        for field, name in (*_OF_THE_PROBE, *(_OF_THE_PLACE if stays else ()))
        if field not in said
    }
    made = replace(channel, **kept)
    if made.low_mc is not None and made.high_mc is not None and made.low_mc >= made.high_mc:
        unit = daemon.units.temperature
        low, high = show_temperature(made.low_mc, unit), show_temperature(made.high_mc, unit)
        field = "channel.low" if "low" in said else "channel.high"
        raise UsageError(f"the lowest, {low}, does not lie below the highest, {high}", field)
    return journal.ChannelAssigned(made, ask.lead or (stays and now.lead), ask.at)


def _stage(daemon: Node, ask: requests.StageAsk) -> journal.Body:
    timed: Literal["live", "stated"] = "live" if ask.at is None else "stated"
    if ask.stage is not Stage.DISCARDED and (ask.mass is not None or ask.reason):
        raise UsageError(f"mass and reason belong to 'discarded', not to '{ask.stage}'")
    if ask.mass == 0:
        raise UsageError("0 discarded is no mass: leave --mass out where all of it was discarded")
    return journal.StageSet(
        ask.piece, ask.stage, _moment(daemon, ask.at), ask.wrap, timed,
        mass_mg=ask.mass, reason=ask.reason,
    )  # fmt: skip


def _weighed(daemon: Node, ask: requests.WeighAsk) -> journal.Body:
    if ask.tare is None and ask.container:
        tare_mg = tare_of(daemon, ask.container)
        if tare_mg is None and ask.mass is not None:
            known = containers(daemon)
            raise UsageError(f"{unknown('container', ask.container, known)}; or give its --tare")
        ask = ask.model_copy(update={"tare": tare_mg})
    return bodies.weighed(daemon.engine, ask, daemon.clock.engine_ms())


def _in_a_journal(daemon: Node, ask: requests.Ask) -> journal.Body:
    raise AssertionError("made by _made, which finds its journal first")


def _alert(action: Any) -> Make:
    def make(daemon: Node, ask: requests.AlertAsk) -> journal.Body:
        return journal.AlertActed(ask.alert, action, reason=ask.reason)

    return make


def _answered(daemon: Node, ask: requests.AnswerAsk) -> journal.Body:
    """Return an answer to a prompt; a yes to what a piece looks to be in sets its stage."""
    watch = daemon.engine.state.watches.get(ask.alert)
    reason = ask.reason
    if watch is not None and not reason:
        shown = Shown(daemon.units, daemon.clock.engine_ms(), daemon.utc_offset_ms)
        reason = ask.answers.choose(
            standing_words(daemon, watch, shown), ANSWERS.get(watch.kind, ("seen",))
        )
    if watch is not None and watch.kind in (LIKELY, KEPT):
        return answered_weight(daemon, watch.kind, ask.alert.partition("/")[2], reason)
    piece = ask.alert.removeprefix("stage-likely/")
    found = daemon.engine.recognition.proposals.get(piece, [])
    if watch is not None and watch.kind == "stage-likely" and reason == "yes":
        if not found:
            raise RefusedError(f"{piece}: nothing is asked about it now")
        return agreed(daemon, piece, found[-1], ask.answers)
    return journal.AlertActed(ask.alert, "answer", reason=reason)


def _target(daemon: Node, ask: requests.TargetAsk) -> journal.Body:
    if ask.wrap_at is None and ask.pull_at is None:
        raise UsageError("no target was given: type one; what is left empty stays as it is")
    return journal.TargetSet(ask.piece, ask.wrap_at, ask.pull_at)


def _shelve(daemon: Node, ask: requests.ShelveAsk) -> journal.Body:
    until_ms = daemon.clock.engine_ms() + round(ask.minutes * 60_000)
    return journal.AlertActed(ask.alert, "shelve", until_ms, ask.reason)


ACTIONS: dict[str, Action] = {
    "cook": Action(requests.CookAsk, _cook_started, journal.CookStarted),
    "finish": Action(requests.FinishAsk, _cook_finished, journal.CookFinished),
    "piece": Action(requests.PieceAsk, _piece_added, journal.PieceAdded),
    "split": Action(requests.SplitAsk, _split, journal.PieceSplit),
    "merge": Action(
        requests.MergeAsk,
        lambda daemon, ask: journal.PiecesMerged(ask.pieces, ask.into.piece()),
        journal.PiecesMerged,
    ),
    "assign": Action(requests.AssignAsk, _assigned, journal.ChannelAssigned),
    "doubt": Action(requests.DoubtAsk, doubt_told, journal.ChannelDoubted),
    "moved": Action(
        requests.MovedAsk, lambda daemon, ask: journal.ProbeMoved(ask.channel), journal.ProbeMoved
    ),
    "stage": Action(requests.StageAsk, _stage, (journal.StageSet, journal.Weighed)),
    "weigh": Action(requests.WeighAsk, _weighed, journal.Weighed),
    "tare": Action(
        requests.TareAsk, lambda daemon, ask: bodies.tared(daemon.engine, ask), journal.Tared
    ),
    "temp": Action(
        requests.TempAsk,
        lambda daemon, ask: bodies.spot_read(ask, daemon.clock.engine_ms()),
        journal.SpotRead,
    ),
    "receive": Action(requests.ReceiveAsk, _received, journal.Received),
    "hold-by-time": Action(requests.ByTimeAsk, held_by_time, journal.HeldByTime),
    "note": Action(requests.NoteAsk, _noted, journal.Noted),
    "target": Action(requests.TargetAsk, _target, journal.TargetSet),
    "corrective": Action(requests.CorrectiveAsk, _in_a_journal, journal.CorrectiveTaken),
    "undo": Action(requests.UndoAsk, _in_a_journal, journal.Undone),
    "correct": Action(requests.CorrectAsk, _in_a_journal, journal.Corrected),
    "learning": Action(requests.LearningAsk, _in_a_journal, (journal.LearningSet, journal.Undone)),
    "withdraw": Action(requests.WithdrawAsk, _in_a_journal, journal.CookWithdrawn),
    "acknowledge": Action(requests.AlertAsk, _alert("acknowledge"), journal.AlertActed),
    "unacknowledge": Action(requests.AlertAsk, _alert("unacknowledge"), journal.AlertActed),
    "answer": Action(
        requests.AnswerAsk,
        _answered,
        (journal.AlertActed, journal.StageSet, journal.Weighed, journal.Undone),
    ),
    "unshelve": Action(requests.AlertAsk, _alert("unshelve"), journal.AlertActed),
    "reset": Action(requests.AlertAsk, _alert("reset"), journal.AlertActed),
    "shelve": Action(requests.ShelveAsk, _shelve, journal.AlertActed),
}


def _moment(daemon: Node, at_ms: int | None) -> int:
    return daemon.clock.engine_ms() if at_ms is None else at_ms


def in_engine_time(daemon: Node, ask: requests.Ask) -> requests.Ask:
    """Return what was asked with its moments, if it names any, in engine time instead of UTC."""
    named = {
        name: at_ms for name in ("at", "breach", "since") if (at_ms := getattr(ask, name, None))
    }
    if not named or not daemon.utc_offset_ms:
        return ask
    return ask.model_copy(
        update={name: at_ms - daemon.utc_offset_ms for name, at_ms in named.items()}
    )


async def decide(daemon: Node, name: str, ask: requests.Ask) -> journal.Entry:
    """Do what was asked and return its entry once it is on disk.

    Raises:
        UsageError: It cannot be used; nothing was changed.
        RefusedError: It is refused as things stand; nothing was changed.
    """
    if (known := await daemon.earlier(ask.key)) is not None:
        if not isinstance(known.body, ACTIONS[name].becomes):
            raise RefusedError(
                f"the key '{ask.key}' belongs to entry {known.id}, another kind of request:"
                " nothing was entered; send this one with a key of its own"
            )
        return known  # asked a second time: what it became the first time still stands
    body, past, along = await _made(daemon, name, in_engine_time(daemon, ask))
    by = ask.by or who_asks.get().initials
    if isinstance(body, journal.CookFinished):
        assert isinstance(ask, requests.FinishAsk)
        await dispose(daemon, body.cook, ask, by)
    for first in along:
        await daemon.submit(first, by, "", past)
    return await daemon.submit(body, by, ask.key, past)


async def _made(
    daemon: Node, name: str, ask: requests.Ask
) -> tuple[journal.Body, str, list[journal.Body]]:
    """Return the body of what was asked and the id of the finished cook it is about, if any.

    The third are entries to be made before it: the undos of what rests on the entry it is about.
    """
    along: list[journal.Body] = []
    now_ms = daemon.clock.engine_ms()
    journal = corrections.Journal(daemon.engine.state.entries)
    if isinstance(ask, requests.UndoAsk):
        body, journal, along = await corrections.undone(daemon, ask)
    elif isinstance(ask, requests.CorrectAsk):
        body, journal, along = await corrections.corrected(daemon, ask)
    elif isinstance(ask, requests.CorrectiveAsk):
        body, along, past = await corrective(daemon, ask)
        return body, past, along
    elif isinstance(ask, requests.LearningAsk):
        body, journal = await corrections.learning(daemon, ask)
    elif isinstance(ask, requests.WithdrawAsk):
        body, journal = await corrections.withdrawn(daemon, ask)
    elif isinstance(ask, requests.OfCookAsk) and ask.cook is not None:
        journal = await corrections.journal_of(daemon, ask.cook, ask.answers)
        body = ACTIONS[name].make(daemon, ask)
        if journal.past:
            body = corrections.afterwards(body, journal, is_timed=ask.at is not None)
    else:
        body = ACTIONS[name].make(daemon, ask)
    if journal.past:
        body = journal.accept(body, now_ms)
    elif isinstance(body, doubting.DOUBTABLE):  # refusals come before questions
        accept(body, daemon.engine.book, journal.entries, {}, now_ms)
    if isinstance(body, doubting.DOUBTABLE):
        book = journal.book() if journal.past else daemon.engine.book
        body = doubting.asked(body, book, ask.answers, daemon.units)
    return body, journal.past, along
