"""What is looked at before somebody turns in: probes, batteries, alarms, ways of being told."""

from __future__ import annotations

from dataclasses import dataclass

from pitlogger.engine.compiled_channel import Lane
from pitlogger.model.alerts import ACTIVE, AlertState
from pitlogger.model.quantities import Quantity
from pitlogger.model.readings import Site
from pitlogger.rules.places import BATTERY_LOW
from pitlogger.views.alert_words import standing_words
from pitlogger.views.alerts import active
from pitlogger.views.language import mark, tr, trn
from pitlogger.views.node import Node
from pitlogger.views.shown import Shown
from pitlogger.web.page.cooking.figures import figure
from pitlogger.web.routes.ring_test import RingTest

NO_WAY = mark("nobody is told: only an open page sounds")
_WATCHED = (Site.PIT, Site.CORE, Site.HOLD)


@dataclass(frozen=True, slots=True)
class NightCheck:
    """One thing looked at; ``remedy`` says what to do where it is not good."""

    good: bool
    text: str
    remedy: str = ""


def checks(daemon: Node, shown: Shown, ring: RingTest) -> list[NightCheck]:
    """Return everything looked at before somebody turns in."""
    return [
        *_probe_checks(daemon, shown),
        *_battery_checks(daemon, shown),
        *_alarm_checks(daemon, shown),
        *_waking_checks(daemon),
        *_ring_checks(ring, shown),
    ]


def _probe_checks(daemon: Node, shown: Shown) -> list[NightCheck]:
    found = []
    for lane in daemon.engine.lanes.values():
        if not lane.is_temperature or lane.site not in _WATCHED or _is_over(daemon, lane):
            continue
        one = figure(daemon, lane, shown)
        if one["quality"] == "good":
            text = tr(
                "{channel} reads {value} {unit}",
                channel=one["name"], value=one["number"], unit=one["unit"],
            )  # fmt: skip
            found.append(NightCheck(True, text))
        else:
            look = tr("Look at the probe and its plug before going.")
            found.append(NightCheck(False, f"{one['name']}: {one['word']}, {one['age']}", look))
        assignment = daemon.engine.book.assignment(lane.state.id)
        if lane.site is Site.PIT and assignment is not None and assignment.channel.low_mc is None:
            text = tr("{pit} has no band: a dying fire wakes nobody", pit=one["name"])
            found.append(
                NightCheck(
                    False,
                    text,
                    tr("Give it a lowest and a highest under Settings, Set point and band."),
                )
            )
    if not any(lane.site is Site.PIT for lane in daemon.engine.lanes.values()):
        found.append(
            NightCheck(False, tr("no channel watches the pit"), tr("Assign a probe to the pit."))
        )
    return found


def _is_over(daemon: Node, lane: Lane) -> bool:
    held = daemon.engine.book.pieces.get(lane.piece or "")
    return held is not None and not held.is_open


def _battery_checks(daemon: Node, shown: Shown) -> list[NightCheck]:
    found = []
    for lane in daemon.engine.lanes.values():
        if lane.quantity is not Quantity.BATTERY or lane.state.value is None:
            continue
        percent = f"{lane.state.value / 1000:.0f}"
        text = tr("{channel}: battery at {percent} %", channel=lane.state.id, percent=percent)
        low = lane.state.value < BATTERY_LOW
        age = shown.since(lane.state.heard_ms)
        found.append(
            NightCheck(
                not low,
                tr("{text}, {age} ago", text=text, age=age),
                tr("Change or charge it now.") if low else "",
            )
        )
    return found


def _alarm_checks(daemon: Node, shown: Shown) -> list[NightCheck]:
    alarms = active(daemon, "alarm")
    shelved = [
        watch.key
        for watch in daemon.engine.state.watches.values()
        if watch.state is AlertState.SHELVED
    ]
    count = trn("{count} alarm is active", "{count} alarms are active", len(alarms))
    found = [
        NightCheck(False, count, standing_words(daemon, alarms[0], shown))
        if alarms
        else NightCheck(True, tr("no alarm is active"))
    ]
    if shelved:
        found.append(
            NightCheck(
                False,
                tr("muted: {names}", names=", ".join(shelved)),
                tr("End the muting on Alarms."),
            )
        )
    return found


def _waking_checks(daemon: Node) -> list[NightCheck]:
    ways = daemon.config.notify.way
    failing = [
        watch
        for watch in daemon.engine.state.watches.values()
        if watch.kind == "notify-failing" and watch.state in ACTIVE
    ]
    found = [NightCheck(False, watch.message.rstrip("."), watch.remedy) for watch in failing]
    if ways:
        found.append(
            NightCheck(True, tr("told by: {names}", names=", ".join(way.id for way in ways)))
        )
    else:
        found.append(
            NightCheck(False, tr(NO_WAY), tr("Arm the sound here and leave the page open."))
        )
    if daemon.trouble is not None:
        found.append(NightCheck(False, daemon.trouble.message, daemon.trouble.remedy))
    return found


def _ring_checks(ring: RingTest, shown: Shown) -> list[NightCheck]:
    rung = ring.last
    if rung is None or rung.trials is None:
        return []
    at = shown.clock(rung.at_ms)
    found = [
        NightCheck(False, tr("the ring test of {at} did not get through by {way}: {said}",
                        at=at, way=one.way, said=one.said),
              tr("Mend this way, or do not count on it tonight."))
        for one in rung.failed
    ]  # fmt: skip
    if rung.heard_ms is None:
        text = tr("nobody said that the ring test of {at} was heard", at=at)
        found.append(NightCheck(False, text, tr('Tap "Got it" below, or ring again.')))
    else:
        by = tr(" by {heard_by}", heard_by=rung.heard_by) if rung.heard_by else ""
        found.append(
            NightCheck(
                True, tr("ring test heard at {clock}{by}", clock=shown.clock(rung.heard_ms), by=by)
            )
        )
    return found
