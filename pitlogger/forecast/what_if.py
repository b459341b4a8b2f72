"""What if: wrap now, wrap later, pit up, pit down, asked of the same forecast."""

from __future__ import annotations

from dataclasses import dataclass, replace

from pitlogger.forecast.finish import forecast
from pitlogger.forecast.request import Answer, Request
from pitlogger.model.cooks import Wrap
from pitlogger.model.quantities import show_duration

PIT_STEP_C = 10.0
LATER_S = 3600.0


@dataclass(frozen=True, slots=True)
class Alternative:
    """One thing to do, the forecast if it is done, and what it changes.

    ``shift_s`` is the change of the median against doing nothing new, ``None`` where one
    of the two never gets there; ``text`` says it in one line.
    """

    action: str
    answer: Answer
    shift_s: int | None
    text: str


def what_if(request: Request, *, widen: bool = True) -> tuple[Answer, tuple[Alternative, ...]]:
    """Return the forecast as things are, and for each thing that could be done."""
    request = replace(request, full=True, others=(), previous=None)
    base = forecast(request, widen=widen)
    if base.reason.startswith("cannot"):
        return base, ()
    return base, tuple(
        _compare(action, base, forecast(asked, widen=widen)) for action, asked in _options(request)
    )


def _options(request: Request) -> list[tuple[str, Request]]:
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
    for step in (PIT_STEP_C, -PIT_STEP_C):
        word = "up" if step > 0 else "down"
        changed = replace(request, pit_change_c=request.pit_change_c + step)
        options.append((f"pit {word} {abs(step):.0f} C", changed))
    return options


def _compare(action: str, base: Answer, other: Answer) -> Alternative:
    if other.p50_s is None:
        return Alternative(action, other, None, f"{action}: may not get there at all")
    if base.p50_s is None:
        at = show_duration(other.p50_s * 1000)
        return Alternative(action, other, None, f"{action}: gets there in about {at}")
    shift = other.p50_s - base.p50_s
    if abs(shift) < 300:
        return Alternative(action, other, shift, f"{action}: makes no difference")
    word = "brings it forward" if shift < 0 else "puts it off"
    text = f"{action}: {word} by {show_duration(abs(shift) * 1000)}"
    return Alternative(action, other, shift, text)
