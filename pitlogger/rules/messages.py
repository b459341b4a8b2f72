"""What an alert says: what, how much, what to do, in the person's units."""

from __future__ import annotations

from dataclasses import dataclass

from pitlogger.model.quantities import show_duration, show_temperature
from pitlogger.rules.conditions import Limit


@dataclass(frozen=True, slots=True)
class Units:
    """The units a person reads: ``F`` or ``C``, and ``lb-oz``, ``lb``, ``kg`` or ``g``."""

    temperature: str = "F"
    mass: str = "lb-oz"


def limit_message(limit: Limit, value: int | None, units: Units, *, foreseen: bool = False) -> str:
    """Return what a limit alert says at the value that raised it.

    Args:
        foreseen: It was raised by what lies ahead, not by the value.
    """
    subject = limit.piece or limit.channel or "node"
    at = "" if value is None else f" at {show_temperature(value, units.temperature)}"
    mark = show_temperature(limit.limit, units.temperature)
    match limit.rule.kind:
        case "wrap-due":
            return f"{subject}: lead core{at}, wrap target {mark}"
        case "pull-due":
            return f"{subject}: lead core{at}, pull target {mark}"
        case "hot-hold-near" if foreseen:
            return f"{subject}: coldest core{at}, likely under the hot-hold limit within 45 min"
        case "hot-hold-near":
            return f"{subject}: coldest core{at}, hot-hold warning below {mark}"
        case "hot-hold-low":
            return (
                f"{subject}: coldest core{at}, below the hot-hold limit {mark} "
                f"for {show_duration(limit.rule.on_delay_ms)}"
            )
        case "battery-low":
            return f"{subject}: battery at {(value or 0) / 1000:.0f} %"
        case "flare-up":
            return f"{subject}{at}: very hot or rising very fast"
        case "tender-check-due":
            return f"{subject}: lead core{at}, tender check from {mark}"
        case _:
            word = "over" if limit.side > 0 else "under"
            return f"{subject}{at}, {word} {mark}"
