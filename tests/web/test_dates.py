"""Dates as the phone writes them. Source: Unicode CLDR, skeletons MMMEd and yMMMEd, by Babel."""

from __future__ import annotations

import re
from datetime import UTC, datetime

import pytest

from pitlogger.views.language import date, day, locale_of, readers_locale
from tests.planning.test_job import JOB
from tests.web.conftest import Node

SATURDAY = datetime(2027, 6, 19, 16, 30, tzinfo=UTC)


@pytest.mark.parametrize(
    ("header", "short", "long"),
    [
        ("", "Sat 19 Jun", "Sat 19 Jun 2027"),
        ("en-GB,en;q=0.9", "Sat 19 Jun", "Sat 19 Jun 2027"),
        ("en-US,en;q=0.9", "Sat, Jun 19", "Sat, Jun 19, 2027"),
        ("de-AT,de;q=0.9", "Sa., 19. Juni", "Sa., 19. Juni 2027"),
        ("fr-FR", "sam. 19 juin", "sam. 19 juin 2027"),
        ("ja", "6月19日(土)", "2027年6月19日(土)"),
        ("x-nowhere", "Sat 19 Jun", "Sat 19 Jun 2027"),
    ],
)
def test_a_day_is_written_as_its_reader_does(header: str, short: str, long: str) -> None:
    token = readers_locale.set(locale_of(header))
    try:
        assert (date(SATURDAY), date(SATURDAY, with_year=True)) == (short, long)
        assert day(SATURDAY) in {"Sat", "Sa.", "sam.", "土"}
    finally:
        readers_locale.reset(token)


async def test_a_job_goes_into_the_calendar_and_its_times_are_the_phones(node: Node) -> None:
    made = await node.local.post("/api/v1/jobs/orchard-wedding", json={"text": JOB})
    assert made.status_code == 200, made.text
    headers = node.cookie() | {"Accept": "text/html", "Accept-Language": "de"}
    page = (await node.network.get("/job/orchard-wedding", headers=headers)).text
    assert re.search(r"Sa\., 19\. Juni \d\d:\d\d", page)
    assert 'href="/job/orchard-wedding/calendar"' in page
    kept = await node.network.get("/job/orchard-wedding/calendar", headers=headers)
    assert kept.headers["content-type"].startswith("text/calendar")
    assert kept.text.count("BEGIN:VEVENT") == page.count('<tr><th scope="row"><time')
    assert "SUMMARY:" in kept.text


async def test_a_job_without_an_hour_has_no_calendar(node: Node) -> None:
    text = "\n".join(line for line in JOB.splitlines() if not line.startswith("serve_at"))
    made = await node.local.post("/api/v1/jobs/some-day", json={"text": text})
    assert made.status_code == 200, made.text
    answer = await node.network.get("/job/some-day/calendar", headers=node.cookie())
    assert answer.status_code == 422
