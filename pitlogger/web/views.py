"""What the API and the page show: read models made from the engine as it stands.

Keys end in their unit; moments are RFC 3339 UTC.
"""

from __future__ import annotations

from typing import Any

from pitlogger.clock import rfc3339
from pitlogger.engine.compiled_channel import Lane
from pitlogger.formats.journal_json import dump_body
from pitlogger.model.alerts import ACTIVE, AlertState, alert_class
from pitlogger.model.book import PieceBook
from pitlogger.model.entry_ids import short_id
from pitlogger.model.journal import Corrected, Entry
from pitlogger.model.next_steps import NEXT_CHECKPOINT, NEXT_STAGE
from pitlogger.model.quantities import Quantity, show_duration, show_temperature
from pitlogger.model.readings import Site
from pitlogger.rules.conditions import Watch
from pitlogger.views import words
from pitlogger.views.node import Node


def status(daemon: Node) -> dict[str, Any]:
    """Return how things stand: a sentence, the cook, channels, pieces, scales, alerts."""
    engine = daemon.engine
    now_ms = daemon.clock.engine_ms()
    book = engine.book
    running = book.cook is not None and book.finished_ms is None
    return {
        "sentence": sentence(daemon, now_ms),
        "now": rfc3339(now_ms + daemon.utc_offset_ms),
        "node": daemon.config.node.name,
        "run": daemon.run,
        "cook": {"id": daemon.cook, "name": book.cook.name} if running and book.cook else None,
        "units": {"temperature": daemon.units.temperature, "mass": daemon.units.mass},
        "channels": [channel_view(daemon, lane, now_ms) for lane in engine.lanes.values()],
        "pieces": [piece_view(daemon, held) for held in book.pieces.values()] if running else [],
        "alerts": alerts(daemon),
        "store": None if daemon.trouble is None else daemon.trouble.message,
    }


def channel_view(daemon: Node, lane: Lane, now_ms: int) -> dict[str, Any]:
    """Return what a channel reads, how old that is and where it is heading."""
    state = lane.state
    declared = daemon.engine.declared(state.id)
    quantity = (declared.quantity if declared else None) or (
        Quantity.MASS if lane.site is Site.BENCH else Quantity.TEMPERATURE
    )
    view: dict[str, Any] = {
        "channel": state.id,
        "site": lane.site.value,
        "piece": lane.piece,
        "quantity": quantity.value,
        "quality": "stale" if state.stale else state.quality.value,
        "doubt": state.doubt or None,
        "at": None if state.heard_ms < 0 else rfc3339(state.heard_ms + daemon.utc_offset_ms),
        "age_s": None if state.heard_ms < 0 else round((now_ms - state.heard_ms) / 1000, 1),
    }
    value = state.value
    if quantity is Quantity.MASS:
        steady = state.steadiness.steady_mg
        view["mass_g"] = None if value is None else value / 1000
        view["steady_g"] = None if steady is None or state.stale else steady / 1000
        view["steadiness"] = round(state.steadiness.shown(), 2)
        tare = daemon.engine.book.tares.get(state.id)
        view["tare_g"] = 0.0 if tare is None else tare.tare_mg / 1000
        view["container"] = None if tare is None else tare.container
    elif quantity is Quantity.TEMPERATURE:
        view["temperature_c"] = None if value is None else value / 1000
        view["slope_c_per_h"] = state.trend.slope_c_per_h
        view["stalled"] = state.trend.stalled
    else:
        view["value_pct" if quantity in (Quantity.HUMIDITY, Quantity.BATTERY) else "value"] = (
            None if value is None else value / 1000
        )
    return view


def piece_view(daemon: Node, held: PieceBook) -> dict[str, Any]:
    """Return a piece: its stage, what comes next, its targets and its last forecast."""
    piece = held.piece
    policy = daemon.policy
    following = NEXT_STAGE.get(held.stage)
    wrap_at, pull_at = policy.wrap_at_mc(piece), policy.pull_at_mc(piece)
    return {
        "piece": piece.id,
        "cut": piece.cut,
        "count": piece.count,
        "stage": held.stage.value,
        "stage_label": words.stage(held.stage),
        "since": rfc3339(held.stage_since_ms + daemon.utc_offset_ms),
        "ended": held.ended_ms is not None,
        "children": list(held.children),
        "next_stage": following.value if following is not None else None,
        "next_checkpoint": NEXT_CHECKPOINT.get(held.stage),
        "wrap": held.wrap,
        "wrap_at_c": None if wrap_at is None else wrap_at / 1000,
        "pull_at_c": None if pull_at is None else pull_at / 1000,
        "cores": daemon.engine.book.cores(piece.id),
        "weighings": [
            {
                "id": short_id(*weighing.id),
                "run": weighing.id[0],
                "seq": weighing.id[1],
                "checkpoint": weighing.weighed.checkpoint,
                "net_g": weighing.weighed.net_mg / 1000,
                "at": rfc3339(weighing.weighed.at_ms + daemon.utc_offset_ms),
                "by": weighing.by,
                "corrected": weighing.corrected,
            }
            for weighing in held.weighings
        ],
    }


def alert_view(daemon: Node, watch: Watch) -> dict[str, Any]:
    """Return an alert as it stands."""
    rule = daemon.policy.rules[watch.kind]
    return {
        "alert": watch.key,
        "kind": watch.kind,
        "class": alert_class(watch.kind),
        "state": watch.state.value,
        "priority": watch.priority.label,
        "wakes": watch.wakes,
        "piece": watch.piece,
        "channel": watch.channel,
        "since": rfc3339(watch.since_ms + daemon.utc_offset_ms),
        "raised": rfc3339(watch.raised_ms + daemon.utc_offset_ms),
        "until": None if watch.until_ms is None else rfc3339(watch.until_ms),
        "message": watch.message,
        "cause": rule.cause,
        "consequence": rule.consequence,
        "remedy": watch.remedy or rule.remedy,
        "act_within": rule.act_within,
    }


def alerts(daemon: Node) -> list[dict[str, Any]]:
    """Return the alerts that are not normal, the most pressing first."""
    standing = [
        watch
        for watch in daemon.engine.state.watches.values()
        if watch.state is not AlertState.NORMAL
    ]
    standing.sort(key=lambda watch: (watch.state not in ACTIVE, -watch.priority, watch.since_ms))
    return [alert_view(daemon, watch) for watch in standing]


def entry_view(daemon: Node, entry: Entry) -> dict[str, Any]:
    """Return a journal entry with its time as RFC 3339."""
    return {
        "id": entry.id,
        "run": entry.run,
        "seq": entry.seq,
        "at": rfc3339(entry.t_ms + daemon.utc_offset_ms),
        "happened": rfc3339(happened_ms(entry) + daemon.utc_offset_ms),
        "by": entry.by,
        **dump_body(entry.body),
    }


def happened_ms(entry: Entry) -> int:
    """Return when what an entry tells of happened, in engine time."""
    body = entry.body.body if isinstance(entry.body, Corrected) else entry.body
    at_ms: int | None = getattr(body, "at_ms", None)
    return entry.t_ms if at_ms is None else at_ms


def sentence(daemon: Node, now_ms: int) -> str:
    """Return how things stand in one sentence."""
    engine, unit = daemon.engine, daemon.units.temperature
    book = engine.book
    if book.cook is None or book.finished_ms is not None:
        return "No cook is running."
    alarms = [
        watch
        for watch in engine.state.watches.values()
        if watch.state in ACTIVE and alert_class(watch.kind) == "alarm"
    ]
    parts = [max(alarms, key=lambda watch: watch.priority).message] if alarms else []
    parts += [
        f"{lane.state.id} at {show_temperature(lane.state.level, unit)}"
        for lane in engine.lanes.values()
        if lane.site is Site.PIT and lane.state.valid()
    ]
    parts += [
        _piece_words(daemon, held, now_ms) for held in book.pieces.values() if held.ended_ms is None
    ]
    return f"{book.cook.name}: {'; '.join(parts)}." if parts else f"{book.cook.name} is running."


def _piece_words(daemon: Node, held: PieceBook, now_ms: int) -> str:
    label = words.stage(held.stage)
    told = f"{held.piece.id} {label} for {show_duration(now_ms - held.stage_since_ms)}"
    lead = daemon.engine.book.cores(held.piece.id)[:1]
    state = daemon.engine.state.channels.get(lead[0]) if lead else None
    if state is not None and state.valid() and state.value is not None:
        told += f" at {show_temperature(state.level, daemon.units.temperature)}"
        if state.trend.stalled:
            told += ", stalled"
    return told
