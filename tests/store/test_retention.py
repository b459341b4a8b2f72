"""Old cooks are thinned; what yields, reports and the food log say of them stays the same."""

from __future__ import annotations

import math
import random
from collections.abc import Callable
from datetime import UTC
from itertools import pairwise
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pitlogger.formats.cook_file import parse_cook
from pitlogger.model.cooks import Stage
from pitlogger.model.journal import Body, CookFinished, CookStarted, StageSet, Weighed
from pitlogger.model.readings import Quality, Site, Tagged
from pitlogger.reports.cook_record import load_record
from pitlogger.reports.cook_report import cook_report
from pitlogger.reports.food_log import food_log
from pitlogger.reports.html import html
from pitlogger.rules.messages import Units
from pitlogger.safety.policy import shipped_policy
from pitlogger.safety.sheets import sheets
from pitlogger.store import Reader, Store
from pitlogger.store.packing import Columns
from pitlogger.store.retention import thinned
from pitlogger.yields.document import piece_document
from tests.store.conftest import START_MS, WAIT_S, entry, run_row

FOR_EVER_MS = 1 << 60
HOUR_MS = 3_600_000
POLICY = shipped_policy("retail-food-code")
COOK = """
[cook]
name = "night"
[[piece]]
id = "brisket-1"
cut = "brisket-flat"
[[channel]]
id = "brisket-1/core"
site = "core"
piece = "brisket-1"
[[channel]]
id = "pit"
site = "pit"
"""


def core_c(hour: float, held_c: float, cools_per_h: float) -> float:
    """Return a core that is cooked, held for two hours, then cooled; our own invention."""
    if hour < 8:
        return 5 + 90 * (1 - math.exp(-hour / 2.5))
    if hour < 10:
        return held_c + (90 - held_c) * math.exp(-(hour - 8) / 0.2)
    return 3 + (held_c - 3) * math.exp(-(hour - 10) * cools_per_h)


def night(held_c: float, cools_per_h: float) -> list[Tagged]:
    """Return sixteen hours at a reading in two seconds, with a probe that fails for a while."""
    noise = random.Random(3)
    made = []
    for second in range(60, 16 * 3600, 2):
        hour, t_ms = second / 3600, START_MS + second * 1000
        value = round((core_c(hour, held_c, cools_per_h) + noise.gauss(0, 0.1)) * 10) * 100
        quality = Quality.OPEN if 5 < hour < 5.1 else Quality.GOOD
        kept = None if quality is Quality.OPEN else value
        made.append(Tagged("brisket-1/core", t_ms, kept, kept, quality, Site.CORE, "brisket-1"))
        pit = round((110 + noise.gauss(0, 2)) * 10) * 100
        made.append(Tagged("pit", t_ms + 300, pit, pit, Quality.GOOD, Site.PIT, None))
    return made


def decided() -> list[tuple[float, Body]]:
    def weighed(hour: float, checkpoint: str, kg: float) -> tuple[float, Body]:
        at_ms = START_MS + round(hour * HOUR_MS)
        return hour, Weighed("brisket-1", checkpoint, round(kg * 1e6), 0, at_ms, interval_mg=5000)

    def stage(hour: float, name: Stage) -> tuple[float, Body]:
        return hour, StageSet("brisket-1", name, START_MS + round(hour * HOUR_MS))

    return [
        (0.0, CookStarted(parse_cook(COOK))),
        weighed(0.01, "purchased", 3.0),
        stage(0.02, Stage.SMOKING),
        stage(8.0, Stage.HOLDING),
        weighed(8.1, "carved", 1.8),
        stage(10.0, Stage.COOLING),
        stage(15.9, Stage.CHILLED),
        (16.0, CookFinished("night")),
    ]


def told(reader: Reader) -> dict[str, Any]:
    record = load_record(reader, None, POLICY, Units("C", "kg"), UTC)
    rows = sheets(record.entries, record.book, record.verdicts, POLICY, record.end_ms)
    return {
        "yields": [piece_document(one) for one in record.accounts],
        "log": [(row.sheet, row.what, row.met, row.id, row.by) for row in rows],
        "gaps": [(channel, round(a / 10_000), round(b / 10_000)) for channel, a, b in record.gaps],
        "report": html(cook_report(record)).count("limit "),
        "sheet": html(food_log(record)).count("limit "),
        "entries": record.entries,
    }


@pytest.mark.parametrize(
    ("held_c", "cools_per_h"),
    [(62.0, 0.9), (62.0, 0.3), (56.0, 0.9), (57.4, 0.55), (80.0, 1.3)],
    ids=["kept-and-cooled", "cooled-late", "held-too-cold", "near-the-limits", "well-within"],
)
def test_what_is_told_of_an_old_cook_stays_the_same(
    opened: Callable[..., Store], held_c: float, cools_per_h: float
) -> None:
    rows = [
        entry(seq, body, cook="may")._replace() for seq, (_, body) in enumerate(decided(), start=1)
    ]
    readings = night(held_c, cools_per_h)
    with opened("run-1") as store:
        store.append(rows, readings).result(WAIT_S)
    store = opened("run-2", row=run_row("run-2", start_ms=START_MS + 20 * HOUR_MS))
    with store.reader() as reader:
        before = told(reader)
        chart = reader.chart(["pit"], START_MS, START_MS + 15 * HOUR_MS, 100)
    dropped = store.thin_before(FOR_EVER_MS).result(WAIT_S)
    assert dropped > len(readings) / 2
    with store.reader() as reader:
        assert told(reader) == before
        assert reader.chart(["pit"], START_MS, START_MS + 15 * HOUR_MS, 100) == chart
        assert [cook.readings_kept for cook in reader.cooks()] == [False]
        left = {row.t_ms: row for row in reader.readings(None, 0, FOR_EVER_MS, run="run-1")}
    delivered = {reading.t_ms: reading for reading in readings}
    assert all(delivered[t_ms].value == row.value for t_ms, row in left.items())


def test_thinning_again_drops_nothing(opened: Callable[..., Store]) -> None:
    with opened("run-1") as store:
        store.append([entry(1)], night(62.0, 0.9)).result(WAIT_S)
    store = opened("run-2", row=run_row("run-2", start_ms=START_MS + 20 * HOUR_MS))
    assert store.thin_before(FOR_EVER_MS).result(WAIT_S) > 0
    assert store.thin_before(FOR_EVER_MS).result(WAIT_S) == 0


@pytest.mark.parametrize("ended", [False, True])
def test_a_cook_that_goes_on_keeps_all(opened: Callable[..., Store], ended: bool) -> None:
    rows = [entry(1, CookStarted(parse_cook(COOK)), cook="may")]
    if ended:
        rows.append(entry(2, CookFinished("night"), cook="may"))
    with opened("run-1") as store:
        store.append(rows, night(62.0, 0.9)).result(WAIT_S)
    store = opened("run-2", row=run_row("run-2", start_ms=START_MS + 20 * HOUR_MS))
    assert (store.thin_before(FOR_EVER_MS).result(WAIT_S) > 0) is ended
    assert store.thin_before(START_MS).result(WAIT_S) == 0


READING = st.tuples(st.integers(0, 60_000), st.integers(-9, 9), st.sampled_from([0, 0, 0x20, 1]))


@given(st.lists(READING, min_size=1, max_size=80).map(sorted))
def test_of_each_ten_seconds_the_ends_of_its_range_and_every_change_stay(
    rows: list[tuple[int, int, int]],
) -> None:
    t_ms, value, state = zip(*rows, strict=True)
    columns = Columns(list(t_ms), list(value), [0] * len(rows), bytes(state))
    left = thinned(columns)
    kept = list(zip(left.t_ms, left.value, left.state, strict=True))
    assert set(kept) <= set(rows)
    assert kept == sorted(kept)

    def ranges(given: list[tuple[int, int, int]]) -> dict[int, tuple[int, int]]:
        parts: dict[int, list[int]] = {}
        for at_ms, held, mark in given:
            if not mark & 0xCF:
                parts.setdefault(at_ms // 10_000, []).append(held)
        return {part: (min(found), max(found)) for part, found in parts.items()}

    def changes(given: list[tuple[int, int, int]]) -> list[tuple[int, int]]:
        marks = [(mark & 0xCF, at_ms) for at_ms, _, mark in given]
        begun = [one for at, one in enumerate(marks) if at == 0 or one[0] != marks[at - 1][0]]
        ended = [one for one, after in pairwise(marks) if one[0] != after[0]]
        return begun + ended

    assert ranges(kept) == ranges(rows)
    assert changes(kept) == changes(rows)
    assert thinned(left) == left
