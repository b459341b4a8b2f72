"""The engine's alerts as the outbox takes them: each change, and all that stands now."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from pitlogger.config_notify import AnyWay
from pitlogger.formats.journal_json import load_entry
from pitlogger.model.alerts import AlertState, Priority
from pitlogger.model.journal import AlertChanged
from pitlogger.notify.alert_status import UnansweredAlert
from pitlogger.notify.outbox import Happened, Push
from pitlogger.rules.conditions import Watch
from pitlogger.rules.messages import Units
from pitlogger.rules.policies import RulePolicy
from pitlogger.views.alert_words import alert_words
from pitlogger.views.fanout import Happening

_OURS = ("utc_ms", "on_disk")  # what telling adds to an entry


def change_of(happening: Happening, units: Units) -> Happened | None:
    """Return the state an alert entered, ``None`` for whatever else happened."""
    if happening.kind != "alert":
        return None
    entry = load_entry({k: v for k, v in happening.data.items() if k not in _OURS})
    body = entry.body
    if not isinstance(body, AlertChanged):
        return None
    return Happened(
        body.alert, body.alert_kind, body.now, body.priority, body.wakes, entry.t_ms,
        alert_words(body, units), body.remedy, was=body.was,
    )  # fmt: skip


def all_standing(watches: Iterable[Watch], policy: RulePolicy, units: Units) -> Iterator[Happened]:
    """Yield every alert that is not normal, as it is now."""
    for watch in watches:
        if watch.state is not AlertState.NORMAL:
            yield Happened(
                watch.key, watch.kind, watch.state, watch.priority, watch.wakes,
                watch.raised_ms, alert_words(watch, units),
                watch.remedy or policy.rules[watch.kind].remedy,
            )  # fmt: skip


def meant_for(table: AnyWay, push: Push) -> list[UnansweredAlert]:
    """Return what of a push a way is to send; none sends of its own failure."""
    if table.contact != push.contact:
        return []
    least = Priority[table.from_priority.upper()]
    return [
        each
        for each in push.standing
        if each.alert != f"notify-failing/{table.id}"
        and each.priority >= least
        and (table.notices or not each.notice)
    ]
