"""What a finished cook teaches: how far off the forecasts were on the way."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from math import log

from pitlogger.forecast.blend import calibrated, pooled
from pitlogger.forecast.doubts import cannot_say
from pitlogger.forecast.finish import LEVELS, estimate
from pitlogger.forecast.history import history
from pitlogger.forecast.library import Library, library
from pitlogger.forecast.request import Request
from pitlogger.model.journal import LocalScore

MOMENTS = (0.75, 0.5, 0.25)  # of the cook left
SHORTEST_S = 1800.0


def scores(
    cook: str, request: Request, reached_s: float, held: Library | None = None
) -> tuple[LocalScore, ...]:
    """Return up to three scores of a finished cook.

    Args:
        cook: Name or id of the cook; scores of one cook count as one.
        request: As it stood at the end, with the whole series and what was planned.
        reached_s: When the target was reached.
    """
    from_s = request.core.t_s[0] if request.on_pit_s is None else request.on_pit_s
    held = held or library()
    found: list[LocalScore] = []
    for share in MOMENTS:
        left_s = share * (reached_s - from_s)
        if left_s < SHORTEST_S:
            continue
        asked = as_of(request, reached_s - left_s)
        past = history(asked)
        if past is None or cannot_say(asked, past):
            continue
        middle = estimate(asked, past, held).centre
        z = (log(left_s / 3600.0) - middle.log_h) / middle.sd
        found.append(LocalScore(cook, request.family, z, request.piece, round(middle.log_h, 3)))
    return tuple(found)


def as_of(request: Request, now_s: float) -> Request:
    """Return the request as it would have been asked at an earlier time."""
    wrapped = request.wrapped_s is not None and request.wrapped_s <= now_s
    if request.wrapped_s is None or wrapped:
        return replace(request, now_s=now_s, full=True, previous=None)
    return replace(
        request, now_s=now_s, wrap=None, wrapped_s=None, wrap_plan=request.wrap,
        wrap_at_s=request.wrapped_s, full=True, previous=None,
    )  # fmt: skip


def running_coverage(
    local: Sequence[LocalScore], held: Library | None = None
) -> tuple[float, int] | None:
    """Return the share of own moments inside the interval the others gave, and their number.

    Each cook is judged by the interval that all other cooks make, without widening.
    """
    if not local:
        return None
    usual = (held or library()).scores.mean(axis=0, keepdims=True)
    inside = 0
    for score in local:
        others = [other for other in local if other.cook != score.cook]
        known = pooled(others, score.family, usual, score.log_h)
        low, _, high = calibrated(usual[0], known, 1.0, LEVELS)
        inside += low <= score.z <= high
    return inside / len(local), len(local)
