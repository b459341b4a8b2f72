"""Figures: what each channel reads, as a person reads it: value, ask, trend, age.

A number never stands alone, a dead probe shows a word and not its last number.
"""

from __future__ import annotations

from typing import Any

from pitlogger.engine.compiled_channel import Lane
from pitlogger.model.book import PieceBook
from pitlogger.model.cooks import ON_PIT, Stage
from pitlogger.model.quantities import Quantity
from pitlogger.model.readings import Quality, Site
from pitlogger.node.containers import looks_like
from pitlogger.views import words
from pitlogger.views.language import tr
from pitlogger.views.node import Node
from pitlogger.views.shown import MINUS, Shown

OLD_MS = 15_000
BY_HAND = "/spot"  # a reading by hand stands for its moment alone, no channel is silent after it
QUARTER_H = 0.25
EMPTY_MG = 50_000  # less than this on a scale is an empty one
COLD_MC = 4_000  # where the measure of a core begins: out of the cold
LEVEL_C = 0.6  # less than this in a quarter of an hour is called steady
_ORDER = (Site.PIT, Site.CORE, Site.HOLD, Site.TRANSPORT, Site.LINE, Site.COLD, Site.SURFACE,
          Site.ROOM, Site.NONE, Site.BENCH, Site.GRATE, Site.SPOT)  # fmt: skip


def figures(daemon: Node, shown: Shown) -> list[dict[str, Any]]:
    """Return the temperature channels in the order they are read: pits, cores, the rest."""
    lanes = [
        lane
        for lane in daemon.engine.lanes.values()
        if lane.is_temperature and not lane.state.id.endswith(BY_HAND)
    ]
    lanes.sort(key=lambda lane: (_ORDER.index(lane.site), lane.piece or "", lane.state.id))
    return [figure(daemon, lane, shown) for lane in lanes if not _is_over(daemon, lane)]


def _is_over(daemon: Node, lane: Lane) -> bool:
    """Return whether a channel belongs to a piece that needs no probe any more."""
    held = daemon.engine.book.pieces.get(lane.piece or "")
    return held is not None and (not held.is_open or held.stage in (Stage.SERVED, Stage.DISCARDED))


def figure(daemon: Node, lane: Lane, shown: Shown) -> dict[str, Any]:
    """Return one temperature channel as it is shown."""
    state = lane.state
    quality, word = _quality(lane, shown.now_ms)
    level = state.level if quality == "good" else state.value
    has_number = level is not None and quality in ("good", "old")
    return {
        "channel": state.id,
        "name": _name(lane),
        "site": lane.site.value,
        "main": lane.site in (Site.PIT, Site.CORE, Site.HOLD),
        "quality": quality,
        "number": shown.degrees(level) if has_number and level is not None else "",
        "unit": shown.units.temperature if has_number else "",
        "level_c": round(level / 1000, 2) if quality == "good" and level is not None else None,
        "word": word,
        "ask": _ask(daemon, lane, shown),
        "trend": _trend(lane, shown) if quality == "good" else "",
        "rate": _rate(lane, shown) if quality == "good" else "",
        "share": _share(daemon, lane, level) if has_number else "",
        "at": _at(daemon, lane, level) if has_number else "",
        "age": tr("never heard")
        if state.heard_ms < 0
        else tr("{since} ago", since=shown.since(state.heard_ms)),
    }


def _name(lane: Lane) -> str:
    if lane.site is Site.CORE and lane.piece is not None:
        own = lane.state.id.removeprefix(lane.piece).strip("/")
        return lane.piece if own in ("core", "") else f"{lane.piece}, {own}"
    return lane.state.id


def _quality(lane: Lane, now_ms: int) -> tuple[str, str]:
    state = lane.state
    if state.heard_ms < 0:
        return "none", tr("no reading yet")
    if state.quality is not Quality.GOOD and not state.stale:
        return "bad", words.quality(state.quality)
    old_ms = max(OLD_MS, 3 * (lane.interval_ms or 0))
    if state.stale or now_ms - state.heard_ms > old_ms:
        return "old", words.quality("stale")
    return ("good", "") if state.value is not None else ("none", tr("no value"))


def _ask(daemon: Node, lane: Lane, shown: Shown) -> str:
    """Return what the figure is measured against: a band, or the next target."""
    held = daemon.engine.book.pieces.get(lane.piece or "")
    if lane.site is Site.CORE and held is not None and held.is_open:
        return _core_ask(daemon, held, shown)
    assignment = daemon.engine.book.assignment(lane.state.id)
    placed = assignment.channel if assignment else daemon.engine.declared(lane.state.id)
    if placed is None:
        return ""
    low, high, aim = placed.low_mc, placed.high_mc, placed.set_point_mc
    if low is not None and high is not None:
        return tr("band {low} to {high}", low=shown.degrees(low), high=shown.degrees(high))
    if aim is not None:
        return tr("set to {degrees}", degrees=shown.degrees(aim))
    if lane.site in (Site.HOLD, Site.TRANSPORT, Site.LINE):
        return tr(
            "keep at {degrees} or more", degrees=shown.degrees(daemon.policy.hot_hold_limit_mc)
        )
    return words.site(lane.site)


def _core_ask(daemon: Node, held: PieceBook, shown: Shown) -> str:
    policy = daemon.policy
    wrap_at, pull_at = policy.wrap_at_mc(held.piece), policy.pull_at_mc(held.piece)
    if held.stage is Stage.SMOKING and wrap_at is not None:
        return tr("wrap at {degrees}", degrees=shown.degrees(wrap_at))
    if held.stage in ON_PIT and pull_at is not None:
        return tr("off the pit at {degrees}", degrees=shown.degrees(pull_at))
    if held.stage is Stage.RESTING:
        return tr("rest to {degrees}", degrees=shown.degrees(policy.rest_until_mc))
    if held.by_time is not None:
        return tr("held by time")
    if held.stage in (Stage.HOLDING, Stage.IN_TRANSIT, Stage.SERVING, Stage.CARVED):
        return tr("keep at {degrees} or more", degrees=shown.degrees(policy.hot_hold_limit_mc))
    return words.stage(held.stage)


def band_of(daemon: Node, channel: str) -> tuple[int | None, int | None, int | None]:
    """Return low, high and set point of a channel, each ``None`` where it is not given."""
    assignment = daemon.engine.book.assignment(channel)
    placed = assignment.channel if assignment else daemon.engine.declared(channel)
    if placed is None:
        return None, None, None
    return placed.low_mc, placed.high_mc, placed.set_point_mc


def _at(daemon: Node, lane: Lane, level: float | None) -> str:
    """Return where in a picture of its band a value lies: the band is 20 to 80 of 100."""
    low, high, _ = band_of(daemon, lane.state.id)
    if low is None or high is None or level is None:
        return ""
    return f"{max(0.0, min(98.0, 20 + 60 * (level - low) / (high - low))):.0f}"


def _share(daemon: Node, lane: Lane, level: float | None) -> str:
    """Return how far a core is on its way from the cold to its pull temperature, 0 to 100."""
    held = daemon.engine.book.pieces.get(lane.piece or "")
    target = None if held is None else daemon.policy.pull_at_mc(held.piece)
    if lane.site is not Site.CORE or target is None or level is None:
        return ""
    return f"{max(0.0, min(1.0, (level - COLD_MC) / max(1, target - COLD_MC))) * 100:.0f}"


def _rate(lane: Lane, shown: Shown) -> str:
    """Return how fast a core climbs, as it stands behind its stage: ``, +9/h``, ``, flat 1 h``."""
    trend = lane.state.trend
    if lane.site is not Site.CORE or trend.slope_c_per_h is None:
        return ""
    if trend.stalled and trend.stall_since_ms is not None:
        return tr(", flat {since}", since=shown.since(trend.stall_since_ms))
    rate = shown.step(trend.slope_c_per_h * 1000)
    return f", {'+' if rate >= 0 else MINUS}{abs(rate):.0f}/h"


def _trend(lane: Lane, shown: Shown) -> str:
    slope = lane.state.trend.slope_c_per_h
    if slope is None:
        return ""
    if lane.state.trend.stalled:
        return tr("stalled")
    if abs(slope * QUARTER_H) < LEVEL_C:
        return tr("steady for 15 min")
    change = abs(shown.step(slope * QUARTER_H * 1000))
    if slope > 0:
        return tr("up {change} in 15 min", change=f"{change:.0f}")
    return tr("down {change} in 15 min", change=f"{change:.0f}")


def scales(daemon: Node, shown: Shown) -> list[dict[str, Any]]:
    """Return the scales: what lies on them, whether it is steady, what counts as container."""
    return [
        scale(daemon, lane, shown)
        for lane in daemon.engine.lanes.values()
        if lane.site is Site.BENCH and lane.quantity is Quantity.MASS
    ]


def scale(daemon: Node, lane: Lane, shown: Shown) -> dict[str, Any]:
    """Return one scale as it is shown; ``net`` is what would be kept."""
    state = lane.state
    tare = daemon.engine.book.tares.get(state.id)
    tare_mg = 0 if tare is None else tare.tare_mg
    quality, word = _quality(lane, shown.now_ms)
    steady = state.steadiness.steady_mg if quality == "good" else None
    value = steady if steady is not None else state.value
    shows = quality == "good" and value is not None
    return {
        "channel": state.id,
        "quality": quality,
        "net": shown.mass(value - tare_mg) if shows and value is not None else "",
        "gross": shown.mass(value) if shows and value is not None else "",
        "word": word if quality != "old" else tr("switched off or silent"),
        "is_steady": steady is not None,
        "state": tr("steady") if steady is not None else tr("settling") if shows else "",
        "steadiness": round(state.steadiness.shown() * 100) if shows else 0,
        "is_empty": shows and value is not None and abs(value) < EMPTY_MG,
        "tare": shown.mass(tare_mg) if tare_mg else "",
        "container": (tare.container or tr("container")) if tare is not None and tare_mg else "",
        "hint": "" if steady is None or tare_mg else _container_hint(daemon, lane, steady),
    }


def _container_hint(daemon: Node, lane: Lane, steady_mg: int) -> str:
    """Return which container on the list an untared steady mass looks like, empty if none."""
    found = looks_like(daemon, steady_mg, lane.state.steadiness.interval_mg)
    return "" if found is None else tr("This looks like {name}, empty.", name=found.name)


def net_mg(daemon: Node, channel: str) -> int | None:
    """Return the steady net mass on a scale, ``None`` while it is not steady."""
    state = daemon.engine.lanes[channel].state
    steady = None if state.stale else state.steadiness.steady_mg
    tare = daemon.engine.book.tares.get(channel)
    return None if steady is None else steady - (0 if tare is None else tare.tare_mg)
