"""Every document: valid HTML, escaped names, cautions, no verdict on food itself."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime
from xml.etree import ElementTree

import html5lib
import pytest

from pitlogger.reports.cook_record import CookRecord
from pitlogger.reports.cook_report import cook_report
from pitlogger.reports.food_log import food_log
from pitlogger.reports.html import html
from pitlogger.reports.joined_chart import joined_chart
from pitlogger.reports.label import Label, label_sheet
from pitlogger.reports.sheet import CAUTIONS, Picture, Sheet, Table
from pitlogger.reports.shopping import shopping_list
from pitlogger.reports.take_along import take_along
from pitlogger.safety.record import CorrectiveAction, LogRow
from tests.reports.conftest import EVIL

OF_A_COOK: list[Callable[[CookRecord], Sheet]] = [cook_report, food_log, take_along]
NOON = datetime(2026, 9, 21, 12, tzinfo=UTC)
PLAN = {"cut": "brisket-packer", "recommended": 3, "purchase_g": 19050.9,
        "options": [{"pieces": 3, "p_enough": 0.962}], "notes": [f"n = 0 {EVIL}"]}  # fmt: skip


def others() -> list[Sheet]:
    return [
        label_sheet(Label(EVIL, "hot", NOON, NOON, ingredients=("beef",), code="brisket-1")),
        shopping_list([PLAN], [EVIL]),
    ]


def sheets(record: CookRecord, empty_record: CookRecord) -> list[Sheet]:
    return [make(held) for make in OF_A_COOK for held in (record, empty_record)] + others()


def texts(sheet: Sheet) -> str:
    """Return all that a person can read of a sheet."""
    return re.sub(r"<style>.*?</style>|<[^>]+>", " ", html(sheet), flags=re.DOTALL)


def test_every_document_conforms_to_html(record: CookRecord, empty_record: CookRecord) -> None:
    for sheet in sheets(record, empty_record):
        html5lib.HTMLParser(strict=True).parse(html(sheet))


def test_a_name_with_markup_is_shown_as_text(record: CookRecord, empty_record: CookRecord) -> None:
    for sheet in sheets(record, empty_record):
        assert EVIL not in html(sheet)
    assert "&lt;script&gt;" in html(cook_report(record))


@pytest.mark.parametrize("make", OF_A_COOK)
def test_a_document_about_food_carries_every_caution(
    make: Callable[[CookRecord], Sheet], record: CookRecord
) -> None:
    assert all(caution in texts(make(record)) for caution in CAUTIONS)


def test_food_is_never_given_a_good_name(record: CookRecord, empty_record: CookRecord) -> None:
    for sheet in sheets(record, empty_record):
        assert not re.search(r"\bsafe\b", texts(sheet), re.IGNORECASE)


def test_documents_need_nothing_from_outside(record: CookRecord) -> None:
    for make in OF_A_COOK:
        assert not re.search(r"(src|href)=", html(make(record)))


def test_a_cook_with_nothing_in_it_says_so(empty_record: CookRecord) -> None:
    told = texts(cook_report(empty_record))
    assert "Nothing was weighed." in told
    assert "No stage was set." in told
    assert "not finished" in told


def test_the_chart_is_well_formed_and_described_in_words(record: CookRecord) -> None:
    root = ElementTree.fromstring(joined_chart(record))
    title = root.find("{http://www.w3.org/2000/svg}title")
    assert title is not None
    assert "brisket-1/core" in str(title.text)


def test_a_gap_in_the_data_is_a_gap_in_the_line(record: CookRecord) -> None:
    moves = [path.count("M") for path in re.findall(r' d="([^"]+)"', joined_chart(record))]
    assert sorted(moves) == [1, 2]  # the pit whole, the core broken once


def test_yield_is_told_with_its_denominator_and_uncertainty(record: CookRecord) -> None:
    told = texts(cook_report(record))
    assert re.search(r"brisket-1: servable 7 lb 15 oz, 56\.[23] % ± 0\.\d % of purchased", told)


def test_a_corrected_mass_counts_and_the_correction_is_named(record: CookRecord) -> None:
    told = texts(cook_report(record))
    assert "9 lb 11.2 oz" in told  # 4.4 kg, not 4.5
    assert "corrected" in told
    assert "misread" in told


def test_gaps_checks_and_unchecked_instruments_are_named(record: CookRecord) -> None:
    told = texts(cook_report(record))
    assert "brisket-1/core: no reading from 21:00 to 21:20 (20 min)" in told
    assert "ice point check" in told
    assert "No check on record: pit." in told


def test_an_alarm_is_told_with_how_soon_it_was_answered(record: CookRecord) -> None:
    table = next(
        block
        for block in cook_report(record).blocks
        if isinstance(block, Table) and "answered" in block.heads
    )
    assert table.rows[0][:4] == ("17:40", "medium", "pit at 205 F, under 210 F", "after 5 min")


def test_the_food_log_strikes_out_what_was_corrected_and_keeps_it(record: CookRecord) -> None:
    receiving = next(
        block for block in food_log(record).blocks if isinstance(block, Table) and block.struck
    )
    (struck,) = receiving.struck
    assert receiving.rows[struck][4] == "13 lb 1.9 oz"
    assert (
        "(struck by entry 13): MK, 2026-09-21 20:32 +0000, purge poured off"
        in (receiving.rows[struck][-1])
    )
    assert any(row[4] == "13 lb 0.1 oz" for row in receiving.rows)


def test_the_food_log_shows_a_hand_reading_by_its_value(record: CookRecord) -> None:
    rows = [row for b in food_log(record).blocks if isinstance(b, Table) for row in b.rows]
    assert any("159.8 F" in row and "probe-2" in row for row in rows)


def test_the_food_log_names_its_policy_and_the_head_of_its_chain(record: CookRecord) -> None:
    told = texts(food_log(record))
    assert "retail-food-code" in told
    assert re.search(r"its head is [0-9a-f]{64}", told)


def test_the_take_along_sheet_has_limits_with_their_source_and_lines_to_fill(
    record: CookRecord,
) -> None:
    sheet = take_along(record)
    assert "135 F or above (FDA Food Code 3-501.16(A)(1)" in texts(sheet)
    assert sum(block.blank for block in sheet.blocks if isinstance(block, Table)) >= 8


def test_a_shopping_list_says_how_much_and_how_likely_it_is_enough() -> None:
    told = texts(others()[1])
    assert "42 lb" in told
    assert "96 %" in told


def test_a_menu_is_bought_dish_by_dish() -> None:
    menu = {"dishes": [PLAN, {**PLAN, "cut": "pork-butt"}], "shopping": [], "notes": ["one note"]}
    sheet = shopping_list([menu], [])
    (table,) = (b for b in sheet.blocks if isinstance(b, Table) and "cut" in b.heads)
    assert [row[1] for row in table.rows] == ["whole brisket", "pork butt"]
    assert "one note" in texts(sheet)


def test_what_is_only_warned_of_is_no_verdict_in_the_log_either(record: CookRecord) -> None:
    told = [_come_up(make(record)) for make in (cook_report, food_log)]
    assert told[0] == told[1]
    assert "warning only" in told[0]


def _come_up(sheet: Sheet) -> list[str]:
    return [
        row[b.heads.index("verdict")]
        for b in sheet.blocks
        if isinstance(b, Table) and "verdict" in b.heads
        for row in b.rows
        if row[b.heads.index("what")] == "come-up"
    ]


def test_the_record_from_the_database_makes_the_same_report(
    record: CookRecord, stored: CookRecord
) -> None:
    assert html(cook_report(stored)) == html(cook_report(record))


def test_a_picture_is_described(record: CookRecord) -> None:
    pictures = [block for block in cook_report(record).blocks if isinstance(block, Picture)]
    assert all(picture.described for picture in pictures)


def test_corrective_action_stands_beside_the_breach_in_its_four_parts(
    record: CookRecord, monkeypatch: pytest.MonkeyPatch
) -> None:
    taken = CorrectiveAction(
        cause="lid left open", control_restored="reheated to 165 F", prevention="timer set",
        disposition="reheated", by="JD", at_ms=record.end_ms,
    )  # fmt: skip
    breach = LogRow(
        sheet="hot-hold", id=None, observed_ms=record.end_ms, entered_ms=record.end_ms, by="",
        product="brisket-1", what="hot holding", value="131 F", limit="135 F", met=False,
    )  # fmt: skip
    rows = [replace(breach, corrective=taken), breach]
    monkeypatch.setattr("pitlogger.reports.food_log.sheets", lambda *_: rows)
    table = next(
        b for b in food_log(record).blocks
        if isinstance(b, Table) and b.heads[-1] == "corrective action"
    )  # fmt: skip
    answered, open_ = (row[-1] for row in table.rows)
    for part in ("lid left open", "reheated to 165 F", "timer set", "Disposition: reheated", "JD"):
        assert part in answered
    assert open_ == "none on record"
