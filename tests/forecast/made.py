"""Series of our own invention for the forecast tests."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from pitlogger.forecast.request import Request, Series

PIT_C = 118.0


def cook_c(hours: npt.NDArray[np.float64], wrap_h: float | None = None) -> npt.NDArray[np.float64]:
    """Return a plausible core: heating, stall from 66 C, slow end; quicker once wrapped."""
    level, out, step = 5.0, [], 1 / 60
    at = np.arange(0.0, float(hours[-1]) + step, step)
    for h in at:
        out.append(level)
        stalled = 66.0 < level < 74.0 and (wrap_h is None or h < wrap_h)
        rate = 2.2 if stalled else 0.32 * (108.0 - level)
        level += min(rate, 22.0) * step
    return np.interp(hours, at, out)


def request(
    now_h: float, *, wrap_h: float | None = None, noise_c: float = 0.2, every_s: float = 60.0,
    **changes: object,
) -> Request:  # fmt: skip
    """Return a request for 95 C at ``now_h`` hours on the pit."""
    t = np.arange(0.0, now_h * 3600.0 + 1.0, every_s)
    dice = np.random.default_rng(3)
    core = cook_c(np.maximum(t / 3600.0, 1e-9), wrap_h) + dice.normal(0.0, noise_c, len(t))
    pit = PIT_C + dice.normal(0.0, 1.5, len(t))
    on = wrap_h is not None and wrap_h <= now_h
    fields: dict[str, object] = {
        "piece": "brisket-1", "target": "pull", "target_c": 95.0, "now_s": now_h * 3600.0,
        "core": Series(tuple(t), tuple(core)), "pit": Series(tuple(t), tuple(pit)),
        "on_pit_s": 0.0, "set_point_c": PIT_C, "mass_g": 5200.0, "thickness_mm": 68.0,
        "family": "brisket", "wrap_plan": "paper", "wrap_at_c": 73.9,
        "wrap": "paper" if on else None,
        "wrapped_s": wrap_h * 3600.0 if on and wrap_h is not None else None,
    }  # fmt: skip
    return Request(**{**fields, **changes})  # type: ignore[arg-type]


def with_core(asked: Request, t_s: npt.ArrayLike, core_c: npt.ArrayLike) -> Request:
    """Return the request with another core series, asked at its last reading."""
    from dataclasses import replace

    t, core = np.asarray(t_s, dtype=float), np.asarray(core_c, dtype=float)
    return replace(asked, core=Series(tuple(t), tuple(core)), now_s=float(t[-1]))
