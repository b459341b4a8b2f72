"""A request's series on one grid of five minutes, lids left out, probe moves joined."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from pitlogger.forecast.request import Request, Series

Array = npt.NDArray[np.float64]

STEP_S = 300.0
LONGEST_GAP_S = 2 * 3600.0  # a longer silence cuts off what was before it
LONGEST_COOK_S = 36 * 3600.0
LID_C = 6.0  # under the median of 45 minutes
MOVE_C = 5.0  # within one bin, beyond what the bins around it do
FALL_C = 6.0  # a core that falls so far was off the pit
RAW_C = 25.0  # no piece that was on the pit is so cold again
DEFAULT_PIT_C = 113.0  # common practice, no source; only where no pit and no set point is known


@dataclass(frozen=True, slots=True)
class History:
    """Core and pit up to now, shape (n,), five minutes apart, the last one at ``now``.

    Attributes:
        core_c: Core temperature, mean over each bin, moved probes joined.
        pit_c: Pit without lid openings.
        from_loading: Whether the series begins when the piece went on.
        hours: Time on the pit so far, of the whole cook where it is known.
        pit_known: Whether the pit was measured.
        latest_s: Age of the newest core reading.
        span_s: Time from the first to the last usable reading.
        readings: How many usable core readings there are.
        joined: How many probe moves were joined.
        cut: Why earlier readings were left out: ``gap``, ``moved``, ``back`` (put back on) or
            empty if none were.
    """

    core_c: Array
    pit_c: Array
    from_loading: bool
    hours: float
    pit_known: bool
    latest_s: float
    span_s: float
    readings: int
    joined: int = 0
    cut: str = ""

    @property
    def level_c(self) -> float:
        """Present core: the last bins carried forward to now."""
        return float(self.core_c[-1])

    def pit_now_c(self) -> float:
        """Mean pit of the last hour, or of the last 20 minutes if it was changed."""
        hour, last = float(self.pit_c[-12:].mean()), float(self.pit_c[-4:].mean())
        return last if abs(last - hour) > 4.0 else hour

    def slope_c_per_h(self, minutes: int) -> float:
        """Least-squares slope of the core over the last ``minutes``."""
        n = min(minutes // 5 + 1, len(self.core_c))
        return _slope(self.core_c[-n:]) if n >= 2 else 0.0


def history(request: Request) -> History | None:
    """Return the history of a request, ``None`` for fewer than two usable core readings."""
    t, core = usable(request.core, request.now_s)
    if len(t) and request.on_pit_s is not None:
        kept = t >= request.on_pit_s - STEP_S
        t, core = t[kept], core[kept]
    if len(t):
        kept = t >= request.now_s - LONGEST_COOK_S
        t, core = t[kept], core[kept]
    if len(t) < 2:
        return None
    start = _after_last_gap(t)
    cut = "gap" if start > 0 else ""
    t, core = t[start:], core[start:]
    loaded_s = request.on_pit_s
    begins_cold = t[0] - loaded_s < 900.0 if loaded_s is not None else core[0] < 25.0
    core_grid, joined, lost = _join_moves(_grid(t, core, request.now_s))
    cut = "moved" if lost else cut
    back = _after_last_fall(core_grid)
    if back > 0:
        put_in = core_grid[back] < RAW_C  # the probe came out of the air into cold meat
        core_grid, cut = core_grid[back:], cut if put_in else "back"
    if cut or back > 0:
        kept = t >= request.now_s - (len(core_grid) - 1) * STEP_S
        t = t[kept] if kept.any() else t[-1:]
    pit_grid, pit_known = _pit(request, len(core_grid))
    since = t[0] if loaded_s is None else loaded_s
    return History(
        core_c=core_grid,
        pit_c=pit_grid,
        from_loading=bool(begins_cold and not cut),
        hours=max((request.now_s - since) / 3600.0, 0.05),
        pit_known=pit_known,
        latest_s=float(request.now_s - t[-1]),
        span_s=float(t[-1] - t[0]),
        readings=len(t),
        joined=joined,
        cut=cut,
    )


def usable(series: Series, now_s: float) -> tuple[Array, Array]:
    """Return times and values up to now, finite ones only, sorted by time."""
    t = np.asarray(series.t_s, dtype=np.float64)
    value = np.asarray(series.value_c, dtype=np.float64)
    kept = np.isfinite(t) & np.isfinite(value) & (t <= now_s)
    t, value = t[kept], value[kept]
    if len(t) > 1 and np.any(np.diff(t) < 0):
        order = np.argsort(t, kind="stable")
        t, value = t[order], value[order]
    return t, value


def _after_last_gap(t: Array) -> int:
    gaps = np.flatnonzero(np.diff(t) > LONGEST_GAP_S)
    return int(gaps[-1]) + 1 if len(gaps) else 0


def _after_last_fall(core_c: Array) -> int:
    """Return the index at which the core rises again after a fall of 6 C or more, else 0.

    Meat on the pit does not fall so far; it was off and was put back on, or the fire was out.
    A fall that still goes on cuts nothing: it is reported as falling.
    """
    fallen = np.maximum.accumulate(core_c) - core_c
    low = np.flatnonzero(fallen >= FALL_C)
    if not len(low):
        return 0
    first = int(low[0])
    top = float(core_c[:first].max())
    again = np.flatnonzero(core_c[first:] >= top)
    end = first + int(again[0]) if len(again) else len(core_c)
    lowest = first + int(core_c[first:end].argmin())
    if lowest == len(core_c) - 1:
        return 0
    return lowest + _after_last_fall(core_c[lowest:])


def _grid(t: Array, value: Array, now_s: float) -> Array:
    """Return means over five-minute bins, moved to the ends of their bins along the trend.

    The last bin ends at ``now_s``; bins without readings are interpolated.
    """
    back = np.floor((now_s - t) / STEP_S).astype(np.intp)
    n = max(int(back[0]) + 1, 2)
    count = np.bincount(back, minlength=n)
    total = np.bincount(back, weights=value, minlength=n)
    when = np.bincount(back, weights=now_s - t, minlength=n)
    filled = count > 0
    age = when[filled] / count[filled]
    mean = total[filled] / count[filled]
    ends = np.arange(n) * STEP_S
    grid: Array = np.interp(ends, age, mean)[::-1].copy()
    youngest = float(age[0])
    if len(mean) > 2 and youngest > 0:  # carry the newest bin to now along the last quarter hour
        slope = (mean[0] - mean[min(3, len(mean) - 1)]) / (age[min(3, len(mean) - 1)] - age[0])
        late = np.minimum(np.maximum(youngest - ends[::-1], 0.0), 1800.0)
        grid += slope * late
    return grid


def _join_moves(core: Array) -> tuple[Array, int, bool]:
    """Stretch what lies before a moved probe so that it meets what lies after.

    The two places of one piece begin equal and grow apart, so the earlier curve is scaled
    about its start. Where that cannot be (a probe that lay in air) the earlier part is lost.
    """
    steps = np.diff(core)
    if len(steps) < 4:
        return core, 0, False
    # A move falls into one bin or, split by the means, into two.
    around = np.median(_windows(steps, 9), axis=1)
    odd = np.flatnonzero(np.abs(steps - around) > MOVE_C)
    joined = 0
    for index in odd[::-1]:
        after = core[index + 1]
        before = core[index] + around[index]
        rise, wanted = before - core[0], after - core[0]
        if rise < 5.0 or not 0.6 < wanted / rise < 1.6:
            return core[index + 1 :], joined, True
        core = core.copy()
        core[: index + 1] = core[0] + (core[: index + 1] - core[0]) * (wanted / rise)
        joined += 1
    return core, joined, False


def _pit(request: Request, n: int) -> tuple[Array, bool]:
    t, pit = usable(request.pit, request.now_s)
    recent = t >= request.now_s - LONGEST_COOK_S
    t, pit = t[recent], pit[recent]
    fallback = DEFAULT_PIT_C if request.set_point_c is None else request.set_point_c
    if len(t) < 2 or request.now_s - t[-1] > LONGEST_GAP_S:
        return np.full(n, fallback), False
    grid = _grid(t, pit, request.now_s)
    if len(grid) >= 9:
        middle = np.median(_windows(grid, 9), axis=1)
        grid = np.where(grid < middle - LID_C, middle, grid)
    if len(grid) < n:
        grid = np.concatenate([np.full(n - len(grid), grid[0]), grid])
    return grid[-n:], True


def _windows(values: Array, width: int) -> Array:
    half = width // 2
    padded = np.concatenate([np.full(half, values[0]), values, np.full(half, values[-1])])
    return np.asarray(np.lib.stride_tricks.sliding_window_view(padded, width))


def _slope(values: Array) -> float:
    """Return the least-squares slope of five-minute values in degrees per hour."""
    n = len(values)
    x = np.arange(n) - (n - 1) / 2
    return float(x @ values / (x @ x)) * 3600.0 / STEP_S
