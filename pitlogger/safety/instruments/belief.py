"""What a core probe reads that is not the meat: in air, put in later, swapped, stuck.

Meat changes slowly. A change that is faster than its core can make cuts a probe's readings
into stretches, and each stretch is believed only where it can be the same meat as before: it
begins raw and is heated, it comes back to about where the last believed one ended, a hand
reading agrees with it, or somebody said that the probe was put there.

Rate: the centre of a slab whose surface is taken to a new temperature at once changes at most
by 1.85 a/l2 of the step (the series solution in Carslaw and Jaeger, Conduction of Heat in
Solids, section 3.3, computed; l is half the thickness), with a = 1.3e-7 m2/s for meat and a
step of 95 K, from cold meat to boiling water. Other limits are ours.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import NamedTuple

from pitlogger.model.cooks import ON_PIT, Stage
from pitlogger.pipeline.neighbours import AIR_MC
from pitlogger.safety.instruments.stillness import still_spans

MINUTE_MS = 60_000
SLAB_PEAK = 1.85
DIFFUSIVITY_M2_S = 1.3e-7
STEP_K = 95.0
OFF_PIT_MC_PER_MIN = 2_000.0  # sliced, in shallow pans, on ice
REHEATED_MC_PER_MIN = 5_000.0
STEP_MC = 5_000
STEP_WITHIN_MS, STEP_AFTER_MS = 130_000, 4 * MINUTE_MS
BESIDE_MC = 4_000  # noise, a spritz, a plug pushed home
RETURNS_SHARE = 0.4  # of that rate: how far meat has gone on while its probe was elsewhere
RAW_MC = 40_000  # meat put on the fire is not warmer
HOT_START_MC = 75_000  # and is not this hot when it is put on
LIKE_PIT_MC = 4_000
WARMER_MC = 8_000
AGREES_MC = 3_000
# Two spots of one piece lie 19 F apart at most (common practice, no source); further is no spot
# of the same meat.
CONTRADICTS_MC = 15_000
CONTRADICTS_MS = 5 * MINUTE_MS
WINDOW_MS = 10 * MINUTE_MS
WINDOW_STEP_MS = 30_000
GRID_MS = 10_000
NEAR_MS = 10 * MINUTE_MS  # of a move or assignment: hands were on the probe
LATEST_RETURN_MS = 30 * MINUTE_MS
# Common thickness by family, thinner rather than thicker (common practice, no source).
_THICKNESS_MM = {
    "brisket": 60.0, "pork-shoulder": 90.0, "pork-belly": 40.0, "pork-ribs": 30.0,
    "beef-ribs": 50.0, "beef-roast": 70.0, "chicken": 40.0, "turkey": 70.0, "lamb": 80.0,
    "sausage": 28.0,
}  # fmt: skip
_OTHER_MM = 40.0


class DoubtReason(StrEnum):
    """Why a stretch of a probe's readings is not believed."""

    BEFORE = "not in the meat yet"
    AIR = "out of the meat"
    FAST = "changed faster than meat can"
    SWAPPED = "swapped with another probe"
    STUCK = "stuck"
    DRIFTING = "drifting"
    CHECK = "failed its check"
    HAND = "contradicted by a hand reading"
    RETOLD = "where it sat was said afterwards"


class Doubt(NamedTuple):
    """From when to when a probe's readings are not believed, both included."""

    from_ms: int
    to_ms: int
    why: DoubtReason


Points = Sequence[tuple[int, int]]
END_MS = 1 << 62


@dataclass(frozen=True, slots=True)
class Setting:
    """What is known about the piece a probe sits in.

    Attributes:
        stage_at: Its stage at a time, ``None`` where no stage was set yet.
        rate_mc_per_min: The fastest its core can change on the pit.
        pit: What its pit read, (t_ms, milli-degC).
        placed_ms: When somebody said that the probe was put or moved there.
        hand: Hand readings of the piece, (t_ms, milli-degC).
    """

    stage_at: Callable[[int], Stage | None]
    rate_mc_per_min: float
    pit: Sequence[tuple[int, int]] = ()
    placed_ms: tuple[int, ...] = ()
    hand: tuple[tuple[int, int], ...] = ()

    def rate_at(self, t_ms: int) -> float:
        """Return the fastest change of a core at a time, milli-kelvin per minute."""
        return rate_in(self.stage_at(t_ms), self.rate_mc_per_min)

    def is_heating(self, t_ms: int) -> bool:
        """Return whether a piece at this time is, or may be, heated from raw or cold."""
        stage = self.stage_at(t_ms)
        return stage is None or stage in ON_PIT or stage is Stage.REHEATING


def rate_in(stage: Stage | None, on_pit: float) -> float:
    """Return the fastest change of a core in a stage; ``on_pit`` is that on the pit."""
    if stage is None or stage in ON_PIT:
        return on_pit
    return max(on_pit, REHEATED_MC_PER_MIN if stage is Stage.REHEATING else OFF_PIT_MC_PER_MIN)


def rate_mc_per_min(family: str, thickness_mm: float | None) -> float:
    """Return the fastest change of a core on the pit, milli-kelvin per minute."""
    half_m = (thickness_mm or _THICKNESS_MM.get(family, _OTHER_MM)) / 2000
    return SLAB_PEAK * DIFFUSIVITY_M2_S / half_m**2 * STEP_K * 1000 * 60


def doubts(points: Points, setting: Setting) -> list[Doubt]:
    """Return the stretches of one probe's readings that are not believed, in order of time.

    Args:
        points: (t_ms, milli-degC), vetted, in order of time.
    """
    parts = _parts(_thinned(points), setting)
    if not parts:
        return []
    believed = _believed(parts, setting)
    found: list[Doubt] = []
    for number, (part, (since_ms, why)) in enumerate(zip(parts, believed, strict=True)):
        if since_ms is None or since_ms > part[0][0]:
            before = parts[number - 1][-1][0] + 1 if number else points[0][0]
            after = parts[number + 1][0][0] - 1 if number + 1 < len(parts) else points[-1][0]
            found.append(Doubt(before, after if since_ms is None else since_ms - 1, why))
        elif number and parts[number - 1][-1][0] + 1 < part[0][0]:
            found.append(Doubt(parts[number - 1][-1][0] + 1, part[0][0] - 1, DoubtReason.FAST))
    for part, (since_ms, _) in zip(parts, believed, strict=True):
        if since_ms is not None:
            found += _contradicted(part, since_ms, setting)
    found += [Doubt(begun, end, DoubtReason.STUCK) for begun, end in still_spans(points)]
    return _joined(found)


def _contradicted(part: Points, since_ms: int, setting: Setting) -> list[Doubt]:
    """Return the readings that a hand reading in the same meat says are of something else.

    Two plugs may be exchanged where both pieces are equally warm, and nothing steps. Since when
    cannot be known: the last hand reading that agreed, else the whole stretch.
    """
    found: list[Doubt] = []
    from_ms = since_ms
    is_doubted = False
    for at_ms, hand_mc in sorted(setting.hand):
        near = min(part, key=lambda point: abs(point[0] - at_ms))
        if abs(near[0] - at_ms) > CONTRADICTS_MS or near[0] < since_ms:
            continue
        apart_mc = abs(near[1] - hand_mc)
        if apart_mc <= AGREES_MC:
            if is_doubted:
                found.append(Doubt(from_ms, near[0] - 1, DoubtReason.HAND))
            from_ms, is_doubted = near[0], False
        is_doubted = is_doubted or apart_mc > CONTRADICTS_MC
    if is_doubted:
        found.append(Doubt(from_ms, part[-1][0], DoubtReason.HAND))
    return found


def _thinned(points: Points) -> list[tuple[int, int]]:
    """Return a reading each ten seconds or so: the median of three neighbours."""
    kept: list[tuple[int, int]] = []
    last_ms = -GRID_MS
    for index, (t_ms, value_mc) in enumerate(points):
        if t_ms - last_ms < GRID_MS and index + 1 < len(points):
            continue
        near = [
            points[other][1]
            for other in (index - 1, index, index + 1)
            if 0 <= other < len(points) and abs(points[other][0] - t_ms) <= 2 * MINUTE_MS
        ]
        kept.append((t_ms, sorted(near)[1] if len(near) == 3 else value_mc))
        last_ms = t_ms
    return kept


def _parts(points: Points, setting: Setting) -> list[list[tuple[int, int]]]:
    """Return the readings parted wherever they changed faster than meat can."""
    parts: list[list[tuple[int, int]]] = []
    window: list[tuple[int, int]] = []
    for point in points:
        while window and point[0] - window[0][0] > WINDOW_MS and len(window) > 1:
            del window[0]
        cut_ms = jumped_from(point, window, setting.rate_at(point[0]))
        if cut_ms is None and _stepped(point, window, setting):
            cut_ms = window[-1][0]
        if cut_ms is not None:
            part = parts[-1]
            while len(part) > 1 and part[-1][0] > cut_ms:
                part.pop()
            window.clear()
        if not window:
            parts.append([])
        parts[-1].append(point)
        if len(window) > 1 and window[-1][0] - window[-2][0] < WINDOW_STEP_MS:
            window.pop()
        window.append(point)
    return parts


def _stepped(point: tuple[int, int], window: Points, setting: Setting) -> bool:
    """Return whether a reading left the line of those before it at once.

    The core's rate itself changes over l2/a only, a quarter of an hour for thin pieces.
    """
    if len(window) < 2 or setting.stage_at(point[0]) is Stage.REHEATING:
        return False
    (first_ms, first_mc), (last_ms, last_mc) = window[0], window[-1]
    away_ms, known_ms = point[0] - last_ms, last_ms - first_ms
    if away_ms > STEP_WITHIN_MS or known_ms < STEP_AFTER_MS:
        return False
    return abs(point[1] - last_mc - (last_mc - first_mc) / known_ms * away_ms) > STEP_MC


def jumped_from(
    point: tuple[int, int],
    window: Sequence[tuple[int, int]],
    rate: float,
    beside_mc: int = BESIDE_MC,
) -> int | None:
    """Return the last time from which meat cannot have come to a reading, if there is one.

    Args:
        point: The reading, (t_ms, milli-degC); ``window`` those of the minutes before it.
        rate: The fastest change, milli-kelvin per minute.
        beside_mc: What may lie beside it: noise, a spritz, a plug pushed home.
    """
    t_ms, value_mc = point
    values = [mc for _, mc in window]
    if not values or max(max(values) - value_mc, value_mc - min(values)) <= beside_mc:
        return None
    for at_ms, mc in reversed(window):
        if abs(value_mc - mc) > beside_mc + rate / MINUTE_MS * (t_ms - at_ms):
            return at_ms
    return None


def goes_on(start: tuple[int, int], last: tuple[int, int], rate: float) -> bool:
    """Return whether readings go on about where they ended before their probe was elsewhere."""
    away_ms = min(start[0] - last[0], LATEST_RETURN_MS)
    return abs(start[1] - last[1]) <= BESIDE_MC + RETURNS_SHARE * rate * away_ms / MINUTE_MS


Belief = tuple[int | None, DoubtReason]  # believed since, and why not until then


def _believed(parts: Sequence[Points], setting: Setting) -> list[Belief]:
    """Return from when on each part is believed, ``None`` for not at all."""
    held: list[Belief] = []
    last: tuple[int, int] | None = None
    elsewhere: tuple[int, tuple[int, int]] | None = None  # a part that fell, what was before it
    inserted = 0
    for number, part in enumerate(parts):
        before_ms = parts[number - 1][-1][0] if number else None
        rate = setting.rate_at(part[0][0])
        if elsewhere is not None and goes_on(part[0], elsewhere[1], rate):
            for out in range(elsewhere[0], number):
                held[out] = (None, DoubtReason.AIR)
            last, elsewhere = elsewhere[1], None
        since_ms, why = _since(part, before_ms, last, setting)
        held.append((since_ms, why))
        if since_ms is None:
            continue
        is_back = last is not None and elsewhere is None and goes_on(part[0], last, rate)
        if number and since_ms == part[0][0] and _is_raw(part, setting) and not is_back:
            began_hot = not _is_raw(parts[inserted], setting)
            was_meat = not began_hot and _gets_warmer(parts[inserted])
            if was_meat:  # it was heated as meat is: colder of a sudden, it is in another piece
                held[-1] = (_by_hand(part, setting), DoubtReason.SWAPPED)
                if held[-1][0] is None:
                    continue
            elif began_hot or _gets_warmer(part):
                inserted = number
            elif last is not None and elsewhere is None:
                elsewhere = (number, last)
        last = part[-1]
    return [
        (None, DoubtReason.BEFORE) if number < inserted else belief
        for number, belief in enumerate(held)
    ]


def _since(
    part: Points, before_ms: int | None, last: tuple[int, int] | None, setting: Setting
) -> Belief:
    start_ms = part[0][0]
    if setting.is_heating(start_ms) and max(value for _, value in part) >= AIR_MC:
        return None, DoubtReason.AIR
    first_ms = start_ms if before_ms is None else before_ms
    if any(first_ms < at_ms <= start_ms + NEAR_MS for at_ms in setting.placed_ms):
        return start_ms, DoubtReason.FAST
    if last is None and before_ms is None:
        if not _reads_like_the_pit(part, setting):
            return start_ms, DoubtReason.BEFORE
        return _by_hand(part, setting), DoubtReason.AIR
    if _is_raw(part, setting) or (
        last is not None and goes_on(part[0], last, setting.rate_at(part[0][0]))
    ):
        return start_ms, DoubtReason.BEFORE
    return _by_hand(part, setting), DoubtReason.FAST


def _is_raw(part: Points, setting: Setting) -> bool:
    """Return whether a part begins as meat does that is put on the fire."""
    return part[0][1] <= RAW_MC and setting.is_heating(part[0][0])


def _gets_warmer(part: Points) -> bool:
    """Return whether a part that began raw was heated, as no probe on a table is."""
    return max(value for _, value in part) >= part[0][1] + WARMER_MC


def _reads_like_the_pit(part: Points, setting: Setting) -> bool:
    """Return whether a probe that reads hot from the first goes along with its pit."""
    if part[0][1] <= HOT_START_MC:
        return False
    beside = []
    for t_ms, value_mc in part:
        at = bisect_left(setting.pit, (t_ms, -END_MS))
        near = setting.pit[max(0, at - 1) : at + 1]
        beside += [abs(value_mc - mc) for at_ms, mc in near if abs(at_ms - t_ms) <= NEAR_MS]
        if len(beside) >= 120:
            break
    return bool(beside) and sorted(beside)[len(beside) // 2] <= LIKE_PIT_MC


def _by_hand(part: Points, setting: Setting) -> int | None:
    """Return when a hand reading first agreed with a part."""
    return agreed_ms(part, setting.hand)


def agreed_ms(part: Points, hand: Sequence[tuple[int, int]]) -> int | None:
    """Return when a hand reading first agreed with some readings, ``None`` where none did."""
    if not part:
        return None
    for at_ms, hand_mc in hand:
        if not part[0][0] <= at_ms <= part[-1][0] + 2 * MINUTE_MS:
            continue
        near = min(part, key=lambda point: abs(point[0] - at_ms))
        if abs(near[1] - hand_mc) <= AGREES_MC:
            return near[0]
    return None


def _joined(found: list[Doubt]) -> list[Doubt]:
    """Return doubts in order, those for one reason that touch made one."""
    joined: list[Doubt] = []
    for doubt in sorted(found):
        if joined and joined[-1].why is doubt.why and doubt.from_ms <= joined[-1].to_ms + 1:
            joined[-1] = joined[-1]._replace(to_ms=max(joined[-1].to_ms, doubt.to_ms))
        else:
            joined.append(doubt)
    return joined


def believed(points: Points, held: Sequence[Doubt]) -> tuple[tuple[int, int], ...]:
    """Return the readings that lie in no doubt."""
    kept = list(points)
    for doubt in held:
        first = bisect_left(kept, (doubt.from_ms, -END_MS))
        last = bisect_left(kept, (doubt.to_ms, END_MS))
        del kept[first:last]
    return tuple(kept)
