"""Written moments: what a bare clock time means in its cook; daylight saving against zoneinfo."""

from __future__ import annotations

import random
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from pitlogger.errors import QuantityError
from pitlogger.formats.moments import TimeRange, full_local, moments

CHICAGO, BERLIN = ZoneInfo("America/Chicago"), ZoneInfo("Europe/Berlin")


def at(text: str, zone: ZoneInfo = CHICAGO, fold: int = 0) -> datetime:
    return datetime.fromisoformat(text).replace(tzinfo=zone, fold=fold)


NIGHT = TimeRange(at("2026-09-18 21:00"), at("2026-09-19 09:00"))


@pytest.mark.parametrize(
    ("text", "meant"),
    [
        ("now", "2026-09-19 09:00"),
        ("10 min ago", "2026-09-19 08:50"),
        ("1 h 30 min ago", "2026-09-19 07:30"),
        ("22:15", "2026-09-18 22:15"),
        ("10:15 pm", "2026-09-18 22:15"),
        ("4:10", "2026-09-19 04:10"),
        ("4 am", "2026-09-19 04:00"),
        ("12 am", "2026-09-19 00:00"),
        ("20:00", "2026-09-18 20:00"),  # before the cook: the last one
        ("yesterday 20:00", "2026-09-18 20:00"),
        ("Friday 20:00", "2026-09-18 20:00"),
        ("today 07:00", "2026-09-19 07:00"),
        ("2026-09-17 18:30", "2026-09-17 18:30"),
        ("2026-09-17T18:30:00-05:00", "2026-09-17 18:30"),
    ],
)
def test_what_is_meant(text: str, meant: str) -> None:
    assert moments(text, NIGHT, CHICAGO) == (at(meant),)


@pytest.mark.parametrize(
    "text", ["", "noon", "25:00", "13 pm", "9", "14:65", "2026-13-01 10:00", "-1 h ago"]
)
def test_other_texts_are_no_time(text: str) -> None:
    with pytest.raises(QuantityError) as caught:
        moments(text, NIGHT, CHICAGO)
    assert "\n" not in str(caught.value)


def test_a_clock_time_of_a_long_cook_that_fits_twice_is_both() -> None:
    two_nights = TimeRange(at("2026-09-17 20:00"), at("2026-09-19 09:00"))
    assert set(moments("04:00", two_nights, CHICAGO)) == {
        at("2026-09-18 04:00"),
        at("2026-09-19 04:00"),
    }


@pytest.mark.parametrize(
    ("zone", "day", "clock"), [(CHICAGO, "2026-11-01", "01:30"), (BERLIN, "2026-10-25", "02:30")]
)
def test_the_hour_that_comes_twice_is_both_with_their_offsets(
    zone: ZoneInfo, day: str, clock: str
) -> None:
    noon = at(f"{day} 12:00", zone)
    found = moments(clock, TimeRange(noon - timedelta(hours=16), noon), zone)
    wanted = {at(f"{day} {clock}", zone, fold).astimezone(UTC) for fold in (0, 1)}
    assert {one.astimezone(UTC) for one in found} == wanted
    assert len({full_local(one, zone) for one in found}) == 2


@pytest.mark.parametrize(
    ("zone", "text"), [(CHICAGO, "2026-03-08 02:30"), (BERLIN, "2026-03-29 02:30")]
)
def test_an_hour_that_a_clock_skips_is_refused(zone: ZoneInfo, text: str) -> None:
    noon = at(f"{text[:10]} 12:00", zone)
    with pytest.raises(QuantityError, match="went forward"):
        moments(text, TimeRange(None, noon), zone)


def test_any_local_time_of_a_year_reads_back_as_zoneinfo_has_it() -> None:
    dice = random.Random(4)
    zones = [ZoneInfo(name) for name in
             ("America/Chicago", "Europe/Berlin", "Australia/Lord_Howe", "America/Sao_Paulo",
              "Asia/Kolkata", "Pacific/Apia")]  # fmt: skip
    for _ in range(2000):
        zone = dice.choice(zones)
        instant = datetime(2026, 1, 1, tzinfo=UTC) + timedelta(minutes=dice.randrange(525_600))
        local = instant.astimezone(zone)
        text = local.strftime("%Y-%m-%d %H:%M")
        found = moments(text, TimeRange(None, instant), zone)
        assert instant in {one.astimezone(UTC) for one in found}
        assert all(one.astimezone(zone).strftime("%Y-%m-%d %H:%M") == text for one in found)
