"""Histories: which readings belong to a piece, and the coldest and warmest curve."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pitlogger.model.book import Book, Mark
from pitlogger.model.cooks import Channel, Cook, Piece, Stage
from pitlogger.model.folding import fold
from pitlogger.model.journal import (
    Adjusted,
    Body,
    ChannelAssigned,
    ChannelDoubted,
    CheckMade,
    CookStarted,
    Corrected,
    Entry,
    PieceSplit,
    ProbeMoved,
    SpotRead,
    StageSet,
)
from pitlogger.model.readings import Quality, Reading, Site, Tagged
from pitlogger.safety.history import PieceHistory, ProbeSeries, curve
from pitlogger.safety.judge import judge
from pitlogger.safety.phases import late_marks
from pitlogger.safety.recorded import histories
from tests.safety.building import MIN, RETAIL, history, line

CORE = Channel("b/core", Site.CORE, "b")
COOK = Cook(
    "test",
    (Piece("b", "brisket-packer", prepared="injected"), Piece("c", "chicken-whole")),
    (CORE, Channel("c/core", Site.CORE, "c"), Channel("pit", Site.PIT)),
)


def book(*bodies: tuple[int, Body], cook: Cook = COOK) -> Book:
    entries = [Entry("r", 0, 0, CookStarted(cook))]
    entries += [Entry("r", seq, t_ms, body) for seq, (t_ms, body) in enumerate(bodies, start=1)]
    return fold(entries)


def of(made: list[PieceHistory], piece: str) -> PieceHistory:
    return next(held for held in made if held.piece == piece)


def steady(channel: str, value_mc: int, until_min: int = 10) -> list[Reading]:
    return [Reading(channel, minute * MIN, value_mc) for minute in range(until_min + 1)]


def test_each_piece_has_its_own_readings() -> None:
    made = histories(book(), steady("b/core", 60_000) + steady("c/core", 70_000))
    assert {value for _, value in of(made, "b").cores[0].points} == {60_000}
    assert {value for _, value in of(made, "c").cores[0].points} == {70_000}
    assert (of(made, "b").family, of(made, "b").prepared) == ("brisket", "injected")


def test_readings_without_a_good_value_are_left_out() -> None:
    readings = [Reading("b/core", 0, 60_000), Reading("b/core", MIN, None, Quality.OPEN),
                Reading("b/core", 2 * MIN, 61_000, Quality.STUCK)]  # fmt: skip
    assert of(histories(book(), readings), "b").cores[0].points == ((0, 60_000),)


def test_a_lone_spike_is_left_out_and_a_lasting_jump_is_kept() -> None:
    values = [60_000, 60_100, 130_000, 60_200, 20_000, 20_100, 20_200]
    readings = [Reading("b/core", t * 10_000, value) for t, value in enumerate(values)]
    kept = [value for _, value in of(histories(book(), readings), "b").cores[0].points]
    assert kept == [60_000, 60_100, 60_200, 20_100, 20_200]


def test_what_no_core_can_be_is_left_out() -> None:
    """Not even twice running, as a probe does that is broken."""
    values = (60_000, 200_000, 200_000)
    readings = [Reading("b/core", number * MIN, value) for number, value in enumerate(values)]
    assert len(of(histories(book(), readings), "b").cores[0].points) == 1


def test_raw_readings_get_their_offset_and_tagged_ones_do_not() -> None:
    offset = Channel("b/core", Site.CORE, "b", offset=-500)
    cook = Cook("test", COOK.pieces, (offset,))
    raw = of(histories(book(cook=cook), [Reading("b/core", 0, 60_000)]), "b")
    tagged = Tagged("b/core", 0, 60_000, 59_500, Quality.GOOD, Site.CORE, "b")
    assert raw.cores[0].points == ((0, 59_500),)
    assert of(histories(book(cook=cook), [tagged]), "b").cores[0].points == ((0, 59_500),)


def test_an_offset_set_later_counts_from_then_on() -> None:
    made = histories(book((5 * MIN, Adjusted("b/core", 1000))), steady("b/core", 60_000))
    values = dict(of(made, "b").cores[0].points)
    assert (values[4 * MIN], values[5 * MIN]) == (60_000, 61_000)


def test_a_probe_given_to_another_piece_tells_of_each_in_its_time() -> None:
    moved = ChannelAssigned(Channel("b/core", Site.CORE, "c"))
    made = histories(book((5 * MIN, moved)), steady("b/core", 60_000))
    assert [t for t, _ in of(made, "b").cores[0].points] == [t * MIN for t in range(5)]
    mine = next(s for s in of(made, "c").cores if s.channel == "b/core")
    assert [t for t, _ in mine.points] == [t * MIN for t in range(5, 11)]


def test_hand_readings_count_as_corrected() -> None:
    first = SpotRead(60_000, MIN, "b")
    made = histories(
        book((MIN, first), (2 * MIN, Corrected("r", 1, SpotRead(57_000, MIN, "b")))), []
    )
    assert of(made, "b").spots == ((MIN, 57_000),)
    assert of(made, "c").spots == ()


def test_moves_of_its_own_probe_alone_are_its_own() -> None:
    made = histories(book((MIN, ProbeMoved("b/core")), (2 * MIN, ProbeMoved("c/core"))), [])
    assert of(made, "b").moves == ((MIN, "b/core"),)


def test_the_record_ends_with_its_last_reading_or_decision() -> None:
    later = book((20 * MIN, StageSet("b", Stage.RESTING, 20 * MIN)))
    assert of(histories(later, steady("b/core", 60_000)), "b").end_ms == 20 * MIN
    assert of(histories(book(), steady("pit", 110_000, 30)), "b").end_ms == 30 * MIN


def test_a_split_ends_the_parent_and_gives_children_its_cut_and_no_readings() -> None:
    split = PieceSplit("b", (Piece("b-point"), Piece("b-flat", "brisket-flat")))
    made = histories(
        book((MIN, StageSet("b", Stage.RESTING, MIN)), (5 * MIN, split)), steady("b/core", 60_000)
    )
    point = of(made, "b-point")
    assert (point.cut, point.prepared, point.parents) == ("brisket-packer", "injected", ("b",))
    assert not point.has_values
    assert of(made, "b").end_ms == 5 * MIN
    assert point.spans[0].stage is Stage.RESTING


def test_the_curve_is_the_lowest_and_the_highest_at_each_time() -> None:
    piece = history(((0, 50_000), (10, 60_000)), ((5, 54_000), (10, 40_000)))
    found = [(p.t_ms, p.low_mc, p.high_mc) for p in curve(piece, 100)]
    assert found == [(0, 50_000, 50_000), (5, 54_000, 55_000), (10, 40_000, 60_000)]


def test_a_probe_in_a_hole_does_not_count() -> None:
    piece = history(((0, 50_000), (200, 40_000)), ((0, 60_000), (100, 60_000), (200, 60_000)))
    assert [p.low_mc for p in curve(piece, 100)] == [50_000, 60_000, 40_000]


def test_hand_readings_join_the_curve_and_are_marked_where_they_stand_alone() -> None:
    piece = history(((0, 50_000), (4 * MIN, 50_000)), spots=((2.0, 100.0), (9.0, 200.0)))
    found = curve(piece, 30 * MIN)
    assert [(p.low_mc, p.high_mc, p.hand) for p in found] == [
        (50_000, 50_000, False), (37_778, 50_000, False), (50_000, 50_000, False),
        (93_333, 93_333, True),
    ]  # fmt: skip


@pytest.mark.parametrize("at_min", [10.0, 20.0])
def test_readings_near_a_moved_probe_are_left_out(at_min: float) -> None:
    piece = history(line((0, 150), (60, 150)), moves=(at_min,))
    times = {p.t_ms // MIN for p in curve(piece, 30 * MIN, 5 * MIN)}
    assert times == {m for m in range(61) if abs(m - at_min) > 5}


@given(
    st.lists(st.tuples(st.integers(0, 500), st.integers(0, 90_000)), max_size=20),
    st.lists(st.tuples(st.integers(0, 500), st.integers(0, 90_000)), min_size=1, max_size=20),
)
def test_the_curve_lies_within_what_was_read(
    one: list[tuple[int, int]], two: list[tuple[int, int]]
) -> None:
    first, second = tuple(sorted(dict(one).items())), tuple(sorted(dict(two).items()))
    found = curve(history(first, second, end_min=1), 50)
    values = [value for _, value in (*first, *second)]
    assert [p.t_ms for p in found] == sorted({t for t, _ in (*first, *second)})
    assert all(min(values) <= p.low_mc <= p.high_mc <= max(values) for p in found)


def test_a_verdict_names_the_hand_readings_that_were_typed_late_and_no_others() -> None:
    held = history(
        line((0, 200), (60, 160)),
        stages=((0, "smoking"), (10, "holding")),
        spots=((30, 165), (5, 199)),
        late=((30 * MIN, 75 * MIN),),
    )
    found = judge(held, RETAIL)
    assert "was typed 45 min later" in found.holding.reason
    assert found.holding.reason.count("typed") == 1
    on_pit = replace(held, late=((5 * MIN, 60 * MIN),))
    assert "typed" not in judge(on_pit, RETAIL).holding.reason
    assert "was typed 55 min later" in judge(on_pit, RETAIL).lethality.verdict.reason


def test_a_struck_reading_is_replaced_by_one_that_was_taken_after_it_was_struck() -> None:
    """A reading typed afterwards for a time before that is no fresh one."""
    low = SpotRead(45_000, 5 * MIN, "b")

    def struck(*more: tuple[int, SpotRead]) -> int:
        said: tuple[tuple[int, Body], ...] = (
            (5 * MIN, low),
            (10 * MIN, Corrected("r", 1, SpotRead(70_000, 5 * MIN, "b"))),
            *more,
        )
        return len(of(histories(book(*said), []), "b").withdrawn)

    assert struck() == 1
    assert struck((12 * MIN, SpotRead(66_000, 7 * MIN, "b"))) == 1
    assert struck((12 * MIN, SpotRead(66_000, 11 * MIN, "b"))) == 0


def test_a_confirmed_reading_that_is_no_core_of_meat_shows_nothing() -> None:
    """500 F by a checked thermometer in a bird: it stood in the fire."""
    said: tuple[tuple[int, Body], ...] = (
        (0, StageSet("c", Stage.SMOKING, 0)),
        (MIN, CheckMade("pen", "ice", 0, 1000, True)),
        (9 * MIN, SpotRead(260_000, 9 * MIN, "c", probe="pen", confirmed=True)),
    )
    verdicts = judge(of(histories(book(*said), []), "c"), RETAIL)
    assert verdicts.lethality.verdict.met is not True


@pytest.mark.parametrize(
    ("made", "is_checked"),
    [((False, True), True), ((True, False), False), ((True,), True), ((), False)],
)
def test_a_hand_reading_is_by_a_checked_thermometer_if_its_last_check_before_passed(
    made: tuple[bool, ...], is_checked: bool
) -> None:
    spot = SpotRead(70_000, 9 * MIN, "b", probe="pen")
    said: tuple[tuple[int, Body], ...] = (
        *((n * MIN, CheckMade("pen", "ice", 0, 1000, passed)) for n, passed in enumerate(made, 1)),
        (9 * MIN, spot),
    )
    assert (of(histories(book(*said), []), "b").checked == {(9 * MIN, 70_000)}) is is_checked


def test_a_mark_that_was_entered_long_after_its_time_is_named_with_who_did() -> None:
    marks = (
        Mark(Stage.HOLDING, 10 * MIN, 25 * MIN, "AK"),
        Mark(Stage.COOLING, 30 * MIN, 76 * MIN, "MO"),
    )
    piece = history(line((0, 150), (90, 140)), stages=((0, "holding"),), marks=marks)
    words = "cooling at 1970-01-01T00:30:00Z was marked 46 min later by MO"
    assert list(late_marks(piece)) == [words]


def test_a_probe_that_sent_no_value_is_in_the_meat_and_one_never_heard_is_not() -> None:
    piece = history(line((0, 150), (60, 140)), stages=((0.0, "holding"),))
    silent = ProbeSeries("brisket-1/core1", ())
    assert len(replace(piece, cores=(*piece.cores, silent)).counting()) == 2
    unheard = replace(silent, heard=False)
    assert replace(piece, cores=(*piece.cores, unheard)).counting() == list(piece.cores)
    read = replace(piece.cores[0], heard=False)  # as records of tagged readings have it
    assert replace(piece, cores=(read,)).counting() == [read]


def test_a_doubt_of_one_probe_takes_nothing_from_another() -> None:
    both = Cook("test", (Piece("b"),), (CORE, Channel("b/a-core", Site.CORE, "b")))
    doubt = ChannelDoubted("b/core", "stuck", 0, 9 * MIN, "b")
    readings = [*steady("b/core", 60_000), *steady("b/a-core", 61_000)]
    made = of(histories(book((9 * MIN, doubt), cook=both), readings), "b")
    doubted = {core.channel: core.doubts for core in made.cores}
    assert doubted["b/core"]
    assert not doubted["b/a-core"]
