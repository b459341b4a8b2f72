"""Backwards from the plate: when to carve, rest, wrap, load, light, trim and thaw.

The latest start is set so that the piece is rested in time with the chosen confidence; on
most days it is done earlier and waits in the hold. Whether it stays hot there is judged by the
caller, who knows the policy. Hours count from the start of the schedule's day zero: they are
added to times by the caller.
"""

from __future__ import annotations

from dataclasses import dataclass

from pitlogger.model.kitchen import KitchenTimes
from pitlogger.yields.learned.durations import CookTime, Observed, cook_time, in_sequence

HOUR_MS = 3_600_000
_UNSEEN: Observed = {}


@dataclass(frozen=True, slots=True)
class Sitting:
    """A service: when the food is eaten, and what lies between kitchen and table, minutes."""

    at_ms: int
    place: str = ""
    drive_min: float = 0.0
    setup_min: float = 0.0

    def arrive_by_ms(self, kitchen: KitchenTimes) -> int:
        """Return when to be there: then it is set up, carved and put out."""
        return self.at_ms - round(self.setup_min * 60_000) - kitchen.carve_ms

    def leave_by_ms(self, kitchen: KitchenTimes) -> int:
        """Return when to leave the kitchen."""
        return self.arrive_by_ms(kitchen) - round(self.drive_min * 60_000)


@dataclass(frozen=True, slots=True)
class PieceTimes:
    """The timeline of one piece, UTC milliseconds.

    ``wrap_ms``, ``off_ms`` and ``rested_ms`` are medians; ``off_by_ms`` is the latest that
    still leaves time to rest, kept with the chosen confidence. ``hold_h`` is the usual wait,
    ``longest_hold_h`` the one of a cook as fast as one in ten.
    """

    thaw_ms: int | None
    brine_ms: int | None
    trim_ms: int
    light_ms: int
    load_ms: int
    wrap_ms: int | None
    off_ms: int
    off_by_ms: int
    rested_ms: int
    leave_by_ms: int
    hold_h: float
    longest_hold_h: float


def backwards(
    sitting: Sitting,
    time: CookTime,
    confidence: float,
    kitchen: KitchenTimes,
    *,
    brine_h: float = 0.0,
    frozen_kg: float = 0.0,
) -> PieceTimes:
    """Return the times of a piece for a sitting.

    Args:
        sitting: Where and when it is eaten.
        time: How long the piece takes.
        confidence: Probability of being rested when it has to leave, between 0.5 and 1.
        kitchen: How long the work takes.
        brine_h: Hours in brine, 0 for none.
        frozen_kg: Mass that has to thaw, 0 if it is fresh.
    """
    leave = sitting.leave_by_ms(kitchen)
    on_pit = time.on_pit
    whole = in_sequence((time.before_wrap, time.after_wrap, time.rest))
    load = leave - _ms(whole.quantile(confidence))
    off, fast_off = load + _ms(on_pit.median), load + _ms(on_pit.quantile(0.1))
    rest = _ms(time.rest.median)
    light = load - kitchen.light_up_ms
    trim = light - kitchen.trim_ms
    brine = trim - _ms(brine_h) if brine_h else None
    before_thaw = trim if brine is None else brine
    return PieceTimes(
        before_thaw - round(kitchen.thaw_ms_per_kg * frozen_kg) if frozen_kg else None,
        brine,
        trim,
        light,
        load,
        load + _ms(time.before_wrap.median) if time.after_wrap.median else None,
        off,
        leave - rest,
        off + rest,
        leave,
        max(0.0, (leave - off - rest) / HOUR_MS),
        max(0.0, (leave - fast_off - rest) / HOUR_MS),
    )


def latest_load_ms(
    cut: str,
    sitting: Sitting,
    kitchen: KitchenTimes,
    observed_hours: Observed = _UNSEEN,
    confidence: float = 0.9,
) -> int:
    """Return when a piece of a cut has to be on the pit to be rested in time, UTC milliseconds."""
    return backwards(sitting, cook_time(cut, observed_hours), confidence, kitchen).load_ms


def latest_fire_ms(cut: str, serve_at_ms: int, kitchen: KitchenTimes) -> int:
    """Return when the fire for one more piece has to be lit, UTC milliseconds."""
    return latest_load_ms(cut, Sitting(serve_at_ms), kitchen) - kitchen.light_up_ms


def _ms(hours: float) -> int:
    return round(hours * HOUR_MS)
