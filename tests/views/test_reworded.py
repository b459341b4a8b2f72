"""What a verdict says, in the unit and at the time of the place."""

from __future__ import annotations

from datetime import datetime, timedelta, timezone

from pitlogger.views.shown import reworded

ZONE = timezone(timedelta(hours=-5))
TEXT = (
    "below 135 F from 2026-09-21T22:01:36Z, lowest core 133.0 F; food-code-165f; "
    "b1/core: no reading till 2026-09-21T22:49:54.727Z"
)


def local(t_ms: int) -> datetime:
    return datetime.fromtimestamp(t_ms / 1000, ZONE)


def test_times_are_of_the_place_with_their_offset() -> None:
    assert reworded(TEXT, "F", local) == (
        "below 135 F from 2026-09-21 17:01 -05:00, lowest core 133.0 F; food-code-165f; "
        "b1/core: no reading till 2026-09-21 17:49 -05:00"
    )


def test_temperatures_are_in_the_unit_of_the_kitchen() -> None:
    said = reworded(TEXT, "C", local)
    assert "below 57.2 C from" in said
    assert "lowest core 56.1 C" in said
    assert " F" not in said
    assert "food-code-165f" in said


def test_nothing_else_is_touched() -> None:
    for text in ("FDA Food Code 3-501.16(A)(1)", "9 CFR 417.5", "b1 Fat 12 %", ""):
        assert reworded(text, "C", local) == text
