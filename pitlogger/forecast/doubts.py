"""When no honest time can be given, and what to say instead."""

from __future__ import annotations

import numpy as np

from pitlogger.forecast.history import History, usable
from pitlogger.forecast.request import Request
from pitlogger.forecast.shape import shape
from pitlogger.model.quantities import show_duration, show_temperature

ENOUGH_READINGS = 3
ENOUGH_SPAN_S = 20 * 60.0
ENOUGH_AFTER_CUT_S = 45 * 60.0
SILENT_S, SILENT_BY_HAND_S = 15 * 60.0, 75 * 60.0
FALL_C_PER_H = -3.0
ABOVE_PIT_C = 2.0
FASTEST_C_PER_H = 110.0  # at 31 mm half-thickness; a thinner piece heats faster
JITTER_C = 2.5
PREFIX = "cannot say yet, because "


def cannot_say(request: Request, past: History | None) -> str:
    """Return why no time can be given, or an empty string.

    The checks run from what is missing to what is odd; the first one found is reported.
    """
    if not np.isfinite(request.target_c):
        return f"{PREFIX}the target is no temperature"
    if past is None or past.readings < ENOUGH_READINGS:
        return f"{PREFIX}{_count(request)}"
    for check in (_silent, _jittery, _short, _in_air, _falling):
        if reason := check(request, past):
            return PREFIX + reason
    return ""


def below_target(request: Request, past: History) -> str:
    """Return a warning when the pit as it is cannot carry the core to the target."""
    pit = past.pit_now_c() + request.pit_change_c
    if pit > request.target_c + 0.5 or request.target_c <= past.level_c:
        return ""
    target, pit_text = _show(request.target_c), _show(pit)
    return f"the target of {target} lies above the pit at {pit_text}: raise the pit"


def _count(request: Request) -> str:
    t, _ = usable(request.core, request.now_s)
    if len(t) == 0:
        return "there are no readings of the core"
    return f"there {'is only one reading' if len(t) == 1 else f'are only {len(t)} readings'}"


def _silent(request: Request, past: History) -> str:
    if past.latest_s <= (SILENT_BY_HAND_S if request.by_hand else SILENT_S):
        return ""
    if request.by_hand:
        return f"the last hand reading is {show_duration(past.latest_s * 1000)} old: take another"
    return f"the core has been silent for {show_duration(past.latest_s * 1000)}"


def _short(_: Request, past: History) -> str:
    wanted = ENOUGH_SPAN_S if past.from_loading else ENOUGH_AFTER_CUT_S
    if past.span_s >= wanted:
        return ""
    have, need = show_duration(past.span_s * 1000), show_duration(wanted * 1000)
    after = {
        "gap": "since the long gap in them ",
        "back": "since the piece was put back on ",
        "moved": "since the probe was moved ",
    }.get(past.cut, "")
    return f"the readings {after}span {have} only; {need} are needed"


def _in_air(request: Request, past: History) -> str:
    if past.pit_known and past.level_c > float(past.pit_c[-72:].max()) - ABOVE_PIT_C:
        return (
            f"the core at {_show(past.level_c)} is as hot as the pit: "
            "the probe may lie in air or in a wrong place"
        )
    fastest = FASTEST_C_PER_H * 31.0 / shape(request).half_mm
    if past.slope_c_per_h(15) > fastest:
        return (
            f"the core rises by {past.slope_c_per_h(15):.0f} C an hour, faster than meat can: "
            "the probe may lie in air or near the surface"
        )
    return ""


def _jittery(request: Request, _: History) -> str:
    t, core = usable(request.core, request.now_s)
    recent = core[t >= request.now_s - 3600.0]
    if len(recent) < 6:
        return ""
    bend = np.diff(recent, 2)
    jitter = float(np.median(np.abs(bend))) / 1.65  # median of |second difference| of unit noise
    if jitter <= JITTER_C:
        return ""
    return f"the core jumps by {jitter:.0f} C from reading to reading: check the probe"


def _falling(_: Request, past: History) -> str:
    if past.slope_c_per_h(30) >= FALL_C_PER_H or past.slope_c_per_h(15) >= FALL_C_PER_H / 2:
        return ""
    return f"the core is falling by {-past.slope_c_per_h(30):.0f} C an hour"


def _show(value_c: float) -> str:
    return f"{show_temperature(value_c * 1000)} ({value_c:.0f} C)"
