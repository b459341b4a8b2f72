"""What an alert says, made when it is shown: in the reader's language and units.

The journal keeps the facts of a limit alert (subject, value and limit at the crossing) beside
its English sentence. Where the sentence is the one the facts give, it is made anew; any other
(a person's own rule, what a device said, an older entry) is shown as it was written.
"""

from __future__ import annotations

import re

from pitlogger.model.journal import AlertChanged
from pitlogger.model.quantities import show_temperature
from pitlogger.rules.conditions import Watch
from pitlogger.rules.messages import LIMIT_TEXTS, OVER, UNDER, Units
from pitlogger.views import words
from pitlogger.views.language import tr
from pitlogger.views.shown import temperature


def alert_words(alert: Watch | AlertChanged, units: Units) -> str:
    """Return what an alert says, of now or of the journal."""
    if isinstance(alert, AlertChanged):
        kind, key = alert.alert_kind, alert.alert
    else:
        kind, key = alert.kind, alert.key
    if not alert.message:
        return words.alert_named(key)
    if alert.value is not None and alert.limit is not None:
        for text in LIMIT_TEXTS.get(kind, (OVER, UNDER)):
            told = _anew(text, alert.message, alert, units)
            if told is not None:
                return told
    return tr(alert.message)


def _anew(text: str, message: str, alert: Watch | AlertChanged, units: Units) -> str | None:
    """Return a sentence made of its facts, ``None`` where it is another one."""
    subject = alert.piece or alert.channel or "node"
    value, limit = alert.value or 0, alert.limit or 0
    for unit in ("F", "C"):  # whichever the node spoke then
        kept = (
            re.escape(text)
            .replace(r"\{", "{")
            .replace(r"\}", "}")
            .format(
                subject=re.escape(subject),
                value=re.escape(show_temperature(value, unit)),
                limit=re.escape(show_temperature(limit, unit)),
                share=".*",
                delay="(?P<delay>[^;]*)",
            )
        )
        found = re.fullmatch(f"{kept}(?P<note>; .*)?", message, re.DOTALL)
        if found is not None:
            return tr(
                text,
                subject=subject,
                value=temperature(value, units.temperature),
                limit=temperature(limit, units.temperature),
                delay=found.groupdict().get("delay") or "",
            ) + (found["note"] or "")
    return None
