"""Times of the page's forms where clocks change, against ``zoneinfo``: asked, refused, or taken."""

from __future__ import annotations

import time
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from pitlogger.errors import UsageError
from pitlogger.questions import QuestionError
from pitlogger.web.page.typed import with_offset

from .conftest import Node
from .test_written_page import cooked, do, entry_of, page

ZONE = "America/Chicago"


@pytest.fixture(autouse=True)
def chicago(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    monkeypatch.setenv("TZ", ZONE)
    time.tzset()
    yield
    monkeypatch.undo()
    time.tzset()


def test_the_hour_that_comes_twice_is_asked_with_both_offsets() -> None:
    with pytest.raises(QuestionError) as asked:
        with_offset({"at": "2026-11-01T01:30"})
    assert asked.value.asked.options == (
        "Sun 2026-11-01 01:30 -05:00", "Sun 2026-11-01 01:30 -06:00",
    )  # fmt: skip
    for option in asked.value.asked.options:
        form = with_offset({"at": "2026-11-01T01:30", "confirm": option})
        assert form["at"] == f"2026-11-01T01:30:00{option[-6:]}"


def test_the_hour_that_does_not_come_in_spring_is_refused() -> None:
    with pytest.raises(UsageError, match="went forward"):
        with_offset({"at": "2026-03-08T02:30"})


@pytest.mark.parametrize("day", ["2026-03-08", "2026-11-01"])
def test_every_half_hour_of_both_days_is_as_the_zone_says(day: str) -> None:
    zone = ZoneInfo(ZONE)
    begun = datetime.fromisoformat(day)
    for halves in range(48):
        naive = begun + timedelta(minutes=30 * halves)
        both = {naive.replace(tzinfo=zone, fold=fold).astimezone(UTC) for fold in (0, 1)}
        real = {one for one in both if one.astimezone(zone).replace(tzinfo=None) == naive}
        form = {"at": naive.isoformat(timespec="minutes")}
        if len(real) == 1:
            assert datetime.fromisoformat(with_offset(form)["at"]) in real
        else:
            with pytest.raises(QuestionError if real else UsageError):
                with_offset(form)


async def test_a_correction_asks_which_hour_and_writes_nothing_until_told(node: Node) -> None:
    cook = await cooked(node)
    entry = entry_of(await page(node, f"/cooks/{cook}"), "brisket-1: 7 lb 15 oz, carved")
    given = {"entry": entry, "at": "2020-11-01T01:30", "reason": "the clock in the kitchen"}
    asked = (await do(node, "correct", 409, **given)).json()
    assert asked["options"] == ["Sun 2020-11-01 01:30 -05:00", "Sun 2020-11-01 01:30 -06:00"]
    assert "corrected" not in await page(node, f"/cooks/{cook}")
