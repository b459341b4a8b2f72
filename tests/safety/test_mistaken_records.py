"""Records as mistakes and ill will make them: no limit is met that the readings do not show.

Each case is a journal and its readings, and what the published limit allows to be said of it
(FDA Food Code 3-401.11, 3-403.11, 3-501.14, 3-501.16, 3-501.19).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import pytest

from pitlogger.model.cooks import Channel, Cook, Piece, Stage
from pitlogger.model.folding import fold
from pitlogger.model.journal import (
    Body,
    ChannelAssigned,
    CheckMade,
    CookStarted,
    Corrected,
    Entry,
    HeldByTime,
    PieceSplit,
    SpotRead,
    StageSet,
    Undone,
)
from pitlogger.model.quantities import milli_c_from_fahrenheit
from pitlogger.model.readings import Reading, Site
from pitlogger.safety.judge import judge
from pitlogger.safety.recorded import histories
from tests.safety.building import MIN, RETAIL, Readings, line, without
from tests.safety.independent.kitchen import scene

T0 = 1_790_000_000_000
Said = tuple[float, Body | Callable[[list[Entry]], Body], str]
COOKED = ((0.0, 40.0), (600.0, 203.0))
LONG = 9e9


def at(minute: float) -> int:
    return T0 + round(minute * MIN)


def mark(minute: float, stage: str, piece: str = "b", said_of: float | None = None) -> Said:
    moment = at(minute if said_of is None else said_of)
    return minute, StageSet(piece, Stage(stage), moment), "AB"


def hand(minute: float, f: float, probe: str | None = None, said_of: float | None = None) -> Said:
    moment = at(minute if said_of is None else said_of)
    return minute, SpotRead(milli_c_from_fahrenheit(f), moment, "b", probe=probe), "AB"


def by_time(minute: float, hours: int = 4, said_of: float | None = None) -> Said:
    moment = at(minute if said_of is None else said_of)
    return minute, HeldByTime("b", moment, 6 if hours == 6 else 4), "AB"


def taken_out(minute: float, channel: str = "c0") -> Said:
    return minute, ChannelAssigned(Channel(channel)), "AB"


def undo(minute: float, kind: type, by: str = "AB") -> Said:
    def body(entries: list[Entry]) -> Body:
        last = next(one for one in reversed(entries) if isinstance(one.body, kind))
        return Undone(last.run, last.seq)

    return minute, body, by


def correct(minute: float, kind: type, by: str = "AB", **changed: Any) -> Said:
    def body(entries: list[Entry]) -> Body:
        last = next(one for one in reversed(entries) if isinstance(one.body, kind))
        now: Any = last.body
        return Corrected(last.run, last.seq, replace(now, **changed))

    return minute, body, by


def night(*points: tuple[float, float]) -> Readings:
    return line(*COOKED, *points)


def told(
    said: list[Said], cores: tuple[Readings, ...], cut: str = "brisket-packer", piece: str = "b"
) -> dict[str, bool | str | None]:
    """Return what is said of each limit: met, not met, not shown, or that it does not apply."""
    channels = tuple(Channel(f"c{n}", Site.CORE, "b") for n in range(len(cores)))
    cook = Cook("x", (Piece("b", cut), Piece("z", cut)), channels)
    entries = [Entry("r", 1, T0, CookStarted(cook))]
    for minute, body, by in sorted(said, key=lambda one: one[0]):
        entered = body(entries) if callable(body) else body
        entries.append(Entry("r", len(entries) + 1, at(minute), entered, by))
    readings = sorted(
        (Reading(f"c{n}", T0 + t_ms, mc) for n, core in enumerate(cores) for t_ms, mc in core),
        key=lambda reading: reading.t_ms,
    )
    found = {one.piece: one for one in histories(fold(entries), readings)}
    made = judge(found[piece], RETAIL)
    verdicts = {
        "lethality": made.lethality.verdict, "holding": made.holding, "reheating": made.reheating,
        "cooling": made.cooling.verdict, "time": made.time_control,
    }  # fmt: skip
    return {name: one.met if one.applies else "no matter" for name, one in verdicts.items()}


@dataclass(frozen=True)
class Case:
    """What was entered, what the cores read, and what may be said of which limit."""

    name: str
    said: list[Said]
    cores: tuple[Readings, ...]
    may: dict[str, set[bool | str | None]]
    cut: str = "brisket-packer"


NEVER: set[bool | str | None] = {False, None}
HELD = [mark(0, "smoking"), mark(600, "resting"), mark(660, "holding")]
COOLED = [mark(0, "smoking"), mark(600, "resting"), mark(615, "cooling")]
CHILLED = [mark(0, "smoking"), mark(600, "cooling"), mark(900, "chilled")]
SERVED = [mark(0, "smoking"), mark(600, "serving")]
WARM = night((660, 170), (900, 150))
FELL = night((660, 170), (800, 120), (900, 118))
QUICK = night((620, 134), (700, 69), (800, 40), (900, 39))
SLOW = night((620, 134), (760, 100), (900, 80))
WARMED = night((620, 134), (700, 69), (850, 40), (1000, 38), (1131, 165), (1140, 166), (1200, 160))
BUFFET = night((640, 150), (660, 130), (900, 80))
BIRD = "chicken-whole"
TO_164 = line((0, 40), (120, 164.5), every_s=10)
PEN: Said = (0, CheckMade("pen", "ice", 0, 1000, True), "AB")


def near_165(*points: tuple[float, float]) -> Readings:
    return (*TO_164, *((round(t * MIN), milli_c_from_fahrenheit(f)) for t, f in points))


CASES = [
    # a mark entered or corrected after the crossing undoes nothing
    Case("served before it, said late", [*SERVED, mark(960, "served", said_of=620)],
         (FELL,), {"holding": {False}}),
    Case("discarded before it, said late", [*SERVED, mark(960, "discarded", said_of=620)],
         (FELL,), {"holding": {False}}),
    Case("resting corrected to discarded",
         [*HELD[:2], correct(900, StageSet, stage=Stage.DISCARDED, at_ms=at(650))],
         (FELL,), {"holding": {False}}),
    Case("resting corrected to on the pit",
         [*HELD[:2], correct(900, StageSet, stage=Stage.SMOKING)], (FELL,), {"holding": {False}}),
    Case("resting taken back", [*HELD[:2], undo(900, StageSet)], (FELL,), {"holding": {False}}),
    Case("slow cooling corrected to discarded",
         [*COOLED, correct(900, StageSet, stage=Stage.DISCARDED, at_ms=at(700))],
         (SLOW,), {"holding": {False}}),
    Case("cooling said after the fall", [*HELD[:2], mark(1100, "cooling", said_of=650)],
         (night((660, 140), (1000, 75), (1200, 41)),), {"holding": {False}, "cooling": {False}}),
    # and a correction that changes nothing of it makes no breach
    Case("time of cooling corrected by a minute", [*COOLED, correct(900, StageSet, at_ms=at(614))],
         (QUICK,), {"holding": {True}, "cooling": {True}}),
    Case("and that correction taken back",
         [*COOLED, correct(900, StageSet, at_ms=at(614)), undo(901, Corrected)],
         (QUICK,), {"holding": {True}, "cooling": {True}}),
    # hand readings struck and corrected
    Case("corrected at once by the same", [*HELD, hand(700, 120),
         correct(700.9, SpotRead, value_mc=65_000)], (WARM,), {"holding": {True}}),
    Case("corrected a minute later", [*HELD, hand(700, 120),
         correct(701.1, SpotRead, value_mc=65_000)], (WARM,), {"holding": {None}}),
    Case("corrected by another", [*HELD, hand(700, 120),
         correct(700.9, SpotRead, "CD", value_mc=65_000)], (WARM,), {"holding": {None}}),
    Case("corrected late, then at once again",
         [*HELD, hand(700, 120), correct(720, SpotRead, value_mc=49_000),
          correct(720.5, SpotRead, value_mc=65_000)], (WARM,), {"holding": {None}}),
    Case("correction taken back", [*HELD, hand(700, 120),
         correct(700.9, SpotRead, value_mc=65_000), undo(705, Corrected)],
         (WARM,), {"holding": {False}}),
    Case("given to another piece and back", [*HELD, hand(700, 120),
         correct(730, SpotRead, piece="z"), correct(731, SpotRead, piece="b")],
         (WARM,), {"holding": {False}}),
    Case("a fresh one said to be of then", [*HELD, hand(700, 120), undo(760, SpotRead),
         hand(762, 151, said_of=705)], (WARM,), {"holding": {None}}),
    # probes that die, are taken out, cover for each other
    Case("taken out at carving, one reading hours later",
         [*HELD[:2], mark(720, "carved"), taken_out(720), hand(900, 140)],
         (without(night((720, 160)), 720, LONG),), {"holding": {None}}),
    Case("two that cover each other's silence", HELD,
         (without(WARM, 700, 760), without(WARM, 760, 820)), {"holding": {None}}),
    Case("the warmest lost in cooling", COOLED,
         (without(night((620, 134), (700, 96), (780, 68), (1000, 40)), 700, LONG), QUICK),
         {"cooling": {None}}),
    Case("a quiet one that stands while the other falls", HELD,
         (night((660, 175), (960, 140)), night((660, 170), (960, 170))), {"holding": {None}}),
    Case("alone and still, as food in a box is", HELD,
         (night((660, 150), (960, 150)),), {"holding": {True}}),
    # 165 F for an instant
    Case("14 s of it", [mark(0, "smoking")],
         (near_165((120.2, 165.1), (120.43, 165.1), (120.7, 164.0), (125, 160)),),
         {"lethality": NEVER}, BIRD),
    Case("a dip between", [mark(0, "smoking")],
         (near_165((120.2, 165.1), (120.4, 164.8), (120.6, 165.1), (120.8, 164.0)),),
         {"lethality": NEVER}, BIRD),
    Case("two probes, never together", [mark(0, "smoking")],
         (line((0, 40), (120, 166), (121, 164), (140, 163), every_s=15),
          line((0, 40), (122, 163), (125, 166), (140, 166), every_s=15)),
         {"lethality": NEVER}, BIRD),
    Case("by a pen nobody checked", [mark(0, "smoking"), hand(125, 170, "pen")], (),
         {"lethality": NEVER}, BIRD),
    Case("by a pen that failed later",
         [PEN, mark(0, "smoking"), hand(125, 170, "pen"),
          (300, CheckMade("pen", "ice", 4000, 1000, False), "AB")], (), {"lethality": NEVER}, BIRD),
    Case("corrected up to it half an hour later",
         [PEN, mark(0, "smoking"), hand(125, 150, "pen"), mark(130, "served"),
          correct(160, SpotRead, value_mc=76_000)], (), {"lethality": NEVER}, BIRD),
    # cooling, carving, reheating
    Case("carved while it cools", [*COOLED, mark(700, "carved"), mark(760, "cooling")],
         (night((620, 140), (640, 130), (700, 110), (850, 68), (1000, 40)),), {"cooling": {False}}),
    Case("reheated to begin anew",
         [*COOLED, mark(860, "reheating"), mark(920, "holding"), mark(930, "cooling")],
         (night((620, 140), (640, 130), (860, 90), (919, 170), (930, 160), (960, 120), (1000, 60),
                (1060, 40)),), {"cooling": {False}}),
    Case("leftovers served and cooled later",
         [*SERVED, mark(640, "served"), mark(900, "cooling")],
         (night((640, 140), (900, 75), (930, 69), (960, 40)),), {"cooling": {False}}),
    Case("reheating marked when it was nearly done",
         [*CHILLED, mark(1111, "reheating"), mark(1140, "holding")], (WARMED,),
         {"reheating": {False}}),
    Case("reheating taken back and marked anew",
         [*CHILLED, mark(1000, "reheating"), undo(1110, StageSet), mark(1111, "reheating"),
          mark(1140, "holding")], (WARMED,), {"reheating": {False}}),
    Case("reheated in time from a cold store that stood open",
         [*CHILLED, mark(1000, "reheating"), mark(1100, "holding")],
         (night((620, 134), (700, 69), (850, 40), (900, 43), (1000, 43), (1090, 166), (1120, 166)),
          ), {"reheating": {True}}),
    # time as the control
    Case("begun cold at its coldest", [*SERVED, hand(655, 140), by_time(656), mark(700, "served")],
         (night((650, 134), (660, 130), (900, 80)),), {"time": NEVER, "holding": {False}}),
    Case("said after the fall", [*SERVED, by_time(700, said_of=640), mark(760, "served")],
         (BUFFET,), {"holding": {False}}),
    Case("discarded a minute late", [*SERVED, by_time(640), mark(881, "discarded")], (BUFFET,),
         {"time": {False}}),
    Case("begun anew after taking it back, by a reading no probe agrees with",
         [*SERVED, by_time(640), undo(860, HeldByTime), hand(861, 150), by_time(862),
          mark(890, "served")], (BUFFET,), {"time": NEVER, "holding": NEVER}),
    Case("its time corrected to an earlier one", [*SERVED, by_time(650),
         correct(700, HeldByTime, at_ms=at(640)), mark(870, "served")],
         (night((640, 150), (655, 136), (900, 80)),), {"time": {True}, "holding": {True}}),
    Case("its time corrected to a later one, once it was over", [*SERVED, by_time(640),
         correct(890, HeldByTime, at_ms=at(652)), mark(891, "served")],
         (night((640, 150), (655, 136), (900, 80)),), {"holding": {False}}),
    Case("six hours from hot", [*SERVED, by_time(640, 6), mark(700, "served")], (BUFFET,),
         {"time": NEVER}),
]  # fmt: skip


@pytest.mark.parametrize("case", CASES, ids=[case.name for case in CASES])
def test_a_mistaken_record_shows_no_more_than_was_read(case: Case) -> None:
    found = told(case.said, case.cores, case.cut)
    assert {name: found[name] for name in case.may} == {
        name: found[name] if found[name] in may else may for name, may in case.may.items()
    }


def test_a_child_does_not_begin_its_cooling_anew() -> None:
    said: list[Said] = [
        *COOLED,
        (700, PieceSplit("b", (Piece("p", "brisket-point"), Piece("f", "brisket-flat"))), "AB"),
        (701, ChannelAssigned(Channel("c0", Site.CORE, "p")), "AB"),
        mark(702, "cooling", "p"),
    ]
    cores = (night((620, 140), (640, 130), (700, 110), (880, 68), (1000, 40)),)
    assert told(said, cores, piece="p")["cooling"] is not True


def test_a_mark_entered_long_after_the_last_reading_shows_the_silence_before_it() -> None:
    """Random record 110126: the probe died in the box, and two hours later a mark was entered."""
    made = scene(110126)
    (history,) = histories(fold(made.entries), made.readings)
    holding = judge(history, RETAIL).holding
    assert holding.met is None
    assert "no reading for" in holding.reason
