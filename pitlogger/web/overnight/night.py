"""Before turning in: is all in order, what is expected till morning, what will wake whom?

One answer for the Turn in screen, ``pitlogger night`` and the API.
"""

from __future__ import annotations

from dataclasses import asdict
from datetime import timedelta

from fastapi import APIRouter

from pitlogger.clock import rfc3339
from pitlogger.model.alerts import AlertState
from pitlogger.model.journal import ForecastMade
from pitlogger.model.quantities import Quantity
from pitlogger.model.readings import Site
from pitlogger.rules.conditions import Limit
from pitlogger.views import words
from pitlogger.views.alerts import AlertView, alerts
from pitlogger.views.forecasts import SpanView
from pitlogger.views.language import mark, tr
from pitlogger.views.node import Node
from pitlogger.views.shown import Shown
from pitlogger.views.status import AnyChannel, channel_view, is_running, sentence
from pitlogger.views.view import Moment, View, moment
from pitlogger.web.overnight.night_checks import checks
from pitlogger.web.requests import Ask
from pitlogger.web.routes.ring_test import RingTest, RungView

MORNING_H = 7  # o'clock, where the node stands
# The prompt that a forecast is about.
_PROMPT = {"wrap": "wrap-due", "pull": "pull-due", "rest": "rest-done"}
_INSTRUMENTS = {
    "channel-stale": mark("a probe that falls silent"),
    "probe-fault": mark("a probe that fails"),
    "device-lost": mark("a device that is lost"),
    "store-failing": mark("a disk that cannot be written"),
}


class CheckView(View):
    """One thing looked at; ``remedy`` says what to do where it is not good."""

    good: bool
    text: str
    remedy: str


class ExpectedView(SpanView):
    """A target that lies ahead, and whether its prompt may wake somebody."""

    piece: str
    target: str
    till_morning: bool
    wakes: bool


class NightView(View):
    """All facts of the bedtime check.

    Attributes:
        will_wake: Kinds of alerts that may wake somebody; ``wakes_at`` says where they lie.
        heartbeat_s: How often a silent message says that all is well, ``None`` without one.
    """

    sentence: str
    checks: tuple[CheckView, ...]
    batteries: tuple[AnyChannel, ...]
    oldest_s: float
    never_heard: tuple[str, ...]
    morning: Moment
    expected: tuple[ExpectedView, ...]
    will_wake: tuple[str, ...]
    wakes_at: tuple[str, ...]
    standing: tuple[AlertView, ...]
    store: str | None
    ring_test: RungView | None
    heartbeat_s: float | None


def make_night_api(daemon: Node, ring: RingTest) -> APIRouter:
    """Return the routes of the night."""
    api = APIRouter(prefix="/api/v1")

    @api.get("/night", summary="Before turning in: what is expected and what will wake you")
    async def night() -> NightView:
        return night_facts(daemon, ring)

    @api.post("/ring-tests", summary="Ring by every way of being told; answers when all have")
    async def begin(ask: Ask) -> RungView | None:
        ring.begin()
        await ring.finished()
        return ring.view()

    @api.post("/ring-tests/heard", summary="Say that the ring test was heard")
    async def heard(ask: Ask) -> RungView | None:
        await ring.heard(ask.by)
        return ring.view()

    return api


def night_facts(daemon: Node, ring: RingTest) -> NightView:
    """Return all facts of the bedtime check."""
    now_ms = daemon.clock.engine_ms()
    shown = Shown(daemon.units, now_ms, daemon.utc_offset_ms)
    channels = [channel_view(daemon, lane, now_ms) for lane in daemon.engine.lanes.values()]
    ends_ms = morning_ms(shown)
    notify = daemon.config.notify
    return NightView(
        sentence=sentence(daemon, now_ms),
        checks=tuple(CheckView(**asdict(check)) for check in checks(daemon, shown, ring)),
        batteries=tuple(row for row in channels if row.quantity is Quantity.BATTERY),
        oldest_s=max((row.age_s or 0.0 for row in channels), default=0.0),
        never_heard=tuple(
            row.channel for row in channels if row.site is not Site.NONE and row.age_s is None
        ),
        morning=rfc3339(ends_ms + daemon.utc_offset_ms),
        expected=tuple(_expected(daemon, made, ends_ms) for made in expected(daemon)),
        will_wake=tuple(sorted({limit.rule.kind for limit in waking(daemon)} | set(_INSTRUMENTS))),
        wakes_at=tuple(wakes_at(daemon, shown)),
        standing=tuple(alerts(daemon)),
        store=None if daemon.trouble is None else daemon.trouble.message,
        ring_test=ring.view(),
        heartbeat_s=notify.heartbeat_s if notify.heartbeat_url is not None else None,
    )


def morning_ms(shown: Shown) -> int:
    """Return the engine time of the next morning."""
    now = shown.moment(shown.now_ms)
    wall = now.replace(tzinfo=None)
    at = wall.replace(hour=MORNING_H, minute=0, second=0, microsecond=0)
    if at <= wall:
        at += timedelta(days=1)
    # Through wall time: a night in which the clocks are put back is an hour longer.
    return shown.now_ms + round((at.astimezone() - now).total_seconds() * 1000)


def expected(daemon: Node) -> list[ForecastMade]:
    """Return what is foreseen of each piece that is followed, the soonest first."""
    if not is_running(daemon):
        return []
    found = [
        made
        for made in daemon.engine.state.foreseen.values()
        if (held := daemon.engine.book.pieces.get(made.piece)) is not None and held.is_open
    ]
    return sorted(found, key=lambda made: (made.p50_ms is None, made.p50_ms or 0))


def _expected(daemon: Node, made: ForecastMade, ends_ms: int) -> ExpectedView:
    offset_ms = daemon.utc_offset_ms
    return ExpectedView(
        piece=made.piece,
        target=made.target,
        p10=moment(made.p10_ms, offset_ms),
        p50=moment(made.p50_ms, offset_ms),
        p90=moment(made.p90_ms, offset_ms),
        p_reach=made.p_reach,
        till_morning=comes_till(made, ends_ms),
        wakes=wakes(daemon, made),
    )


def comes_till(made: ForecastMade, ends_ms: int) -> bool:
    """Return whether it may come before a time: one chance in ten is enough."""
    first_ms = made.p10_ms if made.p10_ms is not None else made.p50_ms
    return first_ms is not None and first_ms <= ends_ms


def wakes(daemon: Node, made: ForecastMade) -> bool:
    """Return whether the prompt that it is about may wake somebody."""
    return daemon.policy.rules[_PROMPT[made.target]].wakes


def waking(daemon: Node) -> list[Limit]:
    """Return the limits in force that may wake somebody and are not muted."""
    watches = daemon.engine.state.watches
    return [
        limit
        for limit in daemon.engine.compiled.limits()
        if limit.rule.wakes and watches[limit.key].state is not AlertState.SHELVED
    ]


def wakes_at(daemon: Node, shown: Shown) -> list[str]:
    """Return what will wake somebody, each with where its limit lies."""
    lines = [_limit_words(limit, shown) for limit in waking(daemon)]
    lines += [tr(text) for kind, text in _INSTRUMENTS.items() if daemon.policy.rules[kind].wakes]
    return list(dict.fromkeys(lines))


def _limit_words(limit: Limit, shown: Shown) -> str:
    fields = {"what": words.alert(limit.rule.kind), "subject": limit.piece or limit.channel or "",
              "value": shown.temperature(limit.limit)}  # fmt: skip
    if limit.side > 0:
        return tr("{what}: {subject} at {value}", **fields)
    return tr("{what}: {subject} below {value}", **fields)
