"""Every delivered reading comes back with its own time, wherever it lies."""

from __future__ import annotations

import random
from collections.abc import Callable

import pytest

from pitlogger.model.readings import Quality, Tagged
from pitlogger.store import ClockRow, LostRow, Reader, Store, StoredReading
from tests.store.conftest import START_MS, WAIT_S, entry, reading, run_row


def kept(readings: list[Tagged], run: str = "run-1") -> list[StoredReading]:
    """Return readings as they should come back: by time, equal times by channel as first met."""
    order = list(dict.fromkeys(row.channel for row in readings))
    rows = sorted(readings, key=lambda row: (row.t_ms, order.index(row.channel)))
    return [StoredReading(run, r.channel, r.t_ms, r.raw, r.value, r.quality) for r in rows]


def everything(reader: Reader, run: str | None = None) -> list[StoredReading]:
    return list(reader.readings(None, START_MS - 10**9, START_MS + 10**9, run))


def night(hours: float, seed: int = 3) -> list[Tagged]:
    """Return readings of three channels, some of them doubtful or without a value."""
    dice = random.Random(seed)
    rows = []
    for second in range(int(hours * 3600)):
        for channel in ("core", "pit", "bench-scale"):
            at = reading(second + dice.random() / 100, 100 * dice.randrange(500, 900), channel)
            if dice.random() < 0.01:
                at = at._replace(value=None, raw=None, quality=Quality.OPEN)
            elif dice.random() < 0.01:
                at = at._replace(raw=at.t_ms % 7, quality=Quality.TOO_FAST)
            rows.append(at)
    return sorted(rows, key=lambda row: row.t_ms)


def test_fresh_readings_come_back_in_order_of_time(store: Store, reader: Reader) -> None:
    rows = [reading(3), reading(1, channel="pit"), reading(2, 61_000)]
    store.add_readings(rows[:2])
    store.flush().result(WAIT_S)
    store.append([entry(1)], rows[2:]).result(WAIT_S)
    assert everything(reader) == kept(rows)


def test_readings_come_back_the_same_from_tail_and_packed_rows(
    store: Store, reader: Reader
) -> None:
    rows = night(0.6)
    for start in range(0, len(rows), 500):
        store.add_readings(rows[start : start + 500])
        store.flush().result(WAIT_S)
    assert everything(reader) == kept(rows)
    assert everything(reader, "run-1") == kept(rows)
    count = reader._connection.execute("SELECT count(*), max(block_ms) FROM packed").fetchone()
    assert count == (9, START_MS + 1_200_000)
    part = list(reader.readings(["pit"], START_MS + 500_000, START_MS + 700_000))
    wanted = [row for row in rows if row.channel == "pit"]
    assert part == kept([r for r in wanted if 500_000 <= r.t_ms - START_MS < 700_000])


def test_a_long_span_at_once_is_packed_at_once(store: Store, reader: Reader) -> None:
    rows = night(0.6)
    store.add_readings(rows)
    store.flush().result(WAIT_S)
    assert everything(reader) == kept(rows)
    fresh = reader._connection.execute("SELECT sum(readings) FROM tail").fetchone()[0]
    assert fresh == sum(row.t_ms >= START_MS + 1_800_000 for row in rows)


def test_a_late_reading_joins_the_row_of_its_block(store: Store, reader: Reader) -> None:
    rows = [reading(10, 50_000), reading(610, 52_000)]
    store.append(readings=rows).result(WAIT_S)
    late = reading(5, 40_000)
    store.append(readings=[late]).result(WAIT_S)
    store.append(readings=[reading(1210, 53_000)]).result(WAIT_S)
    assert everything(reader) == kept([late, *rows, reading(1210, 53_000)])
    minute = reader._connection.execute("SELECT n, min, max, mean FROM reading_60s").fetchone()
    assert minute == (2, 40_000, 50_000, 45_000)


def test_closing_packs_what_is_left(opened: Callable[..., Store]) -> None:
    rows = [reading(second) for second in range(30)]
    with opened("run-1") as first:
        first.add_readings(rows)
    with opened("run-2").reader() as reader:
        assert reader._connection.execute("SELECT count(*) FROM tail").fetchone() == (0,)
        assert everything(reader) == kept(rows)


def test_a_run_that_ended_without_closing_keeps_its_readings(
    opened: Callable[..., Store],
) -> None:
    rows = [reading(second) for second in range(30)]
    first = opened("run-1")
    first.append([entry(1)], rows).result(WAIT_S)
    second = opened("run-2", row=run_row("run-2", START_MS + 60_000))
    second.flush().result(WAIT_S)
    with second.reader() as reader:
        assert everything(reader, "run-1") == kept(rows)
        assert [row.end_ms for row in reader.runs()] == [START_MS + 29_000, None]
    first._writer._sink.waiting.clear()  # type: ignore[union-attr]


def test_the_views_give_ten_seconds_and_minutes_in_utc(store: Store, reader: Reader) -> None:
    store.describe("core", "temperature")
    store.set_clock(ClockRow("run-1", START_MS, 5))
    rows = [reading(second, 60_000 + second * 100) for second in range(0, 125, 5)]
    store.append(readings=[*rows, reading(700)]).result(WAIT_S)
    query = "SELECT node, channel, quantity, t_ms, utc_ms, n, min, max, mean FROM "
    minute = reader._connection.execute(query + "reading_60s ORDER BY t_ms").fetchall()
    assert minute[1] == (
        "node-1", "core", "temperature", START_MS + 60_000, START_MS + 60_005, 12, 66_000, 71_500,
        68_750,
    )  # fmt: skip
    ten = reader._connection.execute(query + "reading_10s ORDER BY t_ms").fetchall()
    assert ten[1][3:] == (START_MS + 10_000, START_MS + 10_005, 2, 61_000, 61_500, 61_250)
    assert len(ten) == 13


@pytest.mark.parametrize("width_s", [2, 15, 60, 90])
def test_a_chart_says_what_the_readings_say(store: Store, reader: Reader, width_s: int) -> None:
    rows = night(0.5)
    for start in range(0, len(rows), 700):
        store.append(readings=rows[start : start + 700]).result(WAIT_S)
    buckets = 1800 // width_s
    line = reader.chart(["pit"], START_MS, START_MS + 1_800_000, buckets)[0]
    good = [r for r in rows if r.channel == "pit" and r.quality is Quality.GOOD]
    assert sum(line.readings) == len(good)
    assert len(line.at_ms) == buckets
    assert min(line.low) == min(r.value or 0 for r in good)
    assert max(line.high) == max(r.value or 0 for r in good)
    if 60 % width_s == 0 and width_s != 15:  # buckets that no minute or ten seconds straddle
        third = [
            r.value or 0 for r in good if 2 * width_s <= (r.t_ms - START_MS) / 1000 < 3 * width_s
        ]
        assert (line.low[2], line.high[2], line.readings[2]) == (min(third), max(third), len(third))
        assert abs(line.mean[2] - sum(third) / len(third)) <= 1


def test_a_chart_of_nothing_is_empty_lines(reader: Reader) -> None:
    assert reader.chart(["pit"], 0, 1000, 10)[0].at_ms == []
    assert reader.chart(["pit"], 1000, 1000, 10)[0].at_ms == []


def test_times_asked_in_utc_follow_the_clock_of_each_run(opened: Callable[..., Store]) -> None:
    """A run that began with the clock a year off is found where it really was."""
    year_ms = 365 * 86_400_000
    store = opened("run-1")
    store.append(readings=[reading(1), reading(2)]).result(WAIT_S)
    store.set_clock(ClockRow("run-1", START_MS, year_ms)).result(WAIT_S)
    with store.reader() as reader:
        assert list(reader.readings(None, START_MS, START_MS + 10_000)) == []
        then = START_MS + year_ms
        assert len(list(reader.readings(None, then, then + 10_000))) == 2
        assert len(list(reader.readings(None, START_MS, START_MS + 10_000, "run-1"))) == 2
        assert reader.chart(["core"], then, then + 10_000, 5)[0].at_ms == [then, then + 2000]


def test_a_clock_stepped_in_mid_run_moves_no_reading_out_of_sight(store: Store) -> None:
    """Back by an hour after ten seconds: the hour comes twice in UTC, each reading once."""
    hour_ms = 3_600_000
    rows = [reading(second) for second in range(20)]
    store.append(readings=rows).result(WAIT_S)
    store.set_clock(ClockRow("run-1", START_MS + 10_000, -hour_ms)).result(WAIT_S)
    with store.reader() as reader:
        late = list(reader.readings(None, START_MS, START_MS + 20_000))
        early = list(reader.readings(None, START_MS - hour_ms, START_MS - hour_ms + 20_000))
    assert late == kept(rows[:10])
    assert early == kept(rows[10:])


def test_of_many_runs_only_those_in_the_span_are_read(opened: Callable[..., Store]) -> None:
    for number in range(3):
        row = run_row(f"run-{number}", START_MS + number * 86_400_000)
        with opened(row=row) as store:
            at = reading(1)._replace(t_ms=row.start_ms + 1000, value=number, raw=number)
            store.add_readings([at])
    with opened("last", row=run_row("last", START_MS + 10**9)).reader() as reader:
        second = START_MS + 86_400_000
        found = list(reader.readings(None, second, second + 60_000))
        assert [(row.run, row.value) for row in found] == [("run-1", 1)]


def test_what_is_no_reading_is_put_on_record_and_the_rest_kept(
    store: Store, reader: Reader
) -> None:
    broken = reading(2, 61.5)  # type: ignore[arg-type]
    store.append(readings=[reading(1), broken, reading(3)]).result(WAIT_S)
    assert everything(reader) == kept([reading(1), reading(3)])
    lost = reader.lost()
    assert [(row.readings, row.run) for row in lost] == [(1, "run-1")]
    assert isinstance(lost[0], LostRow)


def test_an_imported_run_is_kept_whole_and_once(store: Store, reader: Reader) -> None:
    old = run_row("paper-1", START_MS - 10**8, end_ms=START_MS - 10**8 + 3000)
    rows = [reading(1)._replace(t_ms=START_MS - 10**8 + 1000)]
    note = entry(1, run="paper-1")
    for _ in range(2):
        store.add_run(old, [note], rows).result(WAIT_S)
    assert list(reader.readings(None, 0, START_MS)) == kept(rows, "paper-1")
    assert reader.entries(run="paper-1") == [note.entry]
