"""A job of several sittings and cooks: pieces, times, plan B, the run sheet, portions."""

from __future__ import annotations

import re
from decimal import Decimal

import pytest

from pitlogger.planning import PastCooks
from pitlogger.planning.job.calculation import _apart
from pitlogger.reports.html import html as sheet_html
from pitlogger.reports.job_sheets import run_sheet
from pitlogger.yields.records import PastPiece
from pitlogger.yields.weighing.uncertainty import Measured
from tests.planning.test_job import JOB, OZ, answered

SITTINGS = (
    JOB.replace('serve_at = "2027-06-19T17:00:00-05:00"\n', "")
    + """
[[labour]]
role = "Ada"
rate = 22
does = ["pit"]
[[labour]]
role = "serve"
rate = 18
[[sitting]]
at = "2027-06-19T13:00:00-05:00"
place = "tent"
guests = 80
[[sitting]]
at = "2027-06-19T19:00:00-05:00"
place = "tent"
guests = 40
drive_min = 30
"""
)


def test_two_sittings_have_their_own_pieces_and_times() -> None:
    timed = answered(SITTINGS).schedule
    assert [service.place for service in timed.services] == ["tent 13:00", "tent 19:00"]
    first, second = timed.pieces
    assert (second.off_by - first.off_by).total_seconds() > 4 * 3600
    assert not any("timed for the first service" in note for note in timed.notes)


@pytest.mark.parametrize(
    ("pieces", "guests", "shares"),
    [(7, [80, 40], [5, 2]), (1, [80, 40], [1]), (7, [80, 0], [7]), (3, [1, 1, 1], [1, 1, 1]),
     (4, [120], [4])],
)  # fmt: skip
def test_pieces_go_to_sittings_by_their_guests(
    pieces: int, guests: list[int], shares: list[int]
) -> None:
    assert _apart(pieces, guests) == shares


def test_plan_b_lies_within_the_schedule_and_names_its_pieces() -> None:
    timed = answered(JOB).schedule
    (piece,) = timed.pieces
    later = timed.plan_b
    assert [one.at for one in later] == sorted(one.at for one in later)
    by = {one.unless: one.at for one in later}
    assert piece.wrap_about < by["it is wrapped"] < by["it is off the pit"] == piece.off_by
    assert by["it is still cooking"] < piece.off_about
    assert all(one.pieces for one in later)


def test_the_run_sheet_goes_by_person_and_hour_with_room_for_initials() -> None:
    page = sheet_html(run_sheet(answered(SITTINGS).document()))
    for words in ("Ada: at the pit", "serve: on the way and at the table", "initials",
                  "If it goes otherwise", "unless it is wrapped"):  # fmt: skip
        assert words in page, words
    hours = re.findall(r"<td[^>]*>\s*(\w{3} \d\d:00)\s*</td>\s*<td[^>]*>\s*look at fire", page)
    assert len(hours) >= 8
    assert "Sat 03:00" in hours


def test_the_meat_of_several_cooks_is_the_jobs() -> None:
    pieces = tuple(
        PastPiece("b", "brisket-packer", cook=cook, left_g=900.0, masses={
            "purchased": Measured(20_000.0), "carved": Measured(10_000.0)})
        for cook in ("friday", "saturday", "other")
    )  # fmt: skip
    text = JOB.replace("[job]", '[job]\ncooks = ["friday", "saturday"]')
    text += "[actual]\nguests = 118\nmeat_cost = 380\n"
    made = answered(text, past=PastCooks(pieces)).result
    assert made.servable_pct == 50.0
    assert made.left_g == 1800.0


@pytest.mark.parametrize(
    ("scale", "said"), [("", "about 12.00 lb"), ("class III, no. 4471", "12.00 lb")]
)
def test_a_price_by_weight_says_about_without_a_legal_for_trade_scale(
    scale: str, said: str
) -> None:
    sold = '[[by_weight]]\nwhat = "sliced brisket"\nmass = "12 lb"\nprice = "24/lb"\n'
    sold += f'scale = "{scale}"\n'
    made = answered(JOB + sold)
    line = made.bill.lines[-1]
    assert line.amount == Decimal("288.00")
    assert said in line.what
    assert ("about" in line.what) == (not scale)
    assert any("legal-for-trade" in note for note in made.notes) == (not scale)


@pytest.mark.parametrize(
    ("sides", "at", "ounces"),
    [("", "17:00", 5.0), ("sides = 0", "17:00", 6.25), ("sides = 5", "12:00", 4.05),
     ("", "22:00", 4.25)],
)  # fmt: skip
def test_a_portion_that_nobody_said_goes_by_sides_and_hour_with_why(
    sides: str, at: str, ounces: float
) -> None:
    text = JOB.replace('portion = "5 oz"\n', f"{sides}\n").replace(
        "17:00:00-05:00", f"{at}:00-05:00"
    )
    made = answered(text)
    (said,) = [one for one in made.assumed if one.field == "job.portion"]
    assert float(said.value.removesuffix(" oz")) == pytest.approx(ounces, abs=0.051)
    assert made.dishes[0].demand_g == pytest.approx(120 * ounces * OZ, rel=0.01)
    assert ("no source" in said.why) or "memory" in said.why
