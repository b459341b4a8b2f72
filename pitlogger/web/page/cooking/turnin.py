"""The Turn in screen: the bedtime check, what comes till morning, the ring test."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from pitlogger.model.journal import ForecastMade
from pitlogger.views import words
from pitlogger.views.language import tr
from pitlogger.views.node import Node
from pitlogger.views.shown import Shown
from pitlogger.views.status import is_running
from pitlogger.web.overnight import night
from pitlogger.web.overnight.night_checks import NightCheck, checks
from pitlogger.web.page import standing
from pitlogger.web.routes.ring_test import RingTest


def turn_in_screen(daemon: Node, shown: Shown, ring: RingTest) -> dict[str, Any]:
    """Return the bedtime check: is everything so that one can sleep?"""
    found = checks(daemon, shown, ring)
    bad = [check for check in found if not check.good]
    ends_ms = night.morning_ms(shown)
    coming = night.expected(daemon)
    till = [made for made in coming if night.comes_till(made, ends_ms)]
    return {
        "sentence": _sentence(daemon, bad, till, shown),
        "checks": [asdict(check) for check in sorted(found, key=lambda check: check.good)],
        "morning": shown.clock(ends_ms),
        "till_morning": [_line(daemon, made, shown) for made in till],
        "later": [_line(daemon, made, shown) for made in coming if made not in till],
        "wakes": night.wakes_at(daemon, shown),
        "ring": _ring(ring, shown),
        "ways": [way.id for way in daemon.config.notify.way],
    }


def _sentence(daemon: Node, bad: list[NightCheck], till: list[ForecastMade], shown: Shown) -> str:
    if not is_running(daemon):
        return tr("No cook is running: nothing will wake you but the instruments.")
    first = tr("Not yet: {text}.", text=bad[0].text) if bad else tr("You can turn in.")
    coming = [made for made in till if night.wakes(daemon, made)]
    if coming:
        return tr(
            "{first} Expect to be woken: {forecast_words}.",
            first=first,
            forecast_words=standing.forecast_words(coming[0], shown),
        )
    return tr("{first} Nothing is foreseen that would wake you before morning.", first=first)


def _line(daemon: Node, made: ForecastMade, shown: Shown) -> dict[str, Any]:
    if made.p50_ms is None:
        known = (
            ""
            if made.p10_ms is None
            else tr(", not before {clock}", clock=shown.clock(made.p10_ms))
        )
        text = tr(
            "{piece}: when to {target} is not known yet{known}",
            piece=made.piece,
            target=tr(words.TARGETS[made.target]),
            known=known,
        )
    else:
        text = standing.forecast_words(made, shown)
    return {"text": text, "wakes": night.wakes(daemon, made)}


def _ring(ring: RingTest, shown: Shown) -> dict[str, Any] | None:
    rung = ring.last
    if rung is None:
        return None
    return {
        "at": shown.clock(rung.at_ms),
        "rings": rung.trials is None,
        "ways": [
            {
                "good": one.arrived,
                "text": f"{one.way}: {'' if one.arrived else 'FAILED: '}{one.said}",
            }
            for one in rung.trials or ()
        ],
        "heard": "" if rung.heard_ms is None else shown.clock(rung.heard_ms),
        "by": rung.heard_by,
    }
