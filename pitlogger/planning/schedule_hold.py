"""Does what is done early stay hot until it is carved? The hold against the safety clocks.

The core falls from its pull temperature, off the pit on, by the hold model of ``forecast``;
how long it stays over the policy's hot-holding limit is held against the longest wait, to the
last service. Where it falls under it, time alone may be the control from there on, if the
policy allows it.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from pitlogger.forecast.request import Series
from pitlogger.model.cooks import Piece
from pitlogger.model.quantities import show_duration, show_temperature
from pitlogger.rules.policies import shipped_cuts
from pitlogger.safety.policy import Policy
from pitlogger.yields.timing.schedule import HOUR_MS, PieceTimes

if TYPE_CHECKING:
    from pitlogger.forecast.hold import Crossing

_PULL_MC = 93_000  # a cut whose policy names none: common practice, no source


@dataclass(frozen=True, slots=True)
class Hold:
    """A piece in the hold.

    Attributes:
        piece: Its id.
        wait_h: Longest wait, off the pit to the last carving, hours.
        over: How long its core stays over the limit.
        met: Whether it stays over it even where it falls fast (one in ten); ``None`` where a
            hold with heat of its own keeps it, if that works.
    """

    piece: str
    wait_h: float
    over: Crossing
    met: bool | None

    @property
    def kept_h(self) -> float | None:
        """Hours over the limit that nine in ten reach."""
        return None if self.over.p10_s is None else self.over.p10_s / 3600


def holds(
    times: Sequence[tuple[Piece, PieceTimes]],
    last_ms: Mapping[str, int],
    heated: bool,
    policy: Policy,
) -> list[Hold]:
    """Return how each piece fares in the hold.

    Args:
        times: Pieces and their times.
        last_ms: When the last service that eats of a piece is left for, by piece.
        heated: Whether the hold has heat of its own.
        policy: Whose hot-holding limit counts.
    """
    from pitlogger.forecast.hold import Holding, hold_left  # NumPy: not before somebody asks

    found = []
    for piece, t in times:
        rest_h = (t.rested_ms - t.off_ms) / HOUR_MS
        wait_h = rest_h + t.longest_hold_h + (last_ms[piece.id] - t.leave_by_ms) / HOUR_MS
        core = Series((0.0,), (_pull_mc(piece) / 1000,))
        place = Holding("cabinet" if heated else "box", 0.0, 0.0, core)
        over = hold_left(place, policy.hot_hold.mc / 1000)
        met = None if over.p10_s is None else over.p10_s >= wait_h * 3600
        found.append(Hold(piece.id, wait_h, over, met))
    return found


def _pull_mc(piece: Piece) -> int:
    if piece.pull_at_mc is not None:
        return piece.pull_at_mc
    return shipped_cuts()[piece.cut].pull_at_mc or _PULL_MC


@dataclass(frozen=True, slots=True)
class HoldShown:
    """The verdict on a hold; ``met`` is ``None`` where it depends on the hold's own heat."""

    wait_s: int
    over_limit_s: float | None
    over_limit_p10_s: float | None
    limit_c: float
    met: bool | None
    policy: str
    source: str


def hold_shown(hold: Hold, policy: Policy) -> HoldShown:
    """Return the verdict on a hold as it is shown."""
    return HoldShown(
        round(hold.wait_h * 3600),
        hold.over.p50_s,
        hold.over.p10_s,
        round(policy.hot_hold.mc / 1000, 2),
        hold.met,
        policy.name,
        policy.hot_hold.source,
    )


def hold_notes(found: Sequence[Hold], policy: Policy) -> Iterator[str]:
    """Say which pieces would not stay over the limit, and what can be done."""
    limit = show_temperature(policy.hot_hold.mc)
    alike: dict[tuple[str, str], list[Hold]] = {}
    for hold in found:
        if hold.over.p50_s == 0:
            yield (
                f"{hold.piece}: comes off the pit no hotter than {limit}, so it cannot be held hot "
                f"({policy.hot_hold.source}): carve and serve it at once."
            )
        elif hold.met is False and hold.kept_h is not None:
            alike.setdefault((_hours(hold.wait_h), _hours(hold.kept_h)), []).append(hold)
    for (wait, kept), pieces in alike.items():
        names = ", ".join(hold.piece for hold in pieces)
        yield (
            f"{names}: limit not met if done early: up to {wait} off the pit until the last "
            f"carving, while a box without heat keeps the core over {limit} for {kept} (nine in "
            f"ten; {policy.hot_hold.source}). {_time_control(pieces[0], policy)}"
        )
    if any(hold.met is None for hold in found):
        yield (
            f"The hold has to keep every core over {limit} by its own heat "
            f"({policy.hot_hold.source}): put a probe in the coldest piece and log it."
        )


def _time_control(hold: Hold, policy: Policy) -> str:
    """Say whether time alone could be the control for the rest, and what else helps."""
    assert hold.kept_h is not None, "asked only where the hold gives out"
    other = "Use a heated hold, load later, or cool it in time and reheat."
    left_h = hold.wait_h - hold.kept_h
    allowed_h = policy.time_control_4h.ms / HOUR_MS
    if left_h <= allowed_h:
        return (
            f"{other} Time as the control for the last {_hours(left_h)} needs a written procedure "
            f"and marked food, at most {_hours(allowed_h)} ({policy.time_control_4h.source}); what "
            "is left then is thrown away."
        )
    return f"{other} Time as the control does not reach that far."


def _hours(hours: float) -> str:
    return show_duration(round(hours * HOUR_MS))


def held_at_once(times: Sequence[tuple[Piece, PieceTimes]]) -> int:
    """Return how many pieces usually wait in the hold at the same time."""
    counts = [
        sum(
            piece.count
            for piece, t in times
            if min(t.rested_ms, t.leave_by_ms) <= moment.rested_ms < t.leave_by_ms
        )
        for _, moment in times
    ]
    return max(counts, default=0)
