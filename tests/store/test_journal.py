"""Journal, cooks, outbox, snapshots: told after the commit, kept once."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest

from pitlogger.errors import RefusedError, StoreError, UsageError
from pitlogger.model.journal import CookWithdrawn, Noted, Undone
from pitlogger.store import ClockRow, Notice, Reader, Snapshot, Store
from pitlogger.store.entry_copies import Copy
from pitlogger.store.outside import search
from tests.store.conftest import START_MS, WAIT_S, entry, finished, run_row, started


def test_an_entry_is_readable_once_its_future_is_resolved(store: Store) -> None:
    row = entry(1)
    store.append([row]).result(WAIT_S)
    with store.reader() as reader:
        assert reader.entries() == [row.entry]
        assert reader.entry("run-1", 1) == row.entry
        assert reader.last_seq("run-1") == 1


def test_an_entry_appended_twice_is_kept_once(store: Store, reader: Reader) -> None:
    store.append([entry(1)]).result(WAIT_S)
    store.append([entry(1)]).result(WAIT_S)
    assert len(reader.entries()) == 1


def test_another_entry_under_the_same_identity_is_refused(store: Store, reader: Reader) -> None:
    store.append([entry(1)]).result(WAIT_S)
    with pytest.raises(RefusedError, match="already on record"):
        store.append([entry(1, Noted("something else"))]).result(WAIT_S)
    assert reader.entries() == [entry(1).entry]


def test_a_request_carried_out_twice_is_refused_whole(store: Store, reader: Reader) -> None:
    store.append([entry(1, key="abc")]).result(WAIT_S)
    twice = store.append([entry(2), entry(3, key="abc")])
    after = store.append([entry(4)])
    with pytest.raises(RefusedError, match="already carried out as entry 1"):
        twice.result(WAIT_S)
    after.result(WAIT_S)
    assert [found.seq for found in reader.entries()] == [1, 4]
    found = reader.entry_by_key("abc")
    assert found is not None
    assert found.seq == 1


def test_an_entry_of_a_run_nobody_began_is_refused(store: Store) -> None:
    with pytest.raises(RefusedError, match="unknown run 'elsewhere'"):
        store.append([entry(1, run="elsewhere")]).result(WAIT_S)


def test_what_cannot_be_written_is_refused_and_writing_goes_on(store: Store) -> None:
    with pytest.raises(StoreError, match="refused"):
        store.append([entry(1, cook="\ud800")]).result(WAIT_S)
    store.append([entry(2)]).result(WAIT_S)


def test_entries_are_chosen_by_cook_run_kind_and_what_came_before(
    opened: Callable[..., Store],
) -> None:
    with opened("run-1") as first:
        first.append([started(1, "a"), entry(2, cook="a"), entry(3)]).result(WAIT_S)
    second = opened("run-2")
    second.append([entry(1, run="run-2", cook="a")]).result(WAIT_S)
    with second.reader() as reader:
        assert [(e.run, e.seq) for e in reader.entries(cook="a")] == [
            ("run-1", 1),
            ("run-1", 2),
            ("run-2", 1),
        ]
        assert [e.seq for e in reader.entries(run="run-1")] == [1, 2, 3]
        assert [e.seq for e in reader.entries(after=("run-1", 2))] == [3, 1]
        assert [e.seq for e in reader.entries(kinds=["cook-started"])] == [1]
        assert [e.seq for e in reader.entries(limit=2)] == [1, 2]


def test_a_run_id_names_one_process_life(opened: Callable[..., Store]) -> None:
    opened("run-1").close()
    with pytest.raises(StoreError, match="already on record"):
        opened("run-1")


def test_cooks_are_listed_newest_first_with_what_is_open(store: Store, reader: Reader) -> None:
    store.append([started(1, "may"), finished(5, "may"), started(6, "june")]).result(WAIT_S)
    june, may = reader.cooks()
    assert (june.id, june.name, june.finished_ms) == ("june", "june supper", None)
    assert (may.started_ms, may.finished_ms) == (START_MS + 1000, START_MS + 5000)
    assert reader.open_cooks() == [june]


def test_a_finish_that_is_undone_opens_the_cook_again(store: Store, reader: Reader) -> None:
    store.append([started(1, "may"), finished(2, "may")]).result(WAIT_S)
    assert reader.open_cooks() == []
    store.append([entry(3, Undone("run-1", 2), cook="may")]).result(WAIT_S)
    (cook,) = reader.open_cooks()
    assert cook is not None
    assert cook.id == "may"


def test_the_newest_three_snapshots_stay(store: Store, reader: Reader) -> None:
    for number in range(5):
        store.save_snapshot(Snapshot("run-1", START_MS + number, f"v{number}", b"state" * number))
    store.flush().result(WAIT_S)
    assert reader.snapshot() == Snapshot("run-1", START_MS + 4, "v4", b"state" * 4)
    assert reader.snapshot("v2") is not None
    assert reader.snapshot("v1") is None


def test_the_outbox_gives_what_is_due_and_forgets_what_is_done(
    store: Store, reader: Reader
) -> None:
    late = Notice("n2", "pit-low/pit", "mqtt", "cold", created_ms=1, next_try_ms=900)
    soon = Notice("n1", "wrap-due/b1", "mail", "wrap", created_ms=2, next_try_ms=100)
    store.append([entry(1)], notices=[late, soon]).result(WAIT_S)
    assert reader.outbox() == [soon, late]
    assert reader.outbox(due_ms=500) == [soon]
    store.update_notice(replace(soon, tries=1, last_error="refused", next_try_ms=950))
    store.update_notice(replace(late, done=True)).result(WAIT_S)
    assert reader.outbox() == [replace(soon, tries=1, last_error="refused", next_try_ms=950)]


def test_one_clock_row_repairs_what_was_written_before_time_was_known(
    store: Store, reader: Reader
) -> None:
    store.append([entry(1), entry(9)]).result(WAIT_S)
    store.set_clock(ClockRow("run-1", START_MS, 86_400_000)).result(WAIT_S)
    store.set_clock(ClockRow("run-1", START_MS + 5000, 86_400_777)).result(WAIT_S)
    rows = reader._connection.execute("SELECT utc_ms, monotonic_ms FROM journal_entry").fetchall()
    assert rows == [
        (START_MS + 1000 + 86_400_000, 6000),
        (START_MS + 9000 + 86_400_777, 14_000),
    ]
    assert reader.clocks() == [
        ClockRow("run-1", START_MS, 86_400_000),
        ClockRow("run-1", START_MS + 5000, 86_400_777),
    ]


def test_a_closed_run_ends_with_its_last_record(opened: Callable[..., Store]) -> None:
    with opened("run-1") as first:
        first.append([entry(7)])
    with opened("run-2").reader() as reader:
        assert reader.runs()[0] == replace(run_row("run-1"), end_ms=START_MS + 7000)


def test_a_closed_store_refuses_by_name(store: Store) -> None:
    store.close()
    with pytest.raises(StoreError, match="closed"):
        store.append([entry(1)])


def test_a_withdrawn_cook_is_listed_only_where_it_is_wanted(store: Store, reader: Reader) -> None:
    taken_back = entry(3, CookWithdrawn("c1", "a trial"), cook="c1")
    store.append([started(1, "c1"), started(2, "c2"), taken_back]).result(WAIT_S)
    assert [row.id for row in reader.cooks()] == ["c2"]
    assert {row.id for row in reader.cooks(withdrawn=True)} == {"c1", "c2"}


def test_a_notice_without_a_time_is_due_at_once(store: Store, reader: Reader) -> None:
    store.append([entry(1)], notices=[Notice("n1", "a1", "page")]).result(WAIT_S)
    assert [notice.id for notice in reader.outbox(due_ms=0)] == ["n1"]


def test_an_entry_of_two_cooks_comes_back_from_its_copy_as_one_of_both() -> None:
    row = entry(7)
    back = Copy("run-1", 7, row.text, ("c1", "c2")).row()
    assert (back.entry, back.cook, back.also) == (row.entry, "c1", ("c2",))
    alone = Copy("run-1", 7, row.text, ()).row()
    assert (alone.cook, alone.also) == (None, ())


def test_notes_are_found_by_their_words_and_signs_alone_are_no_words(store: Store) -> None:
    rows = [entry(1, Noted("foil ran out")), entry(2, Noted("lit the second pit"))]
    store.append(rows).result(WAIT_S)
    assert len(search(store.path, "foil")) == 1
    assert len(search(store.path, 'foil-ran "out')) == 1  # as typed, and no language of queries
    with pytest.raises(UsageError, match="holds no word"):
        search(store.path, "?!")
