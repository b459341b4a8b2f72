"""Labels: allergens by word, dates by rule, bytes as printers want them."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pitlogger.errors import UsageError
from pitlogger.reports import escpos
from pitlogger.reports.allergens import MAJOR, AllergenAnswer, checked, found_in
from pitlogger.reports.label import Label, label_bytes, label_sheet, qr_svg, until_by_default
from pitlogger.reports.sheet import Lines, Picture

EVENING = datetime(2026, 9, 19, 22, tzinfo=UTC)


def label(**changes: object) -> Label:
    given: dict[str, object] = {
        "name": "Brisket, sliced", "keep": "cold", "packed": EVENING,
        "until": until_by_default("cold", EVENING), "firm": "Example Catering, 1 Fire Lane",
        "mass": "2 lb 4 oz", "ingredients": ("beef", "butter (cream, salt)"),
        "allergens": AllergenAnswer.of(["milk"], [name for name in MAJOR if name != "milk"]),
    }  # fmt: skip
    return Label(**(given | changes))  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("ingredient", "allergens"),
    [
        ("butter (cream, salt)", ["milk"]),
        ("Worcestershire sauce", ["fish", "soybeans"]),
        ("soy sauce", ["wheat", "soybeans"]),
        ("potato buns", ["wheat"]),
        ("mayonnaise", ["egg"]),
        ("tahini", ["sesame"]),
        ("pecan pieces", ["tree nuts"]),
        ("peanut butter", ["peanuts"]),
        ("shrimp", ["crustacean shellfish"]),
        ("shellfish stock", ["crustacean shellfish"]),
        ("almond milk", ["tree nuts"]),
        ("cream of tartar", []),
        ("buckwheat", []),
        ("salt, pepper, paprika", []),
        ("beef brisket", []),
    ],
)
def test_allergens_are_found_by_word(ingredient: str, allergens: list[str]) -> None:
    assert found_in([ingredient]) == allergens


def test_there_are_nine_major_allergens() -> None:
    assert len(set(MAJOR)) == 9


def test_an_allergen_named_wrongly_is_answered_with_the_right_word() -> None:
    with pytest.raises(UsageError, match="did you mean 'peanuts'"):
        checked(["peanut"])


def test_a_label_that_nobody_answered_for_is_not_handed_out() -> None:
    for answered in (AllergenAnswer(), AllergenAnswer.of(["milk"], MAJOR[1:8])):
        assert "Allergens not stated: do not hand out." in label(allergens=answered).lines()


def test_words_only_suggest() -> None:
    lines = label(allergens=AllergenAnswer()).lines()
    assert "Words of the ingredients suggest milk: answer." in lines
    assert not any(line.startswith("Contains") for line in lines)


def test_an_answer_that_words_of_the_ingredients_speak_against_is_named() -> None:
    (hint,) = [
        one for one in label(allergens=AllergenAnswer.of([], MAJOR)).lines() if "suggest" in one
    ]
    assert "milk, answered as not in it: check before" in hint


def test_no_label_promises_that_something_is_free_of_an_allergen() -> None:
    for line in label(allergens=AllergenAnswer.of([], MAJOR)).lines():
        assert "none" not in line.casefold()
        assert "free" not in line.casefold()


def test_an_allergen_is_not_answered_both_ways() -> None:
    with pytest.raises(UsageError, match="milk: answered both ways"):
        AllergenAnswer.of(["milk"], ["milk"])


def test_a_vacuum_pack_points_to_its_rules() -> None:
    assert any("Reduced-oxygen" in line for line in label(vacuum=True).lines())
    assert not any("Reduced-oxygen" in line for line in label().lines())


def test_cold_food_is_used_by_the_seventh_day_counting_the_first() -> None:
    assert until_by_default("cold", EVENING).day == 25


def test_hot_food_is_discarded_after_four_hours() -> None:
    assert until_by_default("hot", EVENING) == datetime(2026, 9, 20, 2, tzinfo=UTC)


def test_a_label_says_all_that_a_label_must() -> None:
    assert label().lines() == [
        "Net 2 lb 4 oz",
        "Ingredients: beef, butter (cream, salt).",
        "Contains: milk.",
        "Packed Sat 2026-09-19 22:00",
        "Use by Fri 2026-09-25",
        "Keep at 41 F (5 C) or below.",
        "Reheat to 165 F (74 C) throughout.",
        "Example Catering, 1 Fire Lane",
    ]


def test_a_hot_label_says_135_f_and_a_time_to_discard() -> None:
    lines = label(keep="hot", until=until_by_default("hot", EVENING)).lines()
    assert "Keep at 135 F (57 C) or above." in lines
    assert "Discard at Sun 2026-09-20 02:00" in lines


def test_the_printed_bytes_are_these() -> None:
    plain = label(mass="", ingredients=(), firm="", name="Brisket", code="b1")
    assert label_bytes(plain) == (
        b"\x1b@\x1bt\x10"
        b"\x1d!\x11Brisket\n\x1d!\x00"
        b"Contains: milk.\n"
        b"Packed Sat 2026-09-19 22:00\n"
        b"Use by Fri 2026-09-25\n"
        b"Keep at 41 F (5 C) or below.\n"
        b"Reheat to 165 F (74 C) throughout.\n"
        b"\x1d(k\x04\x001A2\x00\x1d(k\x03\x001C\x06\x1d(k\x03\x001E1"
        b"\x1d(k\x05\x001P0b1\x1d(k\x03\x001Q0\n"
        b"\x1dVB\x03"
    )


@given(st.text(max_size=300))
def test_no_text_can_command_the_printer(text: str) -> None:
    data = escpos.line(text)
    assert not any(byte < 32 and byte != 10 for byte in data)
    assert all(len(line) <= escpos.WIDTH for line in data.split(b"\n"))


def test_a_letter_the_printer_lacks_becomes_a_question_mark() -> None:
    assert escpos.line("Rindfleisch über 肉") == "Rindfleisch über ?\n".encode("cp1252")


def test_a_code_too_long_for_a_qr_code_is_refused() -> None:
    with pytest.raises(ValueError, match="do not fit"):
        escpos.qr("x" * 8000)


def test_the_qr_code_is_a_picture_that_says_what_it_holds() -> None:
    sheet = label_sheet(label(code="harvest supper/brisket-1"))
    picture = next(block for block in sheet.blocks if isinstance(block, Picture))
    assert picture.svg.startswith("<svg")
    assert "harvest supper/brisket-1" in picture.described
    assert qr_svg("a") != qr_svg("b")


def test_a_label_without_a_code_has_no_picture() -> None:
    assert [type(block) for block in label_sheet(label()).blocks] == [Lines]
