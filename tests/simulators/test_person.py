"""People look at alerts in their own time, sleep, and do one thing after the other."""

from __future__ import annotations

import random
from datetime import datetime
from types import SimpleNamespace
from typing import Any, cast

from pitlogger.model.journal import AlertActed
from pitlogger_simulators.people.hand import Hand
from pitlogger_simulators.people.kitchen import Kitchen
from pitlogger_simulators.people.person import Crew, Script, SeenAlert, SimulatedPerson
from pitlogger_simulators.people.steps import parse_step

START = datetime.fromisoformat("2026-09-19T02:00:00-05:00")
START_MS = round(START.timestamp() * 1000)
WRAP = SeenAlert("wrap-due/a", "wrap-due", wakes=True)
STALL = SeenAlert("stall-began/a", "stall-began", wakes=False)


def person(*lines: str, by: str = "AB", name: str = "", core_c: float = 20.0) -> SimulatedPerson:
    kitchen = cast(Kitchen, SimpleNamespace(core_c=lambda piece: core_c))
    hand = Hand(kitchen, by, random.Random(by), lambda channel: None)
    steps = tuple(parse_step(line, START) for line in lines)
    return SimulatedPerson(hand, [Script(name, "a", steps)] if steps else [])


def live(crew: Crew, minutes: float, *shown: SeenAlert) -> list[tuple[int, str]]:
    """Let minutes pass in steps of 5 s; return what was done, with its minute."""
    done: list[tuple[int, str]] = []
    for second in range(0, round(minutes * 60) + 1, 5):
        crew.tick(START_MS + second * 1000, shown)
        for who in crew.people:
            done += [(told.t_ms, told.text) for told in who.hand.done]
            who.hand.done.clear()
    return [((t_ms - START_MS) // 60_000, text) for t_ms, text in done]


def acknowledged(who: SimulatedPerson) -> list[Any]:
    return [saying.body for saying in who.hand.outbox if isinstance(saying.body, AlertActed)]


def test_an_alert_is_looked_at_after_a_while() -> None:
    who = person()
    assert live(Crew([who]), 0.5, WRAP) == []
    assert [text for _, text in live(Crew([who]), 3, WRAP)] == ["sees wrap-due/a"]
    assert len(acknowledged(who)) == 1


def test_of_two_people_one_acknowledges_and_both_know() -> None:
    first = person("when wrap-due: note wrapped", by="AB")
    second = person("when wrap-due: note saw it too", by="CD")
    done = [text for _, text in live(Crew([first, second]), 5, WRAP)]
    assert len(acknowledged(first)) + len(acknowledged(second)) == 1
    assert {"notes: wrapped", "notes: saw it too"} <= set(done)


def test_a_light_sleep_ends_with_an_alert_that_wakes() -> None:
    done = live(Crew([person("sleep 1 h")]), 10, WRAP)
    assert [text for _, text in done] == ["goes to sleep", "sees wrap-due/a", "is woken"]


def test_an_alert_that_does_not_wake_waits_for_the_morning() -> None:
    done = live(Crew([person("sleep 20 min")]), 30, STALL)
    assert [text for _, text in done] == ["goes to sleep", "wakes up", "sees stall-began/a"]


def test_a_deep_sleeper_hears_nothing() -> None:
    done = live(Crew([person("sleep 20 min deeply")]), 19, WRAP)
    assert [text for _, text in done] == ["goes to sleep"]


def test_a_delay_counts_from_the_reason() -> None:
    done = live(Crew([person("at +10 min, +15 min: note late")]), 40)
    assert done == [(25, "notes: late")]


def test_the_core_is_a_reason_without_any_alert() -> None:
    hot, cold = person("core 165F: note hot", core_c=75.0), person("core 165F: note hot")
    assert live(Crew([hot]), 1) == [(0, "notes: hot")]
    assert live(Crew([cold]), 1) == []


def test_a_script_waits_for_another_one() -> None:
    first = person("wait 10 min", name="prep", by="AB")
    second = person("when prep done: note go", by="CD")
    assert live(Crew([first, second]), 15) == [(10, "notes: go")]


def test_one_person_does_one_thing_at_a_time() -> None:
    who = person("wait 10 min")
    who.scripts.append(Script("other", "a", (parse_step("at +1 min: note other", START),)))
    assert live(Crew([who]), 15) == [(10, "notes: other")]


def test_wind_and_rain_look_at_nothing() -> None:
    nature = person()
    nature.heeds = False
    assert live(Crew([nature]), 5, WRAP) == []
    assert acknowledged(nature) == []
