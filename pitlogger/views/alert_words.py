"""What an alert says, made when it is shown: in the reader's language and units.

The journal keeps the facts of a limit alert (subject, value and limit at the crossing) beside
its English sentence. Where the sentence is the one the facts give, it is made anew; any other
(a person's own rule, what a device said, an older entry) is shown as it was written, its
temperatures in the reader's unit. Of one that stands, the value now is said beside that of the
crossing: "pit at 190 F at 14:02, now 204 F, under 210 F".
"""

from __future__ import annotations

import logging
import re

from pitlogger.engine.watch.cores import all_cores, coldest
from pitlogger.inference.recogniser import StageProposal
from pitlogger.model.alerts import ACTIVE
from pitlogger.model.journal import AlertChanged
from pitlogger.model.quantities import parse_temperature_mc, show_chance, show_temperature
from pitlogger.rules.conditions import Watch
from pitlogger.rules.messages import LIMIT_TEXTS, OVER, UNDER, Units, condition_message
from pitlogger.views import words
from pitlogger.views.language import tr
from pitlogger.views.node import Node
from pitlogger.views.sentences import told
from pitlogger.views.shown import Shown, in_unit, temperature

log = logging.getLogger(__name__)


def alert_words(alert: Watch | AlertChanged, units: Units, then: str = "") -> str:
    """Return what an alert says, of now or of the journal.

    Args:
        then: What is said beside the value at the crossing: when that was, and what it is now.
    """
    if isinstance(alert, AlertChanged):
        kind, key = alert.alert_kind, alert.alert
    else:
        kind, key = alert.kind, alert.key
    if not alert.message:
        return words.alert_named(key)
    if alert.value is not None and alert.limit is not None:
        for text in LIMIT_TEXTS.get(kind, (OVER, UNDER)):
            try:
                said = _anew(text, alert, units, then)
            except (LookupError, ValueError):  # one alert's words must not silence all others
                log.exception("%s is said as it was written", key)
                break
            if said is not None:
                return said
    if alert.limit is not None:
        return told(alert.message)
    return told(in_unit(_of_late(alert), units.temperature))


def standing_words(node: Node, watch: Watch, shown: Shown) -> str:
    """Return what an alert says that stands: its value at the crossing, and now."""
    found = node.engine.recognition.proposals.get(watch.piece or "", [])
    if watch.kind == "stage-likely" and found:
        return looks(watch.piece or "", found[-1], shown)
    now_mc = _now_mc(node, watch) if watch.limit is not None and watch.state in ACTIVE else None
    crossed_mc = watch.value if watch.crossed is None else watch.crossed
    if now_mc is None or crossed_mc is None or watch.kind == "battery-low":
        return alert_words(watch, shown.units)
    now, crossed = shown.temperature(now_mc), shown.temperature(crossed_mc)
    if now == crossed:
        return alert_words(watch, shown.units)
    then = tr(" at {clock}, now {value}", clock=shown.clock(watch.raised_ms), value=now)
    return alert_words(watch, shown.units, then)


def looks(piece: str, found: StageProposal, shown: Shown) -> str:
    """Return what a piece looks to be in, since when, and how likely that is."""
    if found.between_ms is not None:
        first, last = map(shown.clock, found.between_ms)
        return tr(
            "{piece} looks {stage} since some time between {first} and {last}, likeliest {clock}; "
            "{p} likely", piece=piece, stage=words.stage(found.stage).casefold(), first=first,
            last=last, clock=shown.clock(found.at_ms), p=show_chance(found.p),
        )  # fmt: skip
    return tr(
        "{piece} looks {stage} since {clock}, {p} likely", piece=piece,
        stage=words.stage(found.stage).casefold(), clock=shown.clock(found.at_ms),
        p=show_chance(found.p),
    )  # fmt: skip


def _now_mc(node: Node, watch: Watch) -> int | None:
    """Return the value that a limit alert is judged by, ``None`` where there is none."""
    engine = node.engine
    limit = next((one for one in engine.compiled.limits() if one.key == watch.key), None)
    if limit is None:
        return None
    if limit.channel is None and limit.piece is not None:
        found = coldest(all_cores(engine.state, engine.book, limit.piece, node.clock.engine_ms()))
        return None if found is None else found[0]
    state = engine.state.channels.get(limit.channel or "")
    return state.value if state is not None and state.heard_well() else None


def _of_late(alert: Watch | AlertChanged) -> str:
    """Return the sentence of an alert that no limit raised, as it was last worded."""
    if isinstance(alert, Watch) and alert.limit is None and alert.holds and alert.detail:
        return condition_message(alert, alert.detail)
    return alert.message


def _anew(text: str, alert: Watch | AlertChanged, units: Units, then: str) -> str | None:
    """Return a sentence made of its facts, ``None`` where it is another one."""
    subject = alert.piece or alert.channel or "node"
    limit = alert.limit or 0
    for unit in ("F", "C"):  # whichever the node spoke then
        kept = (
            re.escape(text)
            .replace(r"\{", "{")
            .replace(r"\}", "}")
            .format(
                subject=re.escape(subject),
                value=rf"(?P<value>-?\d+ {unit})",
                limit=re.escape(show_temperature(limit, unit)),
                share=r"(?P<share>\d+ %)",
                delay="(?P<delay>[^;]*)",
            )
        )
        found = re.fullmatch(f"{kept}(?P<note>; .*)?", alert.message, re.DOTALL)
        if found is None:
            continue
        given = found.groupdict(default="")
        value = _crossed_mc(alert, given.get("value"), unit)
        return tr(
            text,
            subject=subject,
            value=temperature(value, units.temperature) + then,
            limit=temperature(limit, units.temperature),
            share=given.get("share", ""),
            delay=given.get("delay", ""),
        ) + _noted(found["note"])
    return None


def _noted(note: str | None) -> str:
    return f"; {told(note[2:])}" if note else ""


def _crossed_mc(alert: Watch | AlertChanged, given: str | None, unit: str) -> int:
    """Return the value at the crossing: the exact one, where that is what was worded then."""
    known = [alert.value, alert.crossed if isinstance(alert, Watch) else None]
    for value in known:
        if value is not None and (given is None or show_temperature(value, unit) == given):
            return value
    return parse_temperature_mc(given or "0 C")
