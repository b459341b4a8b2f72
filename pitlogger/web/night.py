"""Before turning in: is all in order, what is expected till morning, what will wake whom?

One answer for the Turn in screen, ``pitlogger night`` and the API.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass
from datetime import timedelta
from typing import Any

from fastapi import APIRouter

from pitlogger.clock import rfc3339
from pitlogger.daemon import Daemon
from pitlogger.engine.lanes import Lane
from pitlogger.model.alerts import ACTIVE, AlertState
from pitlogger.model.journal import ForecastMade
from pitlogger.model.quantities import Quantity
from pitlogger.model.readings import Site
from pitlogger.rules.conditions import Limit
from pitlogger.rules.places import BATTERY_LOW
from pitlogger.web import views
from pitlogger.web.answers import RESPONSES
from pitlogger.web.asks import Ask
from pitlogger.web.page import standing, words
from pitlogger.web.page.figures import figure
from pitlogger.web.page.shown import Shown
from pitlogger.web.ring import RingTest

MORNING_H = 7  # o'clock, where the node stands
NO_WAY = "no way of being told is configured ([notify]): only an open page sounds"
_WATCHED = (Site.PIT, Site.CORE, Site.HOLD)
# The prompt that a forecast is about.
_PROMPT = {"wrap": "wrap-due", "pull": "pull-due", "rest": "rest-done"}
_INSTRUMENTS = {
    "channel-stale": "a probe that falls silent",
    "probe-fault": "a probe that fails",
    "device-lost": "a device that is lost",
    "store-failing": "a disk that cannot be written",
}


@dataclass(frozen=True, slots=True)
class Check:
    """One thing looked at; ``remedy`` says what to do where it is not good."""

    good: bool
    text: str
    remedy: str = ""


def make_night_api(daemon: Daemon, ring: RingTest) -> APIRouter:
    """Return the routes of the night."""
    api = APIRouter(prefix="/api/v1", responses=RESPONSES)

    @api.get("/night", summary="Before turning in: what is expected and what will wake you")
    async def night() -> dict[str, Any]:
        return night_facts(daemon, ring)

    @api.post("/ring-tests", summary="Ring by every way of being told; answers when all have")
    async def begin(ask: Ask) -> dict[str, Any]:
        ring.begin()
        await ring.finished()
        return ring.document() or {}

    @api.post("/ring-tests/heard", summary="Say that the ring test was heard")
    async def heard(ask: Ask) -> dict[str, Any]:
        await ring.heard(ask.by)
        return ring.document() or {}

    return api


def night_facts(daemon: Daemon, ring: RingTest) -> dict[str, Any]:
    """Return all facts of the bedtime check."""
    now_ms = daemon.clock.engine_ms()
    shown = Shown(daemon.units, now_ms, daemon.utc_offset_ms)
    channels = [views.channel_view(daemon, lane, now_ms) for lane in daemon.engine.lanes.values()]
    ends_ms = morning_ms(shown)
    notify = daemon.config.notify
    return {
        "sentence": views.sentence(daemon, now_ms),
        "checks": [asdict(check) for check in checks(daemon, shown, ring)],
        "batteries": [row for row in channels if row["quantity"] == Quantity.BATTERY.value],
        "oldest_s": max((row["age_s"] or 0.0 for row in channels), default=0.0),
        "never_heard": [
            row["channel"] for row in channels if row["site"] != "none" and row["age_s"] is None
        ],
        "morning": rfc3339(ends_ms + daemon.utc_offset_ms),
        "expected": [_expected(daemon, made, ends_ms) for made in expected(daemon)],
        "will_wake": sorted({limit.rule.kind for limit in waking(daemon)} | set(_INSTRUMENTS)),
        "wakes_at": wakes_at(daemon, shown),
        "standing": views.alerts(daemon),
        "store": None if daemon.trouble is None else daemon.trouble.message,
        "ring_test": ring.document(),
        "heartbeat_s": notify.heartbeat_s if notify.heartbeat_url is not None else None,
    }


def morning_ms(shown: Shown) -> int:
    """Return the engine time of the next morning."""
    now = shown.moment(shown.now_ms)
    wall = now.replace(tzinfo=None)
    at = wall.replace(hour=MORNING_H, minute=0, second=0, microsecond=0)
    if at <= wall:
        at += timedelta(days=1)
    # Through wall time: a night in which the clocks are put back is an hour longer.
    return shown.now_ms + round((at.astimezone() - now).total_seconds() * 1000)


def expected(daemon: Daemon) -> list[ForecastMade]:
    """Return what is foreseen of each piece that is followed, the soonest first."""
    if not standing.is_running(daemon):
        return []
    found = [
        made
        for made in daemon.engine.state.foreseen.values()
        if (held := daemon.engine.book.pieces.get(made.piece)) is not None and held.ended_ms is None
    ]
    return sorted(found, key=lambda made: (made.p50_ms is None, made.p50_ms or 0))


def _expected(daemon: Daemon, made: ForecastMade, ends_ms: int) -> dict[str, Any]:
    return {
        "piece": made.piece,
        "target": made.target,
        "p10": _moment(daemon, made.p10_ms),
        "p50": _moment(daemon, made.p50_ms),
        "p90": _moment(daemon, made.p90_ms),
        "p_reach": made.p_reach,
        "till_morning": comes_till(made, ends_ms),
        "wakes": wakes(daemon, made),
    }


def comes_till(made: ForecastMade, ends_ms: int) -> bool:
    """Return whether it may come before a time: one chance in ten is enough."""
    first_ms = made.p10_ms if made.p10_ms is not None else made.p50_ms
    return first_ms is not None and first_ms <= ends_ms


def wakes(daemon: Daemon, made: ForecastMade) -> bool:
    """Return whether the prompt that it is about may wake somebody."""
    return daemon.policy.rules[_PROMPT[made.target]].wakes


def _moment(daemon: Daemon, t_ms: int | None) -> str | None:
    return None if t_ms is None else rfc3339(t_ms + daemon.utc_offset_ms)


def waking(daemon: Daemon) -> list[Limit]:
    """Return the limits in force that may wake somebody and are not muted."""
    watches = daemon.engine.state.watches
    quiet = (AlertState.SHELVED, AlertState.OUT_OF_SERVICE)
    return [
        limit
        for limit in daemon.engine.compiled.limits()
        if limit.rule.wakes and watches[limit.key].state not in quiet
    ]


def wakes_at(daemon: Daemon, shown: Shown) -> list[str]:
    """Return what will wake somebody, each with where its limit lies."""
    lines = [_limit_words(limit, shown) for limit in waking(daemon)]
    lines += [text for kind, text in _INSTRUMENTS.items() if daemon.policy.rules[kind].wakes]
    return list(dict.fromkeys(lines))


def _limit_words(limit: Limit, shown: Shown) -> str:
    subject = limit.piece or limit.channel or ""
    side = "at" if limit.side > 0 else "below"
    what = words.kind_label(limit.rule.kind)
    return f"{what}: {subject} {side} {shown.temperature(limit.limit)}"


# -- checks -----------------------------------------------------------------------------------


def checks(daemon: Daemon, shown: Shown, ring: RingTest) -> list[Check]:
    """Return everything looked at before somebody turns in."""
    return [
        *_probe_checks(daemon, shown),
        *_battery_checks(daemon, shown),
        *_alarm_checks(daemon),
        *_waking_checks(daemon),
        *_ring_checks(ring, shown),
    ]


def _probe_checks(daemon: Daemon, shown: Shown) -> list[Check]:
    found = []
    for lane in daemon.engine.lanes.values():
        if not lane.is_temperature or lane.site not in _WATCHED or _is_over(daemon, lane):
            continue
        one = figure(daemon, lane, shown)
        if one["quality"] == "good":
            text = f"{one['name']} reads {one['number']} {one['unit']}, {one['age']}"
            found.append(Check(True, text))
        else:
            look = "Look at the probe and its plug before going."
            found.append(Check(False, f"{one['name']}: {one['word']}, {one['age']}", look))
        assignment = daemon.engine.book.assignment(lane.state.id)
        if lane.site is Site.PIT and assignment is not None and assignment.channel.low_mc is None:
            text = f"{one['name']} has no band: a dying fire wakes nobody"
            found.append(Check(False, text, "Give it low and high in the cook file."))
    if not any(lane.site is Site.PIT for lane in daemon.engine.lanes.values()):
        found.append(Check(False, "no channel watches the pit", "Assign a probe to the pit."))
    return found


def _is_over(daemon: Daemon, lane: Lane) -> bool:
    held = daemon.engine.book.pieces.get(lane.piece or "")
    return held is not None and held.ended_ms is not None


def _battery_checks(daemon: Daemon, shown: Shown) -> list[Check]:
    found = []
    for lane in daemon.engine.lanes.values():
        if lane.quantity is not Quantity.BATTERY or lane.state.value is None:
            continue
        text = f"{lane.state.id}: battery at {lane.state.value / 1000:.0f} %"
        low = lane.state.value < BATTERY_LOW
        age = shown.since(lane.state.heard_ms)
        found.append(
            Check(not low, f"{text}, {age} ago", "Change or charge it now." if low else "")
        )
    return found


def _alarm_checks(daemon: Daemon) -> list[Check]:
    alarms = standing.active(daemon, "alarm")
    shelved = [
        watch.key
        for watch in daemon.engine.state.watches.values()
        if watch.state is AlertState.SHELVED
    ]
    count = f"{len(alarms)} alarm{'s are' if len(alarms) > 1 else ' is'} active"
    found = [
        Check(False, count, alarms[0].message) if alarms else Check(True, "no alarm is active")
    ]
    if shelved:
        found.append(Check(False, f"muted: {', '.join(shelved)}", "End the muting on Alarms."))
    return found


def _waking_checks(daemon: Daemon) -> list[Check]:
    ways = daemon.config.notify.way
    failing = [
        watch
        for watch in daemon.engine.state.watches.values()
        if watch.kind == "notify-failing" and watch.state in ACTIVE
    ]
    found = [Check(False, watch.message.rstrip("."), watch.remedy) for watch in failing]
    if ways:
        found.append(Check(True, f"told by: {', '.join(way.id for way in ways)}"))
    else:
        found.append(Check(False, NO_WAY, "Arm the sound here and leave the page open."))
    if daemon.trouble is not None:
        found.append(Check(False, daemon.trouble.message, daemon.trouble.remedy))
    return found


def _ring_checks(ring: RingTest, shown: Shown) -> list[Check]:
    rung = ring.last
    if rung is None or rung.trials is None:
        return []
    at = shown.clock(rung.at_ms)
    found = [
        Check(False, f"the ring test of {at} did not get through by {one.way}: {one.said}",
              "Mend this way, or do not count on it tonight.")
        for one in rung.failed
    ]  # fmt: skip
    if rung.heard_ms is None:
        text = f"nobody said that the ring test of {at} was heard"
        found.append(Check(False, text, 'Tap "Got it" below, or ring again.'))
    else:
        by = f" by {rung.heard_by}" if rung.heard_by else ""
        found.append(Check(True, f"ring test heard at {shown.clock(rung.heard_ms)}{by}"))
    return found
