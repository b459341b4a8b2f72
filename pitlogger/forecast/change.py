"""Why an estimate moved: one line, when it moved by more than half an hour."""

from __future__ import annotations

from dataclasses import replace

from pitlogger.forecast.request import Answer, Request
from pitlogger.model.quantities import show_duration

MOVED = ("moved by ", "no finish in sight")  # how what ``explain`` says begins
WORTH_SAYING_S = 1800.0
KEPT_S = 3600.0  # so long an estimate is what the next ones are held against
PIT_C = 4.0
SLOPE_C_PER_H = 1.0


def settled(request: Request, answer: Answer) -> Answer:
    """Return the answer with its change; what did not move is held against the same one again.

    So three small moves within the hour are reported as their sum.
    """
    change, before, now = explain(request, answer), request.previous, answer.basis
    is_held = (
        not change and before is not None and before.done_s is not None
        and now is not None and now.done_s is not None
        and now.made_s - before.made_s < KEPT_S
    )  # fmt: skip
    return replace(answer, change=change, basis=before if is_held else now)


def explain(request: Request, answer: Answer) -> str:
    """Return by how much the finish moved against the answer before, and why; else empty."""
    before, now = request.previous, answer.basis
    if before is None or now is None or before.done_s is None:
        return ""
    if now.done_s is None:
        return f"{MOVED[1]} any more{_because(request, answer)}"
    moved = now.done_s - before.done_s
    if abs(moved) <= WORTH_SAYING_S:
        return ""
    sign = "+" if moved > 0 else "-"
    return f"{MOVED[0]}{sign}{show_duration(abs(moved) * 1000)}{_because(request, answer)}"


def _because(request: Request, answer: Answer) -> str:
    before, now = request.previous, answer.basis
    assert before is not None
    assert now is not None
    if abs(now.target_c - before.target_c) > 0.05:
        return f" because the target is now {now.target_c:.0f} C"
    if now.wrap != before.wrap:
        return f" because it is {'wrapped' if now.wrap not in (None, 'none') else 'unwrapped'} now"
    if now.pit_c is not None and before.pit_c is not None:
        pit = now.pit_c - before.pit_c
        if abs(pit) >= PIT_C:
            return f" because the pit {'rose' if pit > 0 else 'fell'} {abs(pit):.0f} C"
    slope = now.slope_c_per_h - before.slope_c_per_h
    rate = f"{now.slope_c_per_h:.1f} C an hour, {before.slope_c_per_h:.1f} C before"
    if slope <= -SLOPE_C_PER_H:
        return f" because the core rises more slowly ({rate})"
    if slope >= SLOPE_C_PER_H:
        return f" because the core rises faster ({rate})"
    later = now.done_s is None or before.done_s is None or now.done_s > before.done_s
    return f" because the core {'lags behind' if later else 'runs ahead of'} what was expected"
