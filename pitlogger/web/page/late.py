"""What reaches the node late: tapped while it was out of reach, and what that can still mean.

A phone keeps such an action and sends it hours later. What names its own moment (a stage, a
reading by hand, a typed mass) is kept with the time of the tap. What means "as it is now" (the
load on a scale, an alarm as it stands) is refused, with the reason, where it is another by then.
"""

from __future__ import annotations

from collections.abc import Mapping

from pitlogger.engine.scales import only_scale
from pitlogger.errors import RefusedError, UsageError
from pitlogger.model.quantities import show_duration
from pitlogger.views.node import Node

LATE_S = 5.0  # a shorter wait is the present
LONGEST_S = 7 * 86_400.0
OFF_BY_S = 2.0  # what two clocks that are both right may differ by
FROM_A_SCALE = frozenset({"weigh", "loose", "tare", "container"})
AT_ONCE = frozenset({"ring", "ring-heard", "device-command"})
OF_AN_ALARM = frozenset({"acknowledge", "answer", "shelve", "reset"})


def late_s(form: Mapping[str, str], utc_ms: int) -> float:
    """Return how long before now a form was sent off.

    A phone gives two measures. ``late_s`` is by its date, which somebody may have set meanwhile;
    ``tapped_ms`` is the node's time as the page counted it on, which stands still while a phone
    sleeps, so that it can only be too early. The first is taken where the second allows it.

    Raises:
        FieldError: Neither is a number, or it is over a week ago.
    """
    by_date = _number(form.get("late_s", "0"))
    counted = by_date
    if "tapped_ms" in form:
        counted = (utc_ms - _number(form["tapped_ms"])) / 1000
    is_credible = counted < 0 or 0 <= by_date <= counted + OFF_BY_S
    passed = max(0.0, by_date if is_credible else counted)
    if passed > LONGEST_S:
        raise UsageError("that was tapped over a week ago: enter it anew, with its time", "late_s")
    return passed


def _number(text: str) -> float:
    try:
        return float(text)
    except ValueError:
        raise UsageError(f"'{text}' is not a number of seconds", "late_s") from None


async def on_arrival(daemon: Node, name: str, form: Mapping[str, str]) -> dict[str, str]:
    """Return a form as it is to be taken now, with the one figure of how late it is.

    Raises:
        RefusedError: It meant something that is another by now.
    """
    passed_s = late_s(form, daemon.clock.utc_ms())
    made = {key: text for key, text in form.items() if key not in ("tapped_ms", "late_s")}
    if passed_s <= LATE_S:
        return made
    made["late_s"] = f"{passed_s:.1f}"
    if await daemon.earlier(form.get("key", "")) is not None:
        return made  # it was done, and the answer was lost
    ago = show_duration(round(passed_s) * 1000)
    tapped_ms = daemon.clock.engine_ms() - round(passed_s * 1000)
    if name in AT_ONCE:
        raise RefusedError(f"it was tapped {ago} ago and is of use at once alone: do it again")
    if name in FROM_A_SCALE and "mass" not in made:
        _still_lies_there(daemon, made, tapped_ms, ago)
    if name in OF_AN_ALARM:
        _stands_as_seen(daemon, made.get("alert", ""), tapped_ms, ago)
    if name == "acknowledge-all":
        made = _as_seen(daemon, made, tapped_ms, ago)
    return _rest_of_muting(made, passed_s, ago) if name == "shelve" else made


def _still_lies_there(daemon: Node, form: Mapping[str, str], tapped_ms: int, ago: str) -> None:
    try:
        channel = form.get("channel") or only_scale(daemon.engine)
    except UsageError:
        return  # refused further on, in its own words
    state = daemon.engine.state.channels.get(channel)
    since_ms = state.steadiness.since_ms if state is not None and not state.stale else None
    if since_ms is None or since_ms > tapped_ms:
        raise RefusedError(
            f"what lay on {channel} {ago} ago never reached the node, and another load may lie "
            "there now: weigh it again, or type the mass"
        )


def _stands_as_seen(daemon: Node, alert: str, tapped_ms: int, ago: str) -> None:
    watch = daemon.engine.state.watches.get(alert)
    if watch is not None and watch.raised_ms > tapped_ms:
        raise RefusedError(
            f"it was tapped {ago} ago, and the alarm has come anew since then: look at it as it is"
        )


def _as_seen(daemon: Node, form: dict[str, str], tapped_ms: int, ago: str) -> dict[str, str]:
    """Leave out of several alarms those that came anew."""
    watches = daemon.engine.state.watches
    alerts = {name: alert for name, alert in form.items() if name.startswith("alert.")}
    anew = {
        name for name, alert in alerts.items()
        if alert in watches and watches[alert].raised_ms > tapped_ms
    }  # fmt: skip
    if alerts and len(anew) == len(alerts):
        _stands_as_seen(daemon, next(iter(alerts.values())), tapped_ms, ago)
    return {name: text for name, text in form.items() if name not in anew}


def _rest_of_muting(form: dict[str, str], passed_s: float, ago: str) -> dict[str, str]:
    """Mute until the time that was meant."""
    left = _number(form.get("minutes", "0")) - passed_s / 60
    if left <= 0:
        raise RefusedError(f"it was tapped {ago} ago, and the time of muting is over")
    return form | {"minutes": f"{left:.1f}"}
