"""The Alarms screen: what stands, what to do, whether it was sent, and what was."""

from __future__ import annotations

from typing import Any

from pitlogger.engine.alert_acts import ANSWERS
from pitlogger.engine.watch.weights import LIKELY
from pitlogger.model.alerts import ACTIVE, AlertState, Priority, alert_class
from pitlogger.model.cooks import Stage
from pitlogger.model.journal import Entry
from pitlogger.notify.deliveries import NoticeView, waiting
from pitlogger.rules.conditions import Watch
from pitlogger.store.queries import Reader
from pitlogger.store.rows import Notice
from pitlogger.views import words
from pitlogger.views.alert_words import standing_words
from pitlogger.views.alerts import active
from pitlogger.views.entries import body_words
from pitlogger.views.language import mark, tr, trn
from pitlogger.views.node import Node
from pitlogger.views.shown import Shown
from pitlogger.web.deliveries import (
    NO_WAY,
    Became,
    LastDelivery,
    read_notices,
    told_of,
    why_nobody,
)
from pitlogger.web.page import standing
from pitlogger.web.page.cooking.alarm_groups import grouped
from pitlogger.web.page.plain_words import plain

MOST_LINES = 60
SHOW = {"now": mark("Now"), "cook": mark("This cook"), "all": mark("All")}
SIGN: dict[Became, str] = {"sent": "✓", "waiting": "…", "failed": "!", "withdrawn": "–"}
_TIMES = (mark("never"), mark("once"), mark("twice"))
_UNSEEN = frozenset(
    {
        AlertState.UNACKNOWLEDGED,
        AlertState.RETURNED_UNACKNOWLEDGED,
        AlertState.LATCHED_UNACKNOWLEDGED,
    }
)
_SHELVABLE = frozenset(
    {AlertState.UNACKNOWLEDGED, AlertState.ACKNOWLEDGED, AlertState.RETURNED_UNACKNOWLEDGED}
)
_READ_BY_HAND = frozenset({"channel-stale", "probe-fault", "device-lost", "hot-hold-low"})
_DONE_BY_STAGE = {"wrap-due": Stage.WRAPPED, "pull-due": Stage.RESTING}


async def alarms_screen(daemon: Node, shown: Shown, show: str) -> dict[str, Any]:
    """Return the alarms screen with who was told of each and what happened before.

    Args:
        show: What the table of a wide screen holds, a key of ``SHOW``.
    """
    show = show if show in SHOW else "now"

    def read(reader: Reader) -> tuple[list[NoticeView], list[Entry]]:
        cooks = [row.id for row in reader.cooks()] if show == "all" else [daemon.cook]
        lines: list[Entry] = []
        for cook in cooks:  # the newest first
            if cook is not None and len(lines) < MOST_LINES:
                lines = reader.entries(cook=cook, kinds=("alert-changed", "alert-acted")) + lines
        return waiting(reader), lines[-MOST_LINES:]

    notices = await read_notices(daemon)
    unsent, entries = await daemon.ask(read)
    return {
        **alarms(daemon, shown, notices),
        "unsent": [_unsent(row) for row in unsent],
        "ways": [way.id for way in daemon.config.notify.way],
        "show": show,
        "shows": [(key, tr(word)) for key, word in SHOW.items()],
        "history": [_line(entry, shown) for entry in reversed(entries)],
    }


def _unsent(row: NoticeView) -> str:
    tried = tr(", tried {tries} times", tries=row.tries) if row.tries else ""
    error = f": {row.error}" if row.error else ""
    return tr(
        "{title} by {way}{tried}{error}", title=row.title, way=row.way, tried=tried, error=error
    )


def _told(daemon: Node, watch: Watch, shown: Shown, notices: list[Notice]) -> list[dict[str, Any]]:
    """Return who was told of an alert, a line for each way; why nobody, where that is so."""
    told = told_of(watch, notices, daemon.utc_offset_ms)
    if not daemon.config.notify.way:
        return []  # the sentence says so, once
    if why := why_nobody(daemon, watch, told):
        return [{"sign": "·", "bad": False, "text": why, "again": True}]
    return [
        {
            "sign": SIGN[one.became],
            "bad": one.became == "failed" or (one.became == "waiting" and one.tries > 0),
            "text": _told_words(one, shown),
            "again": one.became == "waiting",
        }
        for one in told
    ]


def times_word(count: int) -> str:
    """Return how often, as it is said."""
    if count < len(_TIMES):
        return tr(_TIMES[count])
    return trn("{count} time", "{count} times", count)


def _told_words(one: LastDelivery, shown: Shown) -> str:
    at = shown.clock(one.at_ms - shown.utc_offset_ms)
    match one.became:
        case "sent":
            times = tr(", {times} so far", times=times_word(one.times)) if one.times > 1 else ""
            return tr("Sent by {way} at {at}{times}.", way=one.way, at=at, times=times)
        case "withdrawn":
            return tr("Not sent by {way}: seen before it went out.", way=one.way)
        case "failed":
            return tr("Not sent by {way}, given up: {error}.", way=one.way, error=one.error)
    if not one.tries:
        return tr("Waits to be sent by {way}.", way=one.way)
    tried = times_word(one.tries)
    return tr(
        "Not sent by {way} yet, tried {tried}, again at {at}: {error}.",
        way=one.way,
        tried=tried,
        at=at,
        error=one.error,
    )


def _line(entry: Entry, shown: Shown) -> dict[str, str]:
    text = body_words(entry.body, shown.units)
    subject = _subject(getattr(entry.body, "alert", ""))
    return {
        "at": shown.clock(entry.t_ms), "iso": shown.iso(entry.t_ms), "by": entry.by,
        "of": subject, "text": text,
    }  # fmt: skip


def _subject(key: str) -> str:
    """Return the piece, probe or device that an alert is of."""
    return key.partition("/")[2].partition("@")[0]


def alarms(daemon: Node, shown: Shown, notices: list[Notice]) -> dict[str, Any]:
    """Return the alarms screen: alarms and prompts that are not normal, and who was told."""
    standing_now = [
        watch
        for watch in daemon.engine.state.watches.values()
        if watch.state is not AlertState.NORMAL
    ]
    standing_now.sort(
        key=lambda w: (
            w.state not in ACTIVE, w.state not in _UNSEEN, alert_class(w.kind) != "alarm",
            -w.priority, -w.since_ms,
        )
    )  # fmt: skip
    alerts = [
        {**alert(daemon, watch, shown), "told": _told(daemon, watch, shown, notices)}
        for watch in standing_now
    ]
    made = grouped(daemon, standing_now, alerts, shown)
    return {"sentence": _alarm_sentence(daemon), "alerts": alerts, **made}


def _alarm_sentence(daemon: Node) -> str:
    count = len(active(daemon, "alarm"))
    prompts = len(active(daemon, "prompt"))
    if not count and not prompts:
        return tr("Nothing needs a hand.")
    parts = []
    if count:
        parts.append(trn("{count} alarm", "{count} alarms", count))
    if prompts:
        parts.append(trn("{count} thing to do", "{count} things to do", prompts))
    nobody = "" if daemon.config.notify.way else f" {tr(NO_WAY)}"
    said = tr("{first} and {second}", first=parts[0], second=parts[1]) if parts[1:] else parts[0]
    return f"{said}.{nobody}"


def told_in_short(daemon: Node, watch: Watch, shown: Shown) -> str:
    """Return what an alert says to this reader; of a silent probe, that and no more."""
    subject = watch.piece or watch.channel or watch.key.partition("/")[2]
    if watch.kind == "channel-stale":
        return tr("{subject}: probe silent", subject=subject)
    return standing_words(daemon, watch, shown) or words.alert_named(watch.key)


def _stage_of(daemon: Node, watch: Watch) -> str:
    held = daemon.engine.book.pieces.get(watch.piece or "")
    return "" if held is None else held.stage.value


def _named(daemon: Node, watch: Watch) -> str:
    """Return the pieces that several loads likeliest are, in their order, to be put right."""
    loads = daemon.engine.weights.together(_subject(watch.key)) if watch.kind == LIKELY else []
    return ", ".join(guess.piece for _, guess in loads) if len(loads) > 1 else ""


def _likely(daemon: Node, watch: Watch) -> dict[str, Any] | None:
    """Return the stage a piece looks to be in, to be set at another time than it was seen."""
    found = daemon.engine.recognition.proposals.get(watch.piece or "", [])
    if watch.kind != "stage-likely" or not found:
        return None
    minutes = max(0, round((daemon.clock.engine_ms() - found[-1].at_ms) / 60_000))
    return {"stage": found[-1].stage.value, "act": words.stage_act(found[-1].stage),
            "minutes": minutes}  # fmt: skip


def alert(daemon: Node, watch: Watch, shown: Shown) -> dict[str, Any]:
    """Return an alert as it is shown: what, since when, what to do, what can be answered."""
    rule = daemon.policy.rules[watch.kind]
    done = _DONE_BY_STAGE.get(watch.kind)
    is_active = watch.state in ACTIVE
    message = told_in_short(daemon, watch, shown)
    head, _, more = message.partition("; ")
    return {
        "alert": watch.key,
        "kind": watch.kind,
        "is_alarm": alert_class(watch.kind) == "alarm",
        "subject": _subject(watch.key),
        "letter": standing.LETTER[watch.priority.label],
        "priority": tr(words.PRIORITIES[watch.priority.label]),
        "message": message,
        "head": head,
        "more": words.capital(more),
        "state": words.state(watch.state),
        "active": is_active,
        "unseen": watch.state in _UNSEEN,
        "since": shown.since(watch.raised_ms),
        "at": shown.clock(watch.raised_ms),
        "iso": shown.iso(watch.raised_ms),
        "remedy": plain(watch.remedy or rule.remedy),
        "cause": rule.cause,
        "consequence": rule.consequence,
        "act_within": tr(rule.act_within),
        "wakes": watch.wakes,
        "urgent": not rule.notice and (watch.piece is not None or watch.priority > Priority.LOW),
        "answers": ANSWERS.get(watch.kind, ()) if is_active else (),
        "named": _named(daemon, watch) if is_active else "",
        "likely": _likely(daemon, watch) if is_active else None,
        "solid": False,
        "seen": _stage_of(daemon, watch),
        "hand": watch.piece is not None and watch.kind in _READ_BY_HAND and is_active,
        "piece": watch.piece,
        "stage": done.value if done is not None and is_active else None,
        "stage_act": words.stage_act(done) if done is not None else "",
        "until": None if watch.until_ms is None else shown.clock(watch.until_ms),
        "reason": watch.reason,
        "can_shelve": watch.state in _SHELVABLE,
        "is_shelved": watch.state is AlertState.SHELVED,
        "can_reset": watch.state is AlertState.LATCHED_ACKNOWLEDGED,
        "told": [],
    }
