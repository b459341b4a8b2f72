"""Sheets and messages in the pseudo-locale: every word on paper comes from the catalogue."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from datetime import UTC, datetime

import pytest

from pitlogger.model.alerts import Priority
from pitlogger.notify.alert_status import UnansweredAlert
from pitlogger.notify.message import compose
from pitlogger.reports.cook_record import CookRecord
from pitlogger.reports.cook_report import cook_report
from pitlogger.reports.food_log import food_log
from pitlogger.reports.html import html
from pitlogger.reports.label import Label, label_sheet
from pitlogger.reports.sheet import Sheet
from pitlogger.reports.take_along import take_along
from pitlogger.views.language import speaking
from pitlogger.views.template import accented
from tests.views.pseudo import ACCENTED, untranslated

# The same in every language: names that people gave, citations, the policy's id.
UNITS = {"lb", "oz", "min", "kg"}
KNOWN = {"pitlogger", "harvest supper", "alert(1)", "script", "brisket", "retail-food-code", "UTC"}


@pytest.fixture(autouse=True)
def pseudo() -> Iterator[None]:
    with speaking("en-XA"):
        yield


@pytest.mark.parametrize("make", [cook_report, food_log, take_along])
def test_what_a_sheet_says_of_itself_comes_from_the_catalogue(
    record: CookRecord, make: Callable[[CookRecord], Sheet]
) -> None:
    text = html(make(record))
    assert '<html lang="en-XA">' in text
    assert accented("Doubtful food is thrown away.") in text
    ids = [entry.id for entry in record.entries]
    own = repr((record.entries, ids, record.verdicts, record.logged, record.policy))
    left = [one for one in untranslated(text, KNOWN) if not _is_of(own, one)]
    assert left == []


def _is_of(own: str, text: str) -> bool:
    """Return whether a text is the record's own: typed by people, judged, or cited."""
    plain = re.findall(r"[A-Za-z][A-Za-z-]+", text)
    return all(ACCENTED.search(word) or word in own or word in UNITS for word in plain)


def test_a_label_comes_from_the_catalogue() -> None:
    packed = datetime(2026, 9, 19, 18, 0, tzinfo=UTC)
    label = Label("B", "cold", packed, packed, mass="1 lb", ingredients=("beef",))
    assert untranslated(html(label_sheet(label)), {"beef", "Net"}) == []


def test_a_message_comes_from_the_catalogue() -> None:
    standing = UnansweredAlert(
        "hot-hold-low/a", "hot-hold-low", Priority.HIGH, True, 0, 0, "a", "Reheat it or discard it."
    )
    message = compose("raised", [standing], 25 * 60_000, 0, UTC)
    assert message.title == accented("ALARM: {what}").format(what=f"{accented('hold too cold')}, a")
    assert untranslated(message.text.replace("Reheat it or discard it.", ""), {"min"}) == []


def test_numbers_are_those_of_the_language(record: CookRecord) -> None:
    text = html(cook_report(record))
    assert "27 lb 1,9 oz" in text
    assert "27 lb 1.9 oz" not in text
