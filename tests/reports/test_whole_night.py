"""A long cook of many probes: what a report holds of it at once stays small."""

from __future__ import annotations

import tracemalloc
from collections.abc import Iterator, Sequence

import pytest

from pitlogger.formats.cook_file import parse_cook
from pitlogger.model.cooks import Stage
from pitlogger.model.journal import Body, CookFinished, CookStarted, Entry, StageSet
from pitlogger.model.readings import Quality, Site, Tagged
from pitlogger.reports.cook_record import Wall, build_record
from pitlogger.reports.cook_report import cook_report
from pitlogger.reports.food_log import food_log
from pitlogger.reports.gathering import GAP_MS, Gathering
from pitlogger.reports.html import html
from pitlogger.rules.messages import Units
from pitlogger.safety.policy import shipped_policy

START_MS = 1_790_000_400_000
HOURS, CORES = 14, 14
SECONDS = HOURS * 3600
EVERY_S = 10  # of a reading; the bound is that of a reading a second, scaled
READINGS, WHOLE = SECONDS // EVERY_S * (CORES + 2), SECONDS * (CORES + 2)
LARGEST_MB = 50
PIECES = "".join(
    f'[[piece]]\nid = "b{n}"\ncut = "brisket-packer"\n[[channel]]\nid = "b{n}/core"\n'
    f'site = "core"\npiece = "b{n}"\n'
    for n in range(CORES)
)
COOK = f'[cook]\nname = "night"\n{PIECES}[[channel]]\nid = "pit"\nsite = "pit"\n'


def night(channels: Sequence[str] | None) -> Iterator[Tagged]:
    """Yield 16 channels that waver: no reading is that of the second before."""
    names = [*(f"b{n}/core" for n in range(CORES)), "pit", "bench"]
    wanted = [name for name in names if channels is None or name in channels]
    for second in range(0, SECONDS, EVERY_S):
        t_ms = START_MS + second * 1000
        value = 5_000 + round(90_000 * second / SECONDS) + 37 * (second // EVERY_S % 2)
        for name in wanted:
            yield Tagged(name, t_ms, value, value, Quality.GOOD, Site.NONE, None)


def entries() -> list[Entry]:
    bodies: list[tuple[int, Body]] = [
        (0, CookStarted(parse_cook(COOK))),
        *((60, StageSet(f"b{n}", Stage.SMOKING, START_MS + 60_000)) for n in range(CORES)),
        (SECONDS, CookFinished("night")),
    ]
    return [
        Entry("run-1", seq, START_MS + second * 1000, body, "MK")
        for seq, (second, body) in enumerate(bodies, start=1)
    ]


@pytest.mark.slow
def test_a_night_of_sixteen_channels_is_never_held_whole() -> None:
    listed, policy = entries(), shipped_policy("retail-food-code")
    tracemalloc.start()
    try:
        record = build_record("night", "pit", listed, night, 0, policy, Units("F", "lb-oz"), Wall())
        made = [html(cook_report(record)), html(food_log(record))]
        _, peak = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    print(f"peak {peak / 1e6:.1f} MB, documents {[len(text) // 1000 for text in made]} kB")
    assert sum(sum(line.readings) for line in record.lines) == READINGS
    assert peak / READINGS < LARGEST_MB * 1e6 / WHOLE


def test_a_gap_is_found_as_the_readings_go_by() -> None:
    gathering = Gathering(0, 4 * GAP_MS, buckets=4)
    times = [0, GAP_MS, 2 * GAP_MS + 1, 3 * GAP_MS]
    given = [Tagged("pit", t_ms, 1, t_ms, Quality.GOOD, Site.PIT, None) for t_ms in times]
    for reading in given:
        gathering.take(reading)
    assert gathering.gaps == [("pit", GAP_MS, 2 * GAP_MS + 1)]
    (line,) = gathering.lines()
    assert (line.readings, line.high) == ([2, 1, 1], times[1:])


def test_what_is_not_good_ends_up_in_no_bucket() -> None:
    gathering = Gathering(0, 1000)
    gathering.take(Tagged("pit", 500, 1, 1, Quality.STUCK, Site.PIT, None))
    assert (gathering.lines(), gathering.last_ms) == ((), 500)
