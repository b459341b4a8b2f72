"""GS1 element strings: by the rules of the General Specifications, and beside another reader.

The independent reader is biip (Apache-2.0). Example strings: GS1 General Specifications and the
public documents about it: (01)09506000134352 is the GTIN of their examples.
"""

from __future__ import annotations

import random
from contextlib import suppress
from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pitlogger.errors import DecodeError, MalformedError
from pitlogger.formats.gs1 import BoxLabel, has_check_digit, is_gs1, parse_gs1

GTIN = "09506000134352"


def test_a_box_of_meat_says_weight_batch_and_dates() -> None:
    scanned = f"]C101{GTIN}310300721017261015\x1d".replace("\x1d", "") + "10LOT-7\x1d21A42"
    assert parse_gs1(scanned, 2026) == BoxLabel(
        GTIN, 7_210_000, "LOT-7", "A42", use_by=date(2026, 10, 15)
    )


def test_the_same_with_brackets_is_the_same() -> None:
    printed = f"(01){GTIN}(3103)007210(17)261015(10)LOT-7(21)A42"
    assert parse_gs1(printed, 2026).lot == "LOT-7"
    assert parse_gs1(printed, 2026).net_mg == 7_210_000


@pytest.mark.parametrize(
    ("ai", "data", "mg"),
    [("3100", "000007", 7_000_000), ("3102", "000721", 7_210_000), ("3205", "123456", 559_987),
     ("3202", "001590", 7_212_119)],
)  # fmt: skip
def test_the_last_digit_of_the_identifier_places_the_point(ai: str, data: str, mg: int) -> None:
    assert parse_gs1(f"01{GTIN}{ai}{data}", 2026).net_mg == mg


def test_kilograms_and_pounds_agree_or_nothing_is_taken() -> None:
    assert parse_gs1(f"01{GTIN}31030072103202001590", 2026).net_mg == 7_210_000
    with pytest.raises(MalformedError, match="differ"):
        parse_gs1(f"01{GTIN}31030072103202007210", 2026)


@pytest.mark.parametrize(
    ("year", "data", "expected"),
    [(2026, "260229", None), (2026, "260200", date(2026, 2, 28)),
     (2028, "280200", date(2028, 2, 29)),
     (2026, "770101", date(1977, 1, 1)), (2026, "760101", date(2076, 1, 1)),
     (2098, "480101", date(2148, 1, 1)), (2026, "261301", None), (2026, "260001", None)],
)  # fmt: skip
def test_two_digits_are_a_year_within_fifty(year: int, data: str, expected: date | None) -> None:
    """General Specifications, 7.12."""
    text = f"01{GTIN}17{data}"
    if expected is None:
        with pytest.raises(MalformedError, match="no date"):
            parse_gs1(text, year)
    else:
        assert parse_gs1(text, year).use_by == expected


def test_elements_of_predefined_length_need_no_separator_and_may_have_one() -> None:
    assert parse_gs1(f"01{GTIN}\x1d3103007210\x1d10AB", 2026).lot == "AB"


def test_what_is_not_asked_for_is_passed_over() -> None:
    text = f"00395060001343520000{'01' + GTIN}240X-1\x1d3922001299\x1d7030056EU1\x1d10B"
    assert parse_gs1(text, 2026) == BoxLabel(GTIN, lot="B")


@pytest.mark.parametrize(
    "text",
    ["", "]C1", "\x1d", "01", f"01{GTIN[:-1]}3", f"01{GTIN}10", f"01{GTIN}10{'X' * 21}",
     f"01{GTIN}310300721", f"01{GTIN}3103\x1d007210", f"01{GTIN}3109007210", f"01{GTIN}3103000000",
     f"01{GTIN}310300721x", f"01{GTIN}01{GTIN[:-2]}69", f"(01){GTIN}(10)", f"(01){GTIN}x(10", "()",
     f"01{GTIN}10\u0661", f"01{GTIN}10a b", "AB", f"01{GTIN}3103007210310200721"],
)  # fmt: skip
def test_what_breaks_the_rules_gives_nothing(text: str) -> None:
    with pytest.raises(MalformedError):
        parse_gs1(text, 2026)


@given(st.text(max_size=60))
def test_any_text_is_a_label_or_a_named_error(text: str) -> None:
    with suppress(DecodeError):
        parse_gs1(text, 2026)


@pytest.mark.parametrize(
    ("text", "yes"),
    [("]C10195", True), ("]d2x", True), (f"01{GTIN}10A", True), (f"(01){GTIN}", True),
     ("0109506000134353", False), ("4006381333931", False), ("PLP::b", False), ("", False)],
)  # fmt: skip
def test_a_shelf_code_is_no_box_label(text: str, yes: bool) -> None:
    assert is_gs1(text) is yes


def _random_label(rng: random.Random) -> tuple[str, str]:
    """Return an element string as a scanner sends it, with its announcement, and its GTIN."""
    digits = "".join(rng.choice("0123456789") for _ in range(13))
    gtin = next(digits + end for end in "0123456789" if has_check_digit(digits + end))
    day = date(2026, 1, 1) + timedelta(days=rng.randrange(700))
    parts = [f"01{gtin}", f"310{rng.randrange(6)}{rng.randrange(1, 10**6):06d}",
             f"{rng.choice(['11', '13', '15', '17'])}{day:%y%m%d}"]  # fmt: skip
    chars = "ABCabc0123456789-/.+*"
    free = [f"{ai}{''.join(rng.choice(chars) for _ in range(rng.randint(1, 20)))}"
            for ai in rng.sample(["10", "21"], rng.randint(1, 2))]  # fmt: skip
    return "]C1" + "".join(parts) + "\x1d".join(free), gtin


def test_another_reader_finds_the_same_in_2000_labels() -> None:
    gs1 = pytest.importorskip("biip.gs1_messages")
    rng = random.Random(5)
    for _ in range(2000):
        text, gtin = _random_label(rng)
        ours, theirs = parse_gs1(text, 2026), gs1.GS1Message.parse(text[3:])
        said = {one.ai.ai: one for one in theirs.element_strings}
        assert ours.gtin == gtin == said["01"].value
        for ai, value in (("10", ours.lot), ("21", ours.serial)):
            assert value == (said[ai].value if ai in said else None)
        for ai, day in (("11", ours.made), ("13", ours.packed), ("15", ours.best_before),
                        ("17", ours.use_by)):  # fmt: skip
            assert day == (said[ai].date if ai in said else None)
        (weight,) = (one for ai, one in said.items() if ai.startswith("310"))
        assert ours.net_mg == round(weight.decimal * 1_000_000)
