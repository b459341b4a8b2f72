"""When something was done to a piece, told of several moments: cores, lids, pits made by hand."""

from __future__ import annotations

from collections.abc import Callable
from copy import deepcopy

import pytest

from pitlogger.inference.changes import Aims
from pitlogger.inference.recogniser import Sight, StageProposal
from pitlogger.inference.semi_markov import Branch
from pitlogger.inference.warming import Warming
from pitlogger.model.cooks import Stage

MINUTE_MS = 60_000
PIT_C = 120.0
AIMS = Aims(wrap_at_c=74.0, pull_at_c=94.0)
Lid = tuple[float, float]  # minute, seconds open
Temperature = Callable[[float], float]


def on_the_pit(minute: float, wrapped_min: float = 420.0) -> float:
    """Return a core that is put on at 40, stalls from 66 C and warms at 9 C/h once wrapped."""
    if minute < 50:
        return 5.0
    if minute < 233:
        return 5.0 + (minute - 50) / 3.0
    bare = 66.0 + (min(minute, wrapped_min) - 233) * 2.4 / 60
    return min(97.0, bare + max(0.0, minute - wrapped_min - 10) * 9.0 / 60)


def followed(
    lids: list[Lid], until_min: int, core: Temperature = on_the_pit,
    pit: Temperature = lambda _: PIT_C, probe_min: float | None = None, aims: Aims = AIMS,
) -> dict[str, StageProposal]:  # fmt: skip
    """Return what is told first of each stage; what is sure of its time is taken as known."""
    told: dict[str, StageProposal] = {}
    sight, left = Sight(), sorted(lids)
    for minute in range(until_min):
        t_ms = minute * MINUTE_MS
        while left and left[0][0] + 3 <= minute:
            at_min, open_s = left.pop(0)
            sight.sign("lid", round(at_min * MINUTE_MS), open_s)
        core_c = 22.0 if probe_min is not None and minute < probe_min else core(minute)
        sight.minute(t_ms, core_c, pit(minute), aims)
        if sight.looked_ms == t_ms:
            for one in sight.proposals(t_ms, 0.9):
                told.setdefault(one.stage.value, one)
                if one.between_ms is None:
                    sight.settle(one.stage, one.at_ms)
    return told


def minute_of(one: StageProposal) -> float:
    return one.at_ms / MINUTE_MS


def test_a_probe_put_in_on_the_table_is_not_the_pit() -> None:
    told = followed([(40, 90)], 150, probe_min=25)
    assert minute_of(told["smoking"]) == pytest.approx(40, abs=2)


def test_a_wrap_on_the_table_has_two_short_lids_and_began_at_the_first() -> None:
    looks = [(at, 30.0) for at in (120.0, 200.0, 280.0, 355.0)]
    told = followed([(40, 90), *looks, (420, 25), (424, 25)], 560)
    assert minute_of(told["wrapped"]) == pytest.approx(420, abs=2)


def test_the_only_lid_about_then_was_the_wrap_though_it_was_as_short_as_a_look() -> None:
    told = followed([(40, 90), (150, 30), (420, 30)], 640)
    assert minute_of(told["wrapped"]) == pytest.approx(420, abs=2)


@pytest.mark.parametrize("out_min", [300.0, 520.0])
def test_a_fire_that_goes_out_takes_nothing_off_the_pit(out_min: float) -> None:
    """The core turns and falls as it does on the table, and warms again only by and by."""
    back_min = out_min + 100

    def pit(minute: float) -> float:
        return 55.0 if out_min <= minute < back_min else PIT_C

    def core(minute: float) -> float:
        cold = max(0.0, minute - out_min - 20)
        fallen = min(cold, 140.0) * 5.0 / 60 - max(0.0, cold - 140.0) * 6.0 / 60
        return on_the_pit(min(minute, out_min)) - fallen

    told = followed([(40, 90), (420, 100)], 700, core, pit)
    assert Stage.RESTING not in told
    assert Stage.HOLDING not in told


def test_a_core_warms_faster_as_long_after_a_wrap_as_heat_took_at_first() -> None:
    warming, felt = Warming(), dict.fromkeys((360, 420, 500), 0.0)
    for minute in range(40, 600, 2):
        slope = (on_the_pit(minute) - on_the_pit(minute - 13)) / 13 * 60
        warming.take(minute * MINUTE_MS, on_the_pit(minute), slope, PIT_C)
        lag_min = warming.lag_min(40 * MINUTE_MS)
        for at_min in felt:
            felt[at_min] += warming.log_let_go(at_min * MINUTE_MS, minute * MINUTE_MS, lag_min)
    assert 8 <= lag_min <= 25
    assert felt[420] > 0.8
    assert felt[420] > max(felt[360], felt[500]) + 0.5


def test_what_began_nobody_knows_when_is_still_asked_about_once_it_is_off_the_pit() -> None:
    """Two lids alike when it was due: which of them was the wrap stays open, and is said."""
    path = [(Stage.RAW, 0), (Stage.SMOKING, 40 * MINUTE_MS)]
    off_ms, now_ms = 600 * MINUTE_MS, 640 * MINUTE_MS
    sight = Sight(branches=[
        Branch(Stage.RESTING, off_ms, share, [*path, (Stage.WRAPPED, at_min * MINUTE_MS)])
        for at_min, share in ((400, 0.5), (430, 0.46), (432, 0.04))
    ])  # fmt: skip
    sight.settle(Stage.SMOKING, 40 * MINUTE_MS)
    sight.settle(Stage.RESTING, off_ms)
    wrapped = StageProposal(
        Stage.WRAPPED, 400 * MINUTE_MS, 0.999, (400 * MINUTE_MS, 430 * MINUTE_MS)
    )
    assert sight.proposals(now_ms, 0.9) == [wrapped]
    denied = deepcopy(sight)
    denied.deny(Stage.WRAPPED, wrapped.at_ms)
    assert denied.proposals(now_ms, 0.9) == []
    sight.settle(Stage.WRAPPED, 430 * MINUTE_MS)
    assert sight.proposals(now_ms, 0.9) == []
