"""The home screen in two seconds: the pits, the worst thing and its key, a line a piece."""

from __future__ import annotations

from typing import Any

from pitlogger.model.alerts import ANNUNCIATED
from pitlogger.model.book import PieceBook
from pitlogger.model.cooks import ON_PIT, Stage, natural
from pitlogger.model.journal import ForecastMade
from pitlogger.model.readings import Site
from pitlogger.rules.conditions import Watch
from pitlogger.views import words
from pitlogger.views.alerts import active
from pitlogger.views.language import mark, tr
from pitlogger.views.node import Node
from pitlogger.views.shown import Shown
from pitlogger.views.status import by_time_words, is_running
from pitlogger.web.page import standing
from pitlogger.web.page.cooking.alarm_groups import grouped
from pitlogger.web.page.cooking.alarms import alert
from pitlogger.web.page.cooking.figures import COLD_MC, band_of, figure
from pitlogger.web.page.cooking.pieces import in_order, piece_facts
from pitlogger.web.page.cooking.remaining import remaining

MOST_WORST = 1
_DUE = {
    "wrap-due": mark("wrap"), "pull-due": mark("take off"), "rest-done": mark("slice"),
    "tender-check-due": mark("probe for tenderness"),
}  # fmt: skip
_OVER = frozenset({Stage.SERVED, Stage.CHILLED, Stage.DISCARDED})
_MOMENT = {"wrap": mark("wrap"), "pull": mark("take off"), "rest": mark("slice")}
# A key is a verb; where there is none, it is what the stage is called.
_VERB: dict[str | None, str] = {
    Stage.TRIMMED: mark("Trim"),
    Stage.SEASONED: mark("Season"),
    Stage.WRAPPED: mark("Wrap"),
    Stage.CARVED: mark("Slice"),
    Stage.HOLDING: mark("Hold"),
    Stage.COOLING: mark("Cool"),
}
# A forecast tells of what lies ahead of a stage, never of what is done already.
_AHEAD_OF = {"wrap": frozenset({Stage.SMOKING}), "pull": ON_PIT, "rest": frozenset({Stage.RESTING})}


def home(daemon: Node, shown: Shown) -> dict[str, Any]:
    """Return pits, worst alarm, a row a piece, the sentence above them."""
    alarms = [watch for watch in active(daemon, "alarm") if watch.state in ANNUNCIATED]
    prompts = active(daemon, "prompt")
    due = [watch for watch in prompts if watch.kind in _DUE and watch.piece is not None]
    rows = piece_rows(daemon, shown, alarms, due)
    seen = [alert(daemon, watch, shown) for watch in alarms]
    worst = grouped(daemon, alarms, seen, shown)["groups"][:MOST_WORST]
    if not worst and rows and rows[0]["due"]:
        rows[0]["solid"] = True
    return {
        "sentence": brief(daemon, shown, due),
        "pits": [pit_place(daemon, name, shown) for name in pits(daemon)],
        "worst": worst,
        "rows": rows,
        "due": {watch.key for watch in due},
    }


def pits(daemon: Node) -> list[str]:
    """Return the channels that sit in a pit."""
    return [name for name, lane in daemon.engine.lanes.items() if lane.site is Site.PIT]


def pit_place(daemon: Node, channel: str, shown: Shown) -> dict[str, Any]:
    """Return one pit: its figure, set point and band."""
    low, high, aim = band_of(daemon, channel)
    return {
        "figure": figure(daemon, daemon.engine.lanes[channel], shown),
        "band": low is not None and high is not None,
        "low": "" if low is None else shown.degrees(low),
        "high": "" if high is None else shown.degrees(high),
        "set": "" if aim is None else shown.degrees(aim),
    }


def piece_rows(
    daemon: Node, shown: Shown, alarms: list[Watch], due: list[Watch]
) -> list[dict[str, Any]]:
    """Return a line for each piece that is followed, the worst first, then in natural order."""
    if not is_running(daemon):
        return []
    hit = {_piece_of(daemon, watch) for watch in alarms}
    asked = {watch.piece for watch in due}
    rows = [
        {**piece_row(daemon, held, shown), "alarm": held.piece.id in hit,
         "due": held.piece.id in asked, "solid": False}
        for held in in_order(daemon.engine.book)
        if held.is_open
    ]  # fmt: skip
    rows.sort(key=lambda row: (not row["alarm"], not row["due"], row["over"], natural(row["id"])))
    return rows


def _piece_of(daemon: Node, watch: Watch) -> str | None:
    lane = daemon.engine.lanes.get(watch.channel or "")
    return watch.piece or (lane.piece if lane is not None else None)


def piece_row(daemon: Node, held: PieceBook, shown: Shown) -> dict[str, Any]:
    """Return one piece as a line: stage, value to target, rate, time left, next key."""
    book = daemon.engine.book
    facts = piece_facts(held, book, shown)
    lead = next(iter(book.cores(held.piece.id)), None)
    lane = daemon.engine.lanes.get(lead or "")
    shows: dict[str, Any] = dict.fromkeys(
        ("channel", "quality", "number", "word", "rate", "age", "share"), ""
    )
    if lane is not None:
        shows = figure(daemon, lane, shown)
    target = target_mc(daemon, held)
    return {
        **{name: shows[name] for name in ("channel", "quality", "number", "word", "rate", "age",
                                          "share")},
        **{name: facts[name] for name in ("id", "count", "next", "next_act", "by_hand")},
        "cook": book.cooks[held.cook].cook.name if len(book.open_cooks()) > 1 else "",
        "verb": tr(_VERB.get(facts["next"], facts["next_act"])),
        "stage": words.stage(held.stage),
        "stage_id": held.stage.value,
        "over": held.stage in _OVER,
        "target": "" if target is None else shown.degrees(target),
        "notch": _notch(daemon, held, target),
        "left": by_time_words(daemon, held, shown) or _left(daemon, held, shown),
    }  # fmt: skip


def target_mc(daemon: Node, held: PieceBook) -> int | None:
    """Return the core temperature a piece is on its way to, ``None`` where there is none."""
    if held.stage in ON_PIT:
        return daemon.policy.pull_at_mc(held.piece)
    return daemon.policy.rest_until_mc if held.stage is Stage.RESTING else None


def _notch(daemon: Node, held: PieceBook, target: int | None) -> float | None:
    """Return where on the measure the wrap lies, 0 to 100."""
    wrap_at = daemon.policy.wrap_at_mc(held.piece)
    if held.stage is not Stage.SMOKING or wrap_at is None or target is None or wrap_at < 0:
        return None
    return round(100 * (wrap_at - COLD_MC) / max(1, target - COLD_MC), 1)


def coming(daemon: Node, shown: Shown) -> list[ForecastMade]:
    """Return the forecasts of what still lies ahead of each piece, the nearest first."""
    held = daemon.engine.book.pieces
    return [
        made
        for made in standing.forecasts(daemon, shown.now_ms)
        if made.piece in held and held[made.piece].stage in _AHEAD_OF[made.target]
    ]


def _left(daemon: Node, held: PieceBook, shown: Shown) -> str:
    wanted = "rest" if held.stage is Stage.RESTING else "pull"
    for made in coming(daemon, shown):
        if made.piece == held.piece.id and made.target == wanted:
            return remaining(made, shown.now_ms)
    return ""


def brief(daemon: Node, shown: Shown, due: list[Watch]) -> str:
    """Return at most two lines: what deviates, and the next action with its time."""
    if not is_running(daemon):
        readings = [pit_place(daemon, name, shown)["figure"] for name in pits(daemon)]
        live = ", ".join(f"{f['name']} {f['number']}" for f in readings if f["number"])
        return (
            tr("No cook is running. The pits read: {live}.", live=live)
            if live
            else tr("No cook is running.")
        )
    fires = [line for name in pits(daemon) if (line := _deviates(daemon, name, shown))]
    first = f"{'; '.join(fires)}." if fires else (tr("Fires hold.") if pits(daemon) else "")
    if due:
        watch = due[0]
        since = tr("due since {at}", at=shown.clock(watch.raised_ms))
        act = tr("{act} {piece}, {at}", act=tr(_DUE[watch.kind]), piece=watch.piece, at=since)
        return tr("{first} Next: {act}.", first=first, act=act).strip()
    made = next(iter(coming(daemon, shown)), None)
    if made is None or made.p50_ms is None:
        return first or tr("The cook is running.")
    act = tr(
        "{act} {piece} about {at}",
        act=tr(_MOMENT[made.target]),
        piece=made.piece,
        at=shown.clock(made.p50_ms),
    )
    return tr("{first} Next: {act}.", first=first, act=act).strip()


def _deviates(daemon: Node, channel: str, shown: Shown) -> str:
    """Return how a pit is outside its band, empty where it holds or has no band."""
    state = daemon.engine.state.channels.get(channel)
    if state is None or not state.valid():
        return tr("{channel} is silent", channel=channel)
    low, high, _ = band_of(daemon, channel)
    if low is not None and state.level < low:
        return tr(
            "{channel} is {step} below its band",
            channel=channel,
            step=f"{abs(shown.step(low - state.level)):.0f}",
        )
    if high is not None and state.level > high:
        return tr(
            "{channel} is {step} above its band",
            channel=channel,
            step=f"{abs(shown.step(state.level - high)):.0f}",
        )
    return ""
