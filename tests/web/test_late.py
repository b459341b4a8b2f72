"""What a phone tapped while the node was out of reach: kept with its time, or refused."""

from __future__ import annotations

import httpx
import pytest

from pitlogger.errors import UsageError
from pitlogger.model.journal import CookStarted, SpotRead, Tared, Weighed
from pitlogger.model.readings import Reading
from pitlogger.web.page.late import late_s
from tests.web.conftest import Node

HOURS_3_S = 10_800.0
DAY_S = 86_400.0


async def _do(node: Node, action: str, given: dict[str, str], late: float = 0.0) -> httpx.Response:
    tapped_ms = node.clock.utc_ms() - late * 1000
    fields = given | {"late_s": f"{late:.1f}", "tapped_ms": f"{tapped_ms:.0f}"}
    headers = node.cookie() | {"Accept": "application/json"}
    return await node.network.post(f"/do/{action}", data=fields, headers=headers)


def _load(node: Node, grams: float, seconds: int) -> None:
    """Lay something on the scale and leave it there."""
    for _ in range(seconds):
        node.clock.advance(1000)
        node.daemon.feed(Reading("bench-scale", node.clock.engine_ms(), round(grams * 1000)))


def _last(node: Node, kind: type) -> object:
    return [e.body for e in node.daemon.engine.state.entries if isinstance(e.body, kind)][-1]


WEIGH = {"piece": "brisket-1", "checkpoint": "purchased", "channel": "bench-scale"}


async def test_a_load_that_nobody_read_is_not_the_one_that_lies_there_now(node: Node) -> None:
    await node.begin()
    _load(node, 5200.0, 20)
    node.clock.advance(round(HOURS_3_S * 1000))
    _load(node, 900.0, 20)
    for action, fields in (("weigh", WEIGH), ("tare", {"channel": "bench-scale"}),
                           ("loose", {"channel": "bench-scale"})):  # fmt: skip
        answer = await _do(node, action, fields, HOURS_3_S)
        assert answer.status_code == 409, action
        assert "another load may lie there now" in answer.json()["error"]
    bodies = [e.body for e in node.daemon.engine.state.entries]
    assert not any(isinstance(body, Weighed | Tared) for body in bodies)


async def test_the_same_load_still_on_the_scale_is_kept_with_the_time_of_the_tap(
    node: Node,
) -> None:
    await node.begin()
    _load(node, 5200.0, 60)
    answer = await _do(node, "weigh", WEIGH, 30.0)
    assert answer.status_code == 200, answer.text
    kept = _last(node, Weighed)
    assert isinstance(kept, Weighed)
    assert kept.gross_mg == 5_200_000
    assert abs(node.clock.engine_ms() - kept.at_ms - 30_000) < 1000


async def test_a_typed_mass_and_a_reading_by_hand_keep_the_time_of_the_tap(node: Node) -> None:
    await node.begin()
    node.clock.advance(round(2 * HOURS_3_S * 1000))
    typed = {"piece": "brisket-1", "checkpoint": "purchased", "mass": "11 lb"}
    for action, fields in (("weigh", typed), ("temp", {"piece": "brisket-1", "value": "41"})):
        answer = await _do(node, action, fields, HOURS_3_S)
        assert answer.status_code == 200, answer.text
    for kind in (Weighed, SpotRead):
        body = _last(node, kind)
        assert isinstance(body, Weighed | SpotRead)
        assert abs(node.clock.engine_ms() - body.at_ms - HOURS_3_S * 1000) < 1000


async def test_an_alarm_that_came_anew_is_not_silenced_by_an_old_tap(node: Node) -> None:
    await node.begin()
    node.daemon.feed(Reading("pit", node.clock.engine_ms(), 110_000))
    node.clock.advance(1_200_000)
    node.daemon.tick(node.clock.engine_ms())
    alert = next(k for k, w in node.daemon.engine.state.watches.items() if w.holds)
    old = await _do(node, "acknowledge", {"alert": alert}, HOURS_3_S)
    assert old.status_code == 409
    assert "come anew" in old.json()["error"]
    many = await _do(node, "acknowledge-all", {"alert.0": alert}, HOURS_3_S)
    assert many.status_code == 409
    fresh = await _do(node, "acknowledge", {"alert": alert})
    assert fresh.status_code == 200, fresh.text


async def test_muting_lasts_until_the_time_that_was_meant(node: Node) -> None:
    await node.begin()
    node.daemon.feed(Reading("pit", node.clock.engine_ms(), 110_000))
    node.clock.advance(1_200_000)
    node.daemon.tick(node.clock.engine_ms())
    alert = next(k for k, w in node.daemon.engine.state.watches.items() if w.holds)
    mute = {"alert": alert, "reason": "ash", "minutes": "30"}
    node.clock.advance(600_000)
    made = await _do(node, "shelve", mute, 300.0)
    assert made.status_code == 200, made.text
    until_ms = node.daemon.engine.state.watches[alert].until_ms
    assert until_ms is not None
    assert abs(until_ms - node.clock.engine_ms() - 25 * 60_000) < 1000
    node.clock.advance(round(HOURS_3_S * 1000))
    over = await _do(node, "shelve", mute, 2_000.0)
    assert over.status_code == 409
    assert "over" in over.json()["error"]


async def test_a_cook_begun_out_of_reach_began_when_it_was_tapped(node: Node) -> None:
    node.clock.advance(round(2 * HOURS_3_S * 1000))
    form = {"name": "supper", "cut-1": "brisket-packer", "count-1": "1"}
    answer = await _do(node, "begin", form, 1_800.0)
    assert answer.status_code == 200, answer.text
    begun = _last(node, CookStarted)
    assert isinstance(begun, CookStarted)
    assert begun.at_ms is not None
    assert abs(node.clock.utc_ms() - begun.at_ms - 1_800_000) < 1000


async def test_what_was_done_and_its_answer_lost_is_not_refused_later(node: Node) -> None:
    await node.begin()
    _load(node, 5200.0, 20)
    once = WEIGH | {"key": "one-tap"}
    first = await _do(node, "weigh", once)
    _load(node, 900.0, 20)
    again = await _do(node, "weigh", once, 20.0)
    assert (first.status_code, again.status_code) == (200, 200)
    assert (again.json()["run"], again.json()["seq"]) == (first.json()["run"], first.json()["seq"])


@pytest.mark.parametrize(
    ("by_date_s", "counted_s", "passed_s"),
    [
        (1.0, 1.0, 1.0),
        (HOURS_3_S, HOURS_3_S, HOURS_3_S),
        (600.0, HOURS_3_S, 600.0),  # it slept before the tap: the page counted too little
        (DAY_S + 60.0, 60.0, 60.0),  # its date was put a day ahead meanwhile
        (60.0 - DAY_S, 60.0, 60.0),  # or a day back
        (120.0, -DAY_S, 120.0),  # the node's own clock was put back
        (float("nan"), 90.0, 90.0),
    ],
)
def test_of_two_measures_the_credible_one_is_taken(
    by_date_s: float, counted_s: float, passed_s: float
) -> None:
    utc_ms = 1_790_000_000_000
    form = {"late_s": str(by_date_s), "tapped_ms": str(utc_ms - counted_s * 1000)}
    assert late_s(form, utc_ms) == pytest.approx(passed_s)


@pytest.mark.parametrize("text", ["", "soon", "inf", "1e9"])
def test_nonsense_about_lateness_is_refused(text: str) -> None:
    with pytest.raises(UsageError):
        late_s({"late_s": text, "tapped_ms": text}, 1_790_000_000_000)
