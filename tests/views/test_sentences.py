"""Sentences made in English elsewhere are said in the language spoken; names stay as given."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from pitlogger.views.language import speaking
from pitlogger.views.sentences import sentences, told
from tests.views.pseudo import untranslated

# As the core makes them: alerts, remedies, reasons of the food log, notes of a plan, refusals.
MADE = [
    "pit-2: falling, under 210 F in 8 min",
    "pit: lid open",
    "brisket-1: likely to wrap in about 29 min",
    "158 F, reached for an instant, shown by readings at least 15 s apart: limit met",
    "coldest core 3 h 32 min between 50 F and 130 F, guideline 6 h: a warning, never a verdict",
    "below 135 F from 21:35, 25 min in all, lowest core 119.6 F",
    "74 % likely to do for 120 guests at 4 oz each, about 13.8 oz of served meat short",
    "What still helps, each by itself: more sides, put out first (94 %); portions 10 % smaller.",
    "Tenderness index 0.39 to 0.62 (tender from about 0.75; the probe decides).",
    "wrap in foil now: brings it forward by 11 min (likely 3 min to 21 min)",
    "not cooled: no cooling stage was set",
    "Check with a calibrated probe, move the food to a colder place, write down what was done.",
    "Unknown piece 'brisket-9'; known: brisket-1.",
]
NAMES = {"piece", "pit", "brisket", "lb", "oz", "min"}


@pytest.fixture(autouse=True)
def pseudo() -> Iterator[None]:
    with speaking("en-XA"):
        yield


@pytest.mark.parametrize("text", MADE)
def test_a_sentence_of_the_core_is_said_with_its_figures(text: str) -> None:
    said = told(text)
    assert untranslated(f"<p>{said}</p>", NAMES) == []
    figures = [one for one in text.split() if one[0].isdigit()]
    assert all(one.strip("(),.;") in said for one in figures)


@pytest.mark.parametrize(
    "name", ["pit", "harvest wedding", "brisket-1", "45 min", "", "third pan 1"]
)
def test_a_name_stays_as_it_was_given(name: str) -> None:
    assert told(name) == name


def test_english_stays_english() -> None:
    with speaking("en"):
        assert [told(text) for text in MADE] == MADE


def test_what_no_person_reads_is_no_sentence() -> None:
    source = b'''"""Of a module."""
def f(name, at):
    """Of a function."""
    log.warning("this is for the log of %s", name)
    tr("this is marked already")
    raise Fault(f"{name}: nothing came since {clock(at)}")
'''
    assert [text for _, text in sentences(source)] == ["{name}: nothing came since {clock}"]
