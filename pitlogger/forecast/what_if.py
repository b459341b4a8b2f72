"""What if: wrap now, wrap later, pit up, pit down, asked of the same forecast.

What an action gains is uncertain by itself: each member of the physical model is run with and
without it, so that what both share drops out. No action is offered that slows a core on its way
through 135 F (FDA Food Code 3-501.16: below it food is not hot), and no forecast counts towards a
verdict.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from pitlogger.forecast.finish import arrivals, forecast
from pitlogger.forecast.history import History, history
from pitlogger.forecast.library import library
from pitlogger.forecast.request import Answer, Request
from pitlogger.model.cooks import Wrap
from pitlogger.model.quantities import show_duration

PIT_STEP_C = 10.0
LATER_S = 3600.0
HOT_C = 57.2  # 135 F
LEAST_SHIFT_S = 300


@dataclass(frozen=True, slots=True)
class Alternative:
    """One thing to do, the forecast if it is done, and what it changes.

    ``shift_s`` is the change of the median against doing nothing new, ``None`` where one
    of the two never gets there; ``text`` says it in one line. In eight of ten cases the change
    lies between the two of ``likely_s``.
    """

    action: str
    answer: Answer
    shift_s: int | None
    text: str
    likely_s: tuple[int, int] | None = None


def what_if(request: Request, *, widen: bool = True) -> tuple[Answer, tuple[Alternative, ...]]:
    """Return the forecast as things are, and for each thing that could be done."""
    request = replace(request, full=True, others=(), previous=None)
    base = forecast(request, widen=widen)
    past = history(request)
    if base.is_unknown or past is None:
        return base, ()
    before = _hours(request, past)
    return base, tuple(
        _compare(action, (base, before), (forecast(asked, widen=widen), _hours(asked, past)))
        for action, asked in _options(request, past.level_c)
    )


def _hours(request: Request, past: History) -> np.ndarray:
    """Return when each member of the physical model arrives, hours; ``inf`` for never."""
    return arrivals(request, past, library())


def _options(request: Request, level_c: float) -> list[tuple[str, Request]]:
    options: list[tuple[str, Request]] = []
    if request.wrap in (None, "none") and request.target != "wrap":
        kinds: tuple[Wrap, ...] = ("paper", "foil")
        for kind in kinds:
            now = replace(request, wrap_plan=kind, wrap_at_s=request.now_s, wrap_at_c=None)
            options.append((f"wrap in {kind} now", now))
        kind = request.wrap_plan if request.wrap_plan not in (None, "none") else "paper"
        later = replace(request, wrap_plan=kind, wrap_at_s=request.now_s + LATER_S, wrap_at_c=None)
        options.append((f"wrap in {kind} in an hour", later))
        if request.wrap_plan not in (None, "none"):
            options.append(("leave it unwrapped", replace(request, wrap_plan="none")))
    for step in (PIT_STEP_C, -PIT_STEP_C) if level_c >= HOT_C else (PIT_STEP_C,):
        by = f"{abs(step):.0f} C"
        changed = replace(request, pit_change_c=request.pit_change_c + step)
        options.append((f"pit up {by}" if step > 0 else f"pit down {by}", changed))
    return options


def _compare(
    action: str, before: tuple[Answer, np.ndarray], after: tuple[Answer, np.ndarray]
) -> Alternative:
    base, other = before[0], after[0]
    if other.p50_s is None:
        return Alternative(action, other, None, f"{action}: may not get there at all")
    if base.p50_s is None:
        at = show_duration(other.p50_s * 1000)
        return Alternative(action, other, None, f"{action}: gets there in about {at}")
    shift = other.p50_s - base.p50_s
    if abs(shift) < LEAST_SHIFT_S:
        return Alternative(action, other, shift, f"{action}: makes no difference")
    by = show_duration(abs(shift) * 1000)
    text = f"{action}: brings it forward by {by}" if shift < 0 else f"{action}: puts it off by {by}"
    likely = _likely(shift, before[1], after[1])
    if likely is not None:
        least, most = (show_duration(abs(s) * 1000) for s in sorted(likely, key=abs))
        text += f" (likely {least} to {most})"
    return Alternative(action, other, shift, text, likely)


def _likely(shift_s: int, before_h: np.ndarray, after_h: np.ndarray) -> tuple[int, int] | None:
    """Return between what the change lies in eight of ten members, about the change reported.

    ``None`` where most members never arrive or where they do not even agree on its sign.
    """
    both = np.isfinite(before_h) & np.isfinite(after_h)
    if both.sum() < len(both) / 2:
        return None
    low, middle, high = np.quantile(after_h[both] - before_h[both], (0.1, 0.5, 0.9))
    if low * high <= 0 or middle * shift_s <= 0:
        return None
    return round(shift_s * float(low / middle)), round(shift_s * float(high / middle))
