"""Probes that took each other's place: what shows it, and from when to when it lasted.

Two plugs exchanged step at one moment, each to the level of the other. Where one of the two was
silent then, the step of the other shows it, and that the silent one comes back at a level which
its own piece cannot have reached meanwhile.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Sequence

from pitlogger.pipeline.neighbours import LEAST_AFTER, SWAPPED_SHARE, have_swapped, step_at
from pitlogger.safety.instruments.belief import (
    END_MS,
    MINUTE_MS,
    NEAR_MS,
    Doubt,
    DoubtReason,
    Points,
)

SILENT_MS = 5 * MINUTE_MS
APART_MC = 4_000  # nearer to each other nobody can tell from a step and a return
REACH_SHARE, REACH_MC = 1.3, 3_000  # beyond what its own rates make likely; ours


def swaps(
    series: Sequence[Points],
    placed_ms: Sequence[Sequence[int]],
    pieces: Sequence[str | None],
) -> list[list[Doubt]]:
    """Return for each core probe of a kitchen when it read what another should have read.

    Two probes of one piece that changed places read the same meat as before, but for the
    moment of it.

    Args:
        series: Readings of each probe, (t_ms, milli-degC).
        placed_ms: When somebody put each of them somewhere: from then on it is believed.
        pieces: The piece that each sits in.
    """
    found: list[list[Doubt]] = [[] for _ in series]
    moments: list[list[Doubt]] = [[] for _ in series]
    minutes = [_minutes(points) for points in series]
    steps = [_steps(times, levels) for times, levels in minutes]
    for one in range(len(series)):
        for other in range(one + 1, len(series)):
            hidden = [*_hidden(steps[one], *minutes[other]), *_hidden(steps[other], *minutes[one])]
            if pieces[one] == pieces[other]:
                hidden = []  # the same meat as before
            for at_ms in sorted({*_exchanges(steps[one], steps[other]), *hidden}):
                for mine in (one, other):
                    if pieces[one] == pieces[other]:
                        until_ms = at_ms + 2 * MINUTE_MS
                        moments[mine].append(
                            Doubt(at_ms - MINUTE_MS, until_ms, DoubtReason.SWAPPED)
                        )
                        continue
                    ends = [t_ms for t_ms in placed_ms[mine] if t_ms > at_ms - NEAR_MS]
                    found[mine].append(
                        Doubt(at_ms - MINUTE_MS, min(ends, default=END_MS), DoubtReason.SWAPPED)
                    )
    return [sorted(_until_back(held) + own) for held, own in zip(found, moments, strict=True)]


def _minutes(points: Points) -> tuple[list[int], list[int]]:
    times: list[int] = []
    levels: list[int] = []
    for t_ms, value_mc in points:
        if not times or t_ms - times[-1] >= MINUTE_MS:
            times.append(t_ms)
            levels.append(value_mc)
    return times, levels


Step = tuple[int, float, float]


def _steps(times: list[int], levels: list[int]) -> list[Step]:
    """Return (t_ms, level before, level after) wherever a level stepped by a kelvin or more."""
    found = []
    for index, at_ms in enumerate(times):
        near = levels[max(0, index - 2) : index + 3]
        if max(near) - min(near) < 1_500:
            continue
        first, end = max(0, index - 12), bisect_left(times, at_ms + 5 * MINUTE_MS)
        if end - index <= LEAST_AFTER:  # it reads every few minutes
            end = min(index + 1 + LEAST_AFTER, bisect_left(times, at_ms + 2 * NEAR_MS))
        step = step_at(times[first:end], levels[first:end], at_ms)
        if step is not None and abs(step[1] - step[0]) >= 1_000:
            found.append((at_ms, *step))
    return found


def _exchanges(mine: Sequence[Step], others: Sequence[Step]) -> list[int]:
    """Return when two probes took each other's level, once for each time they did."""
    found: list[int] = []
    for at_ms, a_from, a_to in mine:
        if found and at_ms - found[-1] < NEAR_MS:
            continue
        for other_ms, b_from, b_to in others:
            if abs(other_ms - at_ms) <= 2 * MINUTE_MS and have_swapped(a_from, a_to, b_from, b_to):
                found.append(at_ms)
                break
    return found


def _hidden(steps: Sequence[Step], times: Sequence[int], levels: Sequence[int]) -> list[int]:
    """Return when a probe took the level of another that was silent then and came back elsewhere.

    Args:
        steps: Of the one probe.
        times, levels: Readings of the other, one a minute.
    """
    found: list[int] = []
    for at_ms, a_from, a_to in steps:
        after = bisect_left(times, at_ms)
        if not 0 < after < len(times) or (found and at_ms - found[-1] < NEAR_MS):
            continue
        gap_ms = times[after] - times[after - 1]
        b_from, b_to = levels[after - 1], levels[after]
        between = abs(a_to - a_from)
        if gap_ms < SILENT_MS or between < APART_MC or abs(a_to - b_from) > SWAPPED_SHARE * between:
            continue
        moved = b_to - b_from
        own = max(_rate(times, levels, 0, after), _rate(times, levels, after, len(times))) * gap_ms
        if moved * (a_from - b_from) > 0 and abs(moved) > REACH_SHARE * own + REACH_MC:
            found.append(at_ms)
    return found


def _rate(times: Sequence[int], levels: Sequence[int], first: int, end: int) -> float:
    """Return how fast a probe changed beside its silence, milli-kelvin per ms, 0 where unknown."""
    near = range(max(first, end - 10), end) if first == 0 else range(first, min(end, first + 10))
    if len(near) < 5:
        return 0.0
    a, b = near[0], near[-1]
    return abs(levels[b] - levels[a]) / (times[b] - times[a])


def _until_back(held: list[Doubt]) -> list[Doubt]:
    """Return swaps in pairs: the second exchange puts the plugs back."""
    ordered = sorted(held)
    found = []
    while ordered:
        begun = ordered.pop(0)
        if ordered and ordered[0].from_ms < begun.to_ms:
            begun = Doubt(begun.from_ms, ordered.pop(0).from_ms + 2 * MINUTE_MS, begun.why)
        found.append(begun)
    return found
