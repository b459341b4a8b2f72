"""What the library looks at: some sixty numbers of a request and its history."""

from __future__ import annotations

from math import log, log1p

import numpy as np
import numpy.typing as npt

from pitlogger.forecast.history import STEP_S, History
from pitlogger.forecast.naive import exponential_h, linear_h
from pitlogger.forecast.request import Request
from pitlogger.forecast.shape import shape, wrap_ahead, wrap_shares

Array = npt.NDArray[np.float64]

NAMES = (
    "level", "gap", "ln_gap", "slope_15", "slope_30", "slope_60", "slope_90", "slope_180",
    "lowest_slope", "since_lowest", "ln_hours", "since_40", "since_55", "since_62", "since_68",
    "mean_60_120", "from_loading", "ln_loading_rate", "pit_now", "pit_mean", "pit_ahead",
    "pit_over_target", "pit_over_core", "ln_over", "ln_half", "ln_mass", "compact",
    "thickness_said", "mass_said", "wrapped_foil", "wrapped_paper", "since_wrap", "ahead_foil",
    "ahead_paper", "to_wrap", "ln_linear_30", "ln_linear_90", "ln_linear_wrap", "ln_exponential",
    "pit_known", "target", "rise_15", "rise_30", "rise_60", "rise_90", "rise_120", "rise_180",
    "rise_240", "rise_300", "rise_420", "pit_then_2h", "pit_then_4h", "pit_trend", "fallen",
    "ln_rate_3h", "since_60_rate", "since_75", "ln_heat", "ln_bark", "ln_flat", "pit_wander",
    "set_over_now", "rise_since_wrap",
)  # fmt: skip
STALL_FROM_C = 55.0
RISES_MIN = (15, 30, 60, 90, 120, 180, 240, 300, 420)


def features(request: Request, past: History) -> Array:
    """Return the features of a request, shape (63,), in the order of ``NAMES``."""
    core = past.core_c
    level = past.level_c
    gap = max(request.target_c - level, 0.1)
    slope = {m: past.slope_c_per_h(m) for m in (15, 30, 60, 90, 180)}
    pit_now, pit_mean = past.pit_now_c(), float(past.pit_c.mean())
    ahead = pit_now + request.pit_change_c
    if (
        request.set_point_c is not None
        and past.pit_known
        and abs(float(past.pit_c[-3:].mean()) - pit_now) > 3.0
    ):
        ahead = 0.5 * (request.set_point_c + float(past.pit_c[-3:].mean())) + request.pit_change_c
    over = ahead - request.target_c
    size = shape(request)
    worn = wrap_shares(request.wrap)
    since_wrap = 0.0
    if any(worn) and request.wrapped_s is not None:
        since_wrap = max(request.now_s - request.wrapped_s, 0.0) / 3600.0
    plan, at = wrap_ahead(request)
    planned = wrap_shares(plan) if at is not None else (0.0, 0.0)
    to_wrap = _to_wrap_c(request, level, slope[60], at)
    lowest, since_lowest = _lowest_slope(core)
    passed = [_since_h(core, mark) for mark in (40.0, 55.0, 62.0, 68.0)]
    values = (
        level, gap, log(gap), *(_signed_log(slope[m]) for m in (15, 30, 60, 90, 180)),
        _signed_log(lowest), since_lowest, log(past.hours), *passed,
        float(core[-24:-12].mean()) - level if len(core) > 12 else 0.0,
        float(past.from_loading), _loading_rate(past), pit_now, pit_mean, ahead,
        over, ahead - level, log(max(over, 1.0)), size.ln_half, log(size.mass_kg / 3.9),
        size.compact, float(size.thickness_said), float(size.mass_said), *worn,
        log1p(since_wrap), *planned, to_wrap,
        log(max(linear_h(level, request.target_c, slope[30]), 0.05)),
        log(max(linear_h(level, request.target_c, slope[90]), 0.05)),
        log(max(linear_h(level, level + max(to_wrap, 0.0), slope[60]), 0.05)),
        log(max(exponential_h(level, request.target_c, slope[60], ahead), 0.05)),
        float(past.pit_known), request.target_c, *(level - _ago(core, m) for m in RISES_MIN),
        float(past.pit_c[-24:].mean()) - pit_now, float(past.pit_c[-48:].mean()) - pit_now,
        float(past.pit_c[-4:].mean() - past.pit_c[-12:].mean()), float(core.max()) - level,
        *_rates(core), _since_h(core, 75.0), *_exposure(past), float(past.pit_c[-24:].std()),
        0.0 if request.set_point_c is None else request.set_point_c - pit_now,
        level - _ago(core, round(60.0 * since_wrap)) if since_wrap > 0 else 0.0,
    )  # fmt: skip
    return np.asarray(values)


def _ago(core_c: Array, minutes: int) -> float:
    return float(core_c[max(len(core_c) - 1 - minutes // 5, 0)])


def _rates(core_c: Array) -> tuple[float, float]:
    """Return the mean log hourly rise of the last hours, and the mean rise since 60 C."""
    hourly = core_c[12:] - core_c[:-12] if len(core_c) > 13 else core_c[-1:] - core_c[:1]
    mean_log = float(np.log1p(np.maximum(hourly[-36:], 0.0)).mean())
    hot = np.flatnonzero(core_c > 60.0)
    if not len(hot):
        return mean_log, -5.0
    return mean_log, float(core_c[-1] - core_c[hot[0]]) / (len(hot) / 12.0 + 0.5)


def _exposure(past: History) -> tuple[float, float, float]:
    """Return what the stall has used up so far, in logs.

    Heat offered to the hot piece (100 C h), hours at 65 C that set as much bark (twice as fast
    every 10 C, assumed), hours in which it rose by less than 4 C an hour.
    """
    core, pit = past.core_c, past.pit_c
    hot = core > STALL_FROM_C - 5.0
    heat = float((pit - core)[hot].clip(0.0).sum()) / 12.0
    bark = float(np.exp2((core[hot] - 65.0) / 10.0).sum()) / 12.0
    slow = core[12:] - core[:-12] < 4.0
    flat = float((slow & hot[12:]).sum()) / 12.0
    return log1p(heat / 100.0), log1p(bark), log1p(flat)


def _signed_log(slope_c_per_h: float) -> float:
    return float(np.sign(slope_c_per_h)) * log1p(abs(slope_c_per_h) / 0.5)


def _since_h(core_c: Array, mark_c: float) -> float:
    """Return log time since the core first passed a mark; the negative gap if it has not."""
    above = core_c >= mark_c
    if not above.any():
        return -min(mark_c - float(core_c[-1]), 30.0) / 30.0
    return log1p((len(core_c) - 1 - int(above.argmax())) * STEP_S / 3600.0)


def _lowest_slope(core_c: Array) -> tuple[float, float]:
    """Return the lowest hourly slope since the core passed 55 C, and the log hours since then.

    Before that the present slope stands in.
    """
    if len(core_c) < 14 or core_c[-1] < STALL_FROM_C:
        n = min(len(core_c) - 1, 12)
        return float(core_c[-1] - core_c[-1 - n]) * 12.0 / n, 0.0
    hourly = core_c[12:] - core_c[:-12]
    hot = core_c[:-12] > STALL_FROM_C - 5.0
    if not hot.any():
        return float(hourly[-1]), 0.0
    masked = np.where(hot, hourly, np.inf)
    index = int(masked.argmin())
    return float(masked[index]), log1p((len(hourly) - 1 - index) * STEP_S / 3600.0)


def _loading_rate(past: History) -> float:
    """Return log of the mean rise from 20 to 50 C as far as it was seen, C/h; 0 if it was not."""
    core = past.core_c
    seen = np.flatnonzero((core > 20.0) & (core < 50.0))
    if len(seen) < 3 or not past.from_loading:
        return 0.0
    rise = float(core[seen[-1]] - core[seen[0]])
    hours = (seen[-1] - seen[0]) * STEP_S / 3600.0
    return log(max(rise / hours, 1.0)) - 3.0


def _to_wrap_c(request: Request, level_c: float, slope_c_per_h: float, at_c: float | None) -> float:
    """Return how many degrees lie before the planned wrap, 0 if none is ahead."""
    if at_c is None:
        return 0.0
    if request.wrap_at_s is not None:
        return max((request.wrap_at_s - request.now_s) / 3600.0 * max(slope_c_per_h, 0.0), 0.0)
    return max(at_c - level_c, 0.0)
