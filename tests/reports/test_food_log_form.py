"""The food log's form: whose it is, what stands on each sheet, the blank page, the signed copy."""

from __future__ import annotations

from dataclasses import replace

import pytest

from pitlogger.errors import RefusedError
from pitlogger.model.cooks import Cook, Piece, Stage
from pitlogger.model.folding import fold
from pitlogger.model.journal import (
    Body,
    CookStarted,
    Entry,
    HeldByTime,
    Received,
    SignedOff,
    SpotRead,
    StageSet,
    Weighed,
)
from pitlogger.model.readings import Site
from pitlogger.reports.cook_record import (
    CookRecord,
    Premises,
    Wall,
    among,
    build_record,
    signed_copy,
)
from pitlogger.reports.food_log import BY_HAND, blank_log, food_log
from pitlogger.reports.html import html
from pitlogger.reports.sheet import Facts, Heading, Sheet, Table
from pitlogger.rules.messages import Units
from pitlogger.safety.policy import shipped_policy
from pitlogger.safety.record import SHEETS

MIN = 60_000
POLICY = shipped_policy("retail-food-code")
COOK = Cook("fair", (Piece("b-1", "brisket-packer"), Piece("b-2", "brisket-flat")))


def made(*bodies: Body, units: Units | None = None, premises: Premises | None = None) -> CookRecord:
    entries = [
        Entry("r", seq, seq * MIN, body, "AB")
        for seq, body in enumerate((CookStarted(COOK), *bodies), start=1)
    ]
    return build_record(
        "fair", "pit", entries, among([]), 99 * MIN, POLICY, units or Units(), Wall(),
        premises=premises or Premises(),
    )  # fmt: skip


def sheet_rows(sheet: Sheet, title: str) -> list[tuple[str, ...]]:
    at = next(n for n, one in enumerate(sheet.blocks) if one == Heading(title))
    table = sheet.blocks[at + 1]
    return list(table.rows) if isinstance(table, Table) else []


def facts(sheet: Sheet) -> dict[str, str]:
    return dict(next(one for one in sheet.blocks if isinstance(one, Facts)).rows)


def test_whose_it_is_stands_at_its_head_and_what_nobody_said_is_a_line_to_write_on() -> None:
    known = facts(food_log(made(premises=Premises("Mill", "12 Lane", "A. Berger", "1234"))))
    assert known["Premises"] == "Mill, 12 Lane"
    assert (known["Person in charge"], known["Licence or permit"]) == ("A. Berger", "1234")
    unknown = facts(food_log(made()))
    assert {unknown[name] for name in ("Premises", "Person in charge")} == {BY_HAND}


def test_the_federal_rule_for_plants_is_named_under_that_policy_alone() -> None:
    assert "417" not in html(food_log(made()))
    assert "417" not in html(blank_log(Premises(), POLICY))
    plant = replace(made(), policy=shipped_policy("inspected-plant"))
    assert "9 CFR 417.3 and 417.5" in html(food_log(plant))


def test_what_came_in_stands_with_temperature_condition_and_whether_it_was_taken() -> None:
    log = food_log(made(
        Received("b-1", True, MIN, 3_000, "cold, sealed", "Miller", "77"),
        Received("b-2", False, MIN, 9_000, "warm box"),
    ))  # fmt: skip
    first, second = sheet_rows(log, "Receiving")
    assert "received, accepted (cold, sealed; supplier Miller, lot 77)" in first
    assert "37.4 F" in first
    assert "limit met" in " ".join(first)
    assert "received, refused (warm box)" in second
    assert "not met" not in " ".join(second)  # it never came into the kitchen
    assert any("brisket" in cell and "b-1 (lot 77)" in cell for cell in first)


def test_warm_meat_that_was_taken_in_is_a_limit_not_met() -> None:
    log = food_log(made(Received("b-1", True, MIN, 9_000, "warm box")))
    assert "limit not met" in " ".join(sheet_rows(log, "Receiving")[0])


def test_discards_and_waste_stand_with_reason_and_mass_in_the_kitchens_units() -> None:
    bodies = (
        StageSet("b-1", Stage.DISCARDED, 5 * MIN, mass_mg=2_000_000, reason="dropped"),
        Weighed("b-2", "waste", 500_000, 0, 6 * MIN),
    )
    for units, dropped in ((Units("F", "lb-oz"), "4 lb 6.5 oz"), (Units("C", "kg"), "2.000 kg")):
        rows = sheet_rows(food_log(made(*bodies, units=units)), "Discards and waste")
        assert dropped in rows[0]
        assert "discarded (dropped)" in rows[0]
        assert "thrown away" in rows[1]


def test_food_held_by_time_has_a_sheet_and_is_not_judged_by_its_temperature() -> None:
    log = food_log(made(
        StageSet("b-1", Stage.SERVING, MIN),
        SpotRead(60_000, 2 * MIN, "b-1"),
        HeldByTime("b-1", 3 * MIN),
        SpotRead(30_000, 6 * MIN, "b-1"),
    ))  # fmt: skip
    assert len(sheet_rows(log, "Hot hold and transport")[0]) > 0
    held, read, *_ = [" ".join(row) for row in sheet_rows(log, "Held by time")]
    assert "held by time, 4 h" in held
    assert "3-501.19" in held
    assert "86.0 F" in read
    assert "limit" not in read


def test_a_pit_temperature_is_never_filed_under_food() -> None:
    log = food_log(
        made(SpotRead(120_000, MIN, site=Site.PIT), SpotRead(21_000, MIN, site=Site.ROOM))
    )
    assert "248" not in html(log)


def test_a_time_that_nobody_recorded_is_not_invented() -> None:
    log = food_log(made(
        Weighed("b-1", "purchased", 6_000_000, 0, MIN, timed="unrecorded"),
        StageSet("b-1", Stage.SMOKING, 2 * MIN, timed="unrecorded"),
    ))  # fmt: skip
    (row,) = sheet_rows(log, "Receiving")
    assert row[0] == "time not recorded"
    assert "1970" not in html(log)


def test_the_blank_page_has_every_sheet_and_lines_to_write_on() -> None:
    page = blank_log(Premises("Mill"), POLICY)
    titles = [one.text for one in page.blocks if isinstance(one, Heading)]
    assert all(any(title in told for told in titles) for title in SHEETS.values())
    assert sum(one.blank for one in page.blocks if isinstance(one, Table)) >= 4 * len(SHEETS)


def test_the_signed_copy_is_what_was_signed() -> None:
    cold, warm = SpotRead(3_000, 2 * MIN, "b-1"), SpotRead(9_000, 3 * MIN, "b-1")
    bodies: list[Body] = [CookStarted(COOK), cold, warm]
    entries = [Entry("r", n, n * MIN, body, "AB") for n, body in enumerate(bodies, 1)]
    signed = Entry("r", 4, 4 * MIN, SignedOff("fair", 2, "ab", "C. Dorn"), "CD")
    kept, logged = signed_copy("fair", entries, [signed])
    assert len(fold(kept).spots) == 1
    assert logged == [signed]
    with pytest.raises(RefusedError, match="not signed"):
        signed_copy("fair", entries, [])


def test_a_version_with_later_entries_says_that_it_is_unsigned() -> None:
    record = made(SpotRead(3_000, 2 * MIN, "b-1"), SpotRead(3_500, 3 * MIN, "b-1"))
    signed = Entry("r", 9, 9 * MIN, SignedOff("fair", 2, "ab", "C. Dorn"), "CD")
    text = html(food_log(replace(record, logged=(signed,))))
    assert "this version is unsigned" in text
    assert "C. Dorn (CD)" in text
