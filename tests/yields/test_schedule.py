"""Backwards from the plate: durations, times, grates, calendar."""

import math
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from icalendar import Calendar
from scipy.stats import lognorm

from pitlogger.model.cooks import CUTS, Cook, Piece, Stage
from pitlogger.model.folding import fold
from pitlogger.model.journal import Body, CookStarted, Entry, StageSet
from pitlogger.rules.policies import shipped_kitchen
from pitlogger.yields.learned.durations import Hours, cook_time, in_sequence, observed_hours
from pitlogger.yields.timing.grate import Lying, UndecidedError, assign
from pitlogger.yields.timing.ical import CalendarMoment, calendar
from pitlogger.yields.timing.schedule import HOUR_MS, Sitting, backwards

KITCHEN = shipped_kitchen()
SUPPER = Sitting(at_ms=1_790_000_000_000, drive_min=25, setup_min=20)


@pytest.mark.parametrize("cut", CUTS)
def test_every_cut_has_a_prior_of_its_time(cut: str) -> None:
    taken = cook_time(cut, {})
    assert taken.n == 0
    assert taken.on_pit.quantile(0.1) < taken.on_pit.quantile(0.9)


def test_a_sum_of_durations_has_the_quantiles_of_drawn_sums() -> None:
    parts = (Hours(6.5, 0.2), Hours(5.0, 0.25), Hours(2.0))
    z = np.random.default_rng(7).standard_normal((2, 200_000))
    drawn = 6.5 * np.exp(0.2 * z[0]) + 5.0 * np.exp(0.25 * z[1]) + 2.0
    for p in (0.1, 0.5, 0.9, 0.95):
        assert in_sequence(parts).quantile(p) == pytest.approx(np.quantile(drawn, p), rel=0.01)


def test_own_cooks_move_the_time_and_count() -> None:
    seen = {("pork-butt", "before-wrap"): [8.0] * 12, ("pork-butt", "after-wrap"): [4.0] * 12}
    taken = cook_time("pork-butt", seen)
    assert taken.n == 12
    assert taken.before_wrap.median == pytest.approx(8.0, rel=0.03)


def test_a_thicker_piece_and_a_bare_one_take_longer() -> None:
    usual = cook_time("brisket-packer", {})
    assert cook_time("brisket-packer", {}, 100.0).on_pit.median > usual.on_pit.median
    assert cook_time("brisket-packer", {}, wrapped=False).on_pit.median > usual.on_pit.median


def test_hours_are_read_from_the_stages_of_past_cooks() -> None:
    marks = [(Stage.SMOKING, 0.0), (Stage.WRAPPED, 6.0), (Stage.RESTING, 10.5)]
    bodies: list[Body] = [CookStarted(Cook("c", (Piece("b", "pork-butt"),)))]
    bodies += [StageSet("b", stage, round(h * HOUR_MS)) for stage, h in marks]
    book = fold(Entry("r", k, 0, body) for k, body in enumerate(bodies, 1))
    found = observed_hours([book])
    assert found == {("pork-butt", "before-wrap"): [6.0], ("pork-butt", "after-wrap"): [4.5]}


def test_times_run_backwards_in_order() -> None:
    t = backwards(SUPPER, cook_time("brisket-packer", {}), 0.9, KITCHEN, brine_h=12, frozen_kg=6)
    order = [t.thaw_ms, t.brine_ms, t.trim_ms, t.light_ms, t.load_ms, t.wrap_ms, t.off_ms,
             t.off_by_ms, t.leave_by_ms, SUPPER.arrive_by_ms(KITCHEN), SUPPER.at_ms]  # fmt: skip
    assert all(a is not None and b is not None and a <= b for a, b in pairwise(order))


@pytest.mark.parametrize("confidence", [0.5, 0.8, 0.95])
def test_the_piece_is_rested_in_time_with_the_chosen_confidence(confidence: float) -> None:
    taken = cook_time("pork-butt", {})
    t = backwards(SUPPER, taken, confidence, KITCHEN)
    z = np.random.default_rng(3).standard_normal((2, 200_000))
    first, second = taken.before_wrap, taken.after_wrap
    hours = first.median * np.exp(first.sd * z[0]) + second.median * np.exp(second.sd * z[1])
    available = (t.leave_by_ms - t.load_ms) / HOUR_MS - taken.rest.median
    assert float(np.mean(hours <= available)) == pytest.approx(confidence, abs=0.01)


def test_more_confidence_means_an_earlier_fire_and_a_longer_hold() -> None:
    taken = cook_time("brisket-packer", {})
    even, sure = (backwards(SUPPER, taken, c, KITCHEN) for c in (0.5, 0.95))
    assert sure.light_ms < even.light_ms
    assert sure.longest_hold_h > even.longest_hold_h


def lying(piece: str, area: float, on: float = 0, off: float = 10, pit: str | None = None) -> Lying:
    return Lying(piece, area, on, off, pit)


def test_pieces_go_on_as_few_pits_as_hold_them() -> None:
    found = assign([lying("a", 1000), lying("b", 1000)], {"small": 1000, "big": 2000})
    assert found == {"a": "big", "b": "big"}


def test_a_full_grate_spills_to_the_next_pit() -> None:
    found = assign([lying(k, 1000) for k in "abc"], {"small": 1000, "big": 2000})
    assert found is not None
    assert sorted(found.values()) == ["big", "big", "small"]


def test_pieces_that_do_not_overlap_share_the_place() -> None:
    early, late = lying("early", 900, 0, 5), lying("late", 900, 5, 9)
    assert assign([early, late], {"pit": 1000}) == {"early": "pit", "late": "pit"}


def test_what_does_not_fit_is_not_assigned() -> None:
    assert assign([lying("a", 600), lying("b", 600)], {"pit": 1000}) is None


def test_a_named_pit_is_kept() -> None:
    found = assign([lying("a", 100, pit="small")], {"small": 500, "big": 2000})
    assert found == {"a": "small"}


def test_exact_search_finds_what_largest_first_fitting_misses() -> None:
    areas = [6, 5, 5, 4, 2, 2]
    found = assign([lying(str(k), a) for k, a in enumerate(areas)], {"one": 12, "two": 12})
    assert found is not None


@given(st.lists(st.floats(1, 60), min_size=1, max_size=8), st.floats(40, 120))
def test_an_assignment_never_exceeds_an_area(areas: list[float], area: float) -> None:
    pieces = [lying(str(k), a) for k, a in enumerate(areas)]
    found = assign(pieces, {"one": area, "two": area})
    if found is None:
        assert math.fsum(areas) > area
        return
    for pit in ("one", "two"):
        assert math.fsum(p.area_cm2 for p in pieces if found[p.piece] == pit) <= area + 1e-6


MOMENTS = [
    CalendarMoment(1_789_950_000_000, "light the fire; pit, big", "barn"),
    CalendarMoment(1_789_990_000_000, "wrap é brisket-1 " + "x" * 120),
]


def test_the_calendar_is_read_back_by_a_library() -> None:
    read = Calendar.from_ical(calendar(MOMENTS, "harvest supper", 1_789_000_000_000))
    events = list(read.walk("VEVENT"))
    assert [str(e["SUMMARY"]) for e in events] == [m.what for m in MOMENTS]
    assert [e.decoded("DTSTART").timestamp() * 1000 for e in events] == [m.at_ms for m in MOMENTS]
    assert len({str(e["UID"]) for e in events}) == 2
    assert all(list(e.walk("VALARM")) for e in events)


def test_calendar_lines_are_folded_at_75_bytes_and_end_in_crlf() -> None:
    text = calendar(MOMENTS, "supper", 0)
    assert text.endswith("\r\n")
    assert all(len(line.encode()) <= 75 for line in text.split("\r\n"))


def test_a_hopeless_search_says_that_it_was_not_decided() -> None:
    pieces = [lying(str(k), 1000 + k) for k in range(30)]
    with pytest.raises(UndecidedError):
        assign(pieces, {"a": 10_140, "b": 10_145, "c": 10_150})


def test_many_pieces_alike_are_decided_at_once() -> None:
    pieces = [lying(f"{k:02}", 1100) for k in range(60)]
    assert assign(pieces, {"a": 22_000, "b": 22_000, "c": 22_000}) is not None
    assert assign(pieces, {"a": 22_000, "b": 21_999, "c": 22_000.5}) is None


def test_the_hours_of_one_part_are_those_of_a_log_normal() -> None:
    """Against scipy: 9 h at the median, 20 % spread."""
    for p in (0.1, 0.5, 0.9):
        expected = lognorm.ppf(p, 0.2, scale=9.0)
        assert Hours(9.0, 0.2).quantile(p) == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize(("hours", "teaches"), [(0.3, False), (13.0, True), (90.0, False)])
def test_a_time_on_the_pit_that_no_brisket_takes_teaches_nothing(
    hours: float, teaches: bool
) -> None:
    bodies: list[Body] = [
        CookStarted(Cook("c", (Piece("b", "brisket-packer"),))),
        StageSet("b", Stage.SMOKING, 0),
        StageSet("b", Stage.RESTING, round(hours * HOUR_MS)),
    ]
    found = observed_hours([fold(Entry("r", k, 0, body) for k, body in enumerate(bodies, 1))])
    assert found == ({("brisket-packer", "on-pit"): [hours]} if teaches else {})
