"""How things stand, in words: one sentence for each screen, and the next thing to do."""

from __future__ import annotations

from pitlogger.model.book import PieceBook
from pitlogger.model.cooks import BEFORE_FIRE, Stage
from pitlogger.model.journal import ForecastMade
from pitlogger.model.readings import Site
from pitlogger.rules.conditions import Watch
from pitlogger.views import words
from pitlogger.views.alert_words import standing_words
from pitlogger.views.alerts import active
from pitlogger.views.language import tr
from pitlogger.views.node import Node
from pitlogger.views.shown import Shown
from pitlogger.views.status import is_running

STEADY_C_PER_H = 12.0
LONG = 72  # characters that can be read in passing
_QUIET = frozenset({Stage.SERVED, Stage.DISCARDED, Stage.CHILLED})


def sentence(daemon: Node, shown: Shown) -> str:
    """Return how things stand: alarms first, then the pits, then each piece, then what is next."""
    alarms = active(daemon, "alarm")
    parts = [f"{_alarms(daemon, alarms, shown)}."] if alarms else []
    if not is_running(daemon):
        parts.append(tr("No cook is running."))
        return " ".join(parts)
    pits = [_pit(daemon, channel, shown) for channel in _pits(daemon)]
    if pits:
        parts.append(f"{words.capital('; '.join(pits))}.")
    pieces = [
        _piece(daemon, held, shown)
        for held in daemon.engine.book.pieces.values()
        if held.is_open and held.stage not in _QUIET
    ]
    if pieces:
        parts.append(f"{'; '.join(pieces)}.")
    following = next_words(daemon, shown)
    if following:
        parts.append(tr("Next: {following}.", following=following))
    return " ".join(parts) if parts else tr("The cook is running.")


def _alarms(daemon: Node, alarms: list[Watch], shown: Shown) -> str:
    first = standing_words(daemon, alarms[0], shown).rstrip(".")
    return (
        first if len(alarms) == 1 else tr("{count} alarms: {first}", count=len(alarms), first=first)
    )


def _pits(daemon: Node) -> list[str]:
    return [name for name, lane in daemon.engine.lanes.items() if lane.site is Site.PIT]


def _pit(daemon: Node, channel: str, shown: Shown) -> str:
    state = daemon.engine.state.channels.get(channel)
    if state is None or not state.valid():
        return tr("{channel} gives no reading", channel=channel)
    slope = state.trend.slope_c_per_h or 0.0
    fields = {"channel": channel, "value": shown.temperature(state.level)}
    if abs(slope) < STEADY_C_PER_H:
        return tr("{channel} steady at {value}", **fields)
    if slope > 0:
        return tr("{channel} rising, at {value}", **fields)
    return tr("{channel} falling, at {value}", **fields)


def _piece(daemon: Node, held: PieceBook, shown: Shown) -> str:
    label = words.stage(held.stage)
    text = f"{held.piece.id} {label}"
    if held.stage in BEFORE_FIRE:
        return text
    text += tr(" for {since}", since=shown.since(held.stage_since_ms))
    lead = daemon.engine.book.cores(held.piece.id)[:1]
    state = daemon.engine.state.channels.get(lead[0]) if lead else None
    if state is None or not state.valid():
        return text
    text += tr(", at {degrees}", degrees=shown.degrees(state.level))
    stall_ms = state.trend.stall_since_ms
    if state.trend.stalled and stall_ms is not None:
        text += tr(" and flat for {since}", since=shown.since(stall_ms))
    return text


def next_words(daemon: Node, shown: Shown) -> str:
    """Return the next thing to do in a few words, empty if nothing is known."""
    prompts = [watch for watch in active(daemon, "prompt") if watch.piece is not None]
    if prompts:
        return gist(standing_words(daemon, prompts[0], shown))
    made = first_forecast(daemon, shown.now_ms)
    return "" if made is None else forecast_words(made, shown)


def gist(message: str) -> str:
    """Return the first clause of a message; the rest stands where the message itself does."""
    clause = message.partition("; ")[0]
    head, comma, _ = clause.partition(", ")
    return head if comma and len(clause) > LONG else clause.rstrip(".")


def forecasts(daemon: Node, now_ms: int) -> list[ForecastMade]:
    """Return the forecasts that still lie ahead, the nearest first; none without a cook."""
    if not is_running(daemon):
        return []
    ahead = [
        made
        for made in daemon.engine.state.foreseen.values()
        if made.p50_ms is not None and made.p50_ms > now_ms
    ]
    return sorted(ahead, key=lambda made: made.p50_ms or 0)


def first_forecast(daemon: Node, now_ms: int) -> ForecastMade | None:
    """Return the nearest forecast, ``None`` if there is none."""
    return next(iter(forecasts(daemon, now_ms)), None)


def forecast_words(made: ForecastMade, shown: Shown) -> str:
    """Return what a forecast says: the thing, the middle guess, the span of 8 in 10."""
    about = "" if made.p50_ms is None else tr(" about {clock}", clock=shown.clock(made.p50_ms))
    span = ""
    if made.p10_ms is not None and made.p90_ms is not None:
        span = tr(
            ", likely between {p10} and {p90}",
            p10=shown.clock(made.p10_ms),
            p90=shown.clock(made.p90_ms),
        )
    if made.target == "rest":
        return tr(
            "{piece} rested enough to slice{about}{span}", piece=made.piece, about=about, span=span
        )
    return f"{tr(words.TARGETS[made.target])} {made.piece}{about}{span}"


LETTER = {"high": "A", "medium": "B", "low": "C"}
