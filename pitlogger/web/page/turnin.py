"""Turn in, the bedtime check: is everything so that one can sleep?"""

from __future__ import annotations

from typing import Any

from pitlogger.daemon import Daemon
from pitlogger.model.readings import Site
from pitlogger.web.page import standing
from pitlogger.web.page.figures import figure
from pitlogger.web.page.shown import Shown

NO_ALARM = "no alarm is active"
NO_WAY = "no way of being told is configured ([notify]): only an open page sounds"


def turn_in_screen(daemon: Daemon, shown: Shown) -> dict[str, Any]:
    """Return the bedtime check: is everything so that one can sleep?"""
    checks = [*_probe_checks(daemon, shown), *_alarm_checks(daemon), *_waking_checks(daemon)]
    bad = [check for check in checks if not check["good"]]
    following = standing.next_words(daemon, shown)
    if not standing.is_running(daemon):
        sentence = "No cook is running: nothing will wake you but the instruments."
    elif bad:
        sentence = f"Not yet: {bad[0]['text']}."
    else:
        sentence = "You can turn in."
    return {
        "sentence": f"{sentence} Next: {following}." if following else sentence,
        "checks": checks,
        "wakes": [
            kind.replace("-", " ") for kind, rule in daemon.policy.rules.items() if rule.wakes
        ],
        "ahead": [
            standing.forecast_words(made, shown)
            for made in standing.forecasts(daemon, shown.now_ms)
        ],
    }


def _check(good: bool, text: str, remedy: str = "") -> dict[str, Any]:
    return {"good": good, "text": text, "remedy": remedy}


def _probe_checks(daemon: Daemon, shown: Shown) -> list[dict[str, Any]]:
    checks = []
    for lane in daemon.engine.lanes.values():
        if not lane.is_temperature or lane.site not in (Site.PIT, Site.CORE, Site.HOLD):
            continue
        one = figure(daemon, lane, shown)
        if one["quality"] == "good":
            text = f"{one['name']} reads {one['number']} {one['unit']}, {one['age']}"
            checks.append(_check(True, text))
        else:
            checks.append(_check(False, f"{one['name']}: {one['word']}, {one['age']}",
                                 "Look at the probe and its plug before going."))  # fmt: skip
        assignment = daemon.engine.book.assignment(lane.state.id)
        if lane.site is Site.PIT and assignment is not None and assignment.channel.low_mc is None:
            checks.append(_check(False, f"{one['name']} has no band: a dying fire wakes nobody",
                                 "Give it low and high in the cook file."))  # fmt: skip
    if not any(lane.site is Site.PIT for lane in daemon.engine.lanes.values()):
        checks.append(_check(False, "no channel watches the pit", "Assign a probe to the pit."))
    return checks


def _alarm_checks(daemon: Daemon) -> list[dict[str, Any]]:
    alarms = standing.active(daemon, "alarm")
    shelved = [w.key for w in daemon.engine.state.watches.values() if w.until_ms is not None]
    count = f"{len(alarms)} alarm{'s are' if len(alarms) > 1 else ' is'} active"
    checks = [_check(False, count, alarms[0].message) if alarms else _check(True, NO_ALARM)]
    if shelved:
        checks.append(_check(False, f"muted: {', '.join(shelved)}", "End the muting on Alarms."))
    return checks


def _waking_checks(daemon: Daemon) -> list[dict[str, Any]]:
    ways = daemon.config.notify.way
    checks = []
    if ways:
        checks.append(_check(True, f"told by: {', '.join(way.id for way in ways)}"))
    else:
        checks.append(_check(False, NO_WAY, "Arm the sound here and leave the page open."))
    if daemon.trouble is not None:
        checks.append(_check(False, daemon.trouble.message, daemon.trouble.remedy))
    return checks
