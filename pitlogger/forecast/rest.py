"""When a rest is done: the core has fallen to where the piece can be carved."""

from __future__ import annotations

from dataclasses import replace

from pitlogger.forecast.hold import Holding, time_to
from pitlogger.forecast.request import Answer, Request


def rest_after(request: Request, answer: Answer) -> Answer:
    """Return when a piece off the pit has fallen to its target, on a counter unless boxed."""
    assert request.pulled_s is not None
    holding = Holding("counter", request.pulled_s, request.now_s, request.core)
    crossing = time_to(holding, request.target_c)
    return replace(
        answer,
        p10_s=crossing.p10_s,
        p50_s=crossing.p50_s,
        p90_s=crossing.p90_s,
        p_reach=crossing.p_reach,
        reason=crossing.reason,
    )
