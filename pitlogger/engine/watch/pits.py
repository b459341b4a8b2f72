"""A pit, judged each bin (10 s): lid, flare-up, falling fire, and whether its band is watched."""

from __future__ import annotations

from pitlogger.engine.annunciator import Annunciator
from pitlogger.engine.compiled_channel import Lane
from pitlogger.model.book import Book
from pitlogger.model.quantities import show_duration, show_temperature
from pitlogger.rules.places import START_UP_MS, is_in_use

FAST_RISE_MC = 30_000  # within a minute; ours
FAST_RISE_OVER_MC = 150_000
FALLING_C_PER_H = -15.0  # ours: slower drifts are regulation
FALLING_UNDER_MC = 8_000
FALLING_LEFT_H = 0.5


def judge_pit(alerts: Annunciator, lane: Lane, book: Book, t_ms: int) -> bool:
    """Judge a pit; return whether it has just become one whose band is watched."""
    state, pit = lane.state, lane.state.pit
    in_use = is_in_use(state.id, book) and book.finished_ms is None
    alerts.tell("lid-open", state.id, t_ms, in_use and pit.open, f"{state.id}: lid open",
              channel=state.id)  # fmt: skip
    _rising(alerts, lane, t_ms, in_use)
    _falling(alerts, lane, book, t_ms, in_use and not pit.dip)
    if state.armed or state.value is None:
        return False
    declared = book.assignment(state.id)
    band = None if declared is None else declared.channel
    low_mc = band.low_mc if band is not None and band.low_mc is not None else -(10**9)
    high_mc = band.high_mc if band is not None and band.high_mc is not None else 10**9
    met = low_mc <= state.value <= high_mc
    state.armed = met or (state.first_ms >= 0 and t_ms - state.first_ms >= START_UP_MS)
    return state.armed


def _rising(alerts: Annunciator, lane: Lane, t_ms: int, in_use: bool) -> None:
    """Look for a rise that no regulation makes: grease that burns."""
    state = lane.state
    recent = state.recent_pit_mc
    value = state.value or 0
    recent.append(value)
    if len(recent) > 7:
        del recent[0]
    fast = in_use and value - min(recent) >= FAST_RISE_MC and value >= FAST_RISE_OVER_MC
    if fast or f"flare-up/{state.id}" in alerts.watches:
        watch = alerts.watch(f"flare-up/{state.id}", "flare-up", channel=state.id)
        watch.forced = fast
        watch.value = value
        lane.low, lane.high = 1, 0


def _falling(alerts: Annunciator, lane: Lane, book: Book, t_ms: int, in_use: bool) -> None:
    state, pit = lane.state, lane.state.pit
    placed = book.assignment(state.id)
    channel = None if placed is None else placed.channel
    floor_mc = None
    if channel is not None and channel.low_mc is not None:
        floor_mc = channel.low_mc
    elif channel is not None and channel.set_point_mc is not None:
        floor_mc = channel.set_point_mc - 25_000
    slope, level = pit.slope_c_per_h, pit.level_mc
    falling = False
    words = ""
    known = floor_mc is not None and slope is not None and level is not None
    if in_use and state.armed and known:
        assert floor_mc is not None
        assert slope is not None
        assert level is not None
        left_h = (level - floor_mc) / 1000 / -slope if slope < 0 else 99.0
        set_mc = channel.set_point_mc if channel is not None else None
        is_under = set_mc is None or level < set_mc - FALLING_UNDER_MC
        falling = slope <= FALLING_C_PER_H and 0 < left_h <= FALLING_LEFT_H and is_under
        floor = show_temperature(floor_mc, alerts.units.temperature)
        words = f"{state.id}: falling, under {floor} in {show_duration(left_h * 3_600_000)}"
        if level < floor_mc:  # it has left its band: the fire may be out
            falling, words = True, f"{state.id}: fell under {floor}"
    alerts.tell("pit-falling", state.id, t_ms, falling, words, channel=state.id)
