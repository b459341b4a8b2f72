"""A heads-up before a likely wrap or pull; the tenderness index beside a prompt."""

import pytest

from pitlogger.engine.inputs import ForecastResult
from pitlogger.model.cooks import Piece, Stage
from pitlogger.model.journal import AlertChanged, ForecastMade
from pitlogger.rules.tenderness import (
    TENDER_FROM,
    has_index,
    index_range,
    index_words,
    softened,
    tender_in_s,
)

from .conftest import COOK, Kitchen
from .test_rules import minutes, ramp, states

MINUTE_MS = 60_000


def foresee(kitchen: Kitchen, minutes_ahead: float, target: str = "wrap") -> None:
    at_ms = kitchen.t_ms + round(minutes_ahead * MINUTE_MS)
    made = ForecastMade("brisket-1", target, 1.0, False, kitchen.t_ms, at_ms, at_ms, at_ms)  # type: ignore[arg-type]
    kitchen.feed(ForecastResult(kitchen.t_ms, made))


def heads_up(kitchen: Kitchen) -> list[str]:
    return [
        f"{entry.body.now}: {entry.body.message}"
        for entry in kitchen.entries()
        if isinstance(entry.body, AlertChanged) and entry.body.alert == "check-due/brisket-1@wrap"
    ]


def test_half_an_hour_before_a_likely_wrap_it_is_told_once(kitchen: Kitchen) -> None:
    kitchen.stage(Stage.SMOKING)
    minutes(kitchen, 150, 2, "brisket-1/core")
    foresee(kitchen, 50)
    minutes(kitchen, 150, 15, "brisket-1/core")
    assert heads_up(kitchen) == []
    minutes(kitchen, 155, 10, "brisket-1/core")
    foresee(kitchen, 45)  # later again: what was told stays told
    minutes(kitchen, 155, 10, "brisket-1/core")
    assert heads_up(kitchen) == ["unacknowledged: brisket-1: likely to wrap in about 29 min"]
    minutes(kitchen, 166, 3, "brisket-1/core")
    assert heads_up(kitchen)[-1].startswith("normal")
    assert states(kitchen, "wrap-due") == ["unacknowledged"]


def test_a_wrap_that_is_done_is_announced_no_longer(kitchen: Kitchen) -> None:
    kitchen.stage(Stage.SMOKING)
    minutes(kitchen, 150, 2, "brisket-1/core")
    foresee(kitchen, 25)
    minutes(kitchen, 155, 5, "brisket-1/core")
    kitchen.stage(Stage.WRAPPED)
    minutes(kitchen, 155, 5, "brisket-1/core")
    assert heads_up(kitchen)[0].startswith("unacknowledged")
    assert heads_up(kitchen)[-1].startswith("normal")


def test_a_piece_that_is_left_bare_is_not_announced() -> None:
    kitchen = Kitchen(COOK.replace('wrap_at = "165F"', 'wrap_at = "never"'))
    kitchen.stage(Stage.SMOKING)
    minutes(kitchen, 150, 2, "brisket-1/core")
    foresee(kitchen, 20)
    minutes(kitchen, 150, 10, "brisket-1/core")
    assert heads_up(kitchen) == []


def test_the_tenderness_index_stands_beside_the_pull(kitchen: Kitchen) -> None:
    kitchen.stage(Stage.WRAPPED)
    ramp(kitchen, 190, 204, 1.5, "brisket-1/core")
    (pull,) = [
        entry.body.message
        for entry in kitchen.entries()
        if isinstance(entry.body, AlertChanged) and entry.body.alert_kind == "pull-due"
    ]
    assert "tenderness index 0.35 to 0.57 (tender from about 0.75, at this core in " in pull
    assert "the probe decides" in pull


def test_the_index_is_half_after_the_hours_it_is_known_by() -> None:
    """From memory: half in 1.2 h at 95 C, in 14 h at 68 C."""
    assert softened(0.0, 95_000, 1.2 * 3600) == pytest.approx(0.5, abs=0.02)
    assert softened(0.0, 68_000, 14 * 3600) == pytest.approx(0.5, abs=0.02)
    assert softened(0.3, 20_000, 86_400) == 0.3


@pytest.mark.parametrize("share", [0.0, 0.3, 0.6])
def test_a_piece_is_tender_when_its_index_comes_there(share: float) -> None:
    """The two ends of what is told are those of a fast and of a slow softening."""
    soon_s, late_s = tender_in_s(share, 93_000)
    assert index_range(softened(share, 93_000, soon_s))[1] == pytest.approx(TENDER_FROM)
    assert index_range(softened(share, 93_000, late_s))[0] == pytest.approx(TENDER_FROM)
    assert soon_s < late_s
    assert tender_in_s(0.95, 93_000) == (0.0, 0.0)


def test_a_core_that_softens_hardly_is_given_no_time() -> None:
    assert "at this core" not in index_words(0.1, 65_000)
    assert "at this core within" in index_words(0.7, 93_000)
    assert "at this core" not in index_words(0.97, 93_000)


def test_no_index_is_told_of_what_is_not_cooked_soft() -> None:
    assert has_index(Piece("p", "pork-butt"))
    assert not has_index(Piece("p", "chicken-thigh"))
    assert not has_index(Piece("p", "tri-tip"))


def test_a_probe_that_was_taken_out_counts_as_read_until_then(kitchen: Kitchen) -> None:
    from pitlogger.model.cooks import Channel
    from pitlogger.model.journal import ChannelAssigned
    from pitlogger.model.readings import Site

    kitchen.stage(Stage.HOLDING)
    minutes(kitchen, 160, 90, "brisket-1/core")
    for channel in ("brisket-1/core", "brisket-1/point"):
        kitchen.say(ChannelAssigned(Channel(channel, Site.NONE)))
    kitchen.wait(50 * 60)
    assert states(kitchen, "check-due") == []
    kitchen.wait(12 * 60)
    assert states(kitchen, "check-due") == ["unacknowledged"]


def test_food_that_cools_unread_is_asked_about_after_an_hour(kitchen: Kitchen) -> None:
    kitchen.stage(Stage.COOLING)
    kitchen.wait(55 * 60)
    assert states(kitchen, "check-due") == []
    kitchen.wait(10 * 60)
    assert states(kitchen, "check-due") == ["unacknowledged"]
