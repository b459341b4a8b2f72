"""Conditions: a limit with deadband and delays, judged on a value and its short-time level.

The value starts and ends things at once; the level keeps noise out. A condition that waits
for its on-delay is dropped only when value *and* level are back; one that holds is cleared
only when both are beyond the deadband. So a clean step is timed to the reading, and noise
about the limit neither starts an alert nor hides one.
"""

from __future__ import annotations

from dataclasses import dataclass

from pitlogger.model.alerts import AlertState, Priority
from pitlogger.rules.policies import AlertRule

ABOVE, BELOW = 1, -1


@dataclass(slots=True)
class Watch:
    """What is known of one alert; plain fields, so that a snapshot is exact.

    Attributes:
        key: ``kind/subject``.
        holds: The condition after deadband and delays.
        pending_ms: Since when it has waited for its on-delay, ``None`` if it does not.
        clearing_ms: Since when it has waited for its off-delay, ``None`` if it does not.
    """

    key: str
    kind: str
    piece: str | None = None
    channel: str | None = None
    state: AlertState = AlertState.NORMAL
    priority: Priority = Priority.LOW
    wakes: bool = False
    holds: bool = False
    pending_ms: int | None = None
    clearing_ms: int | None = None
    since_ms: int = 0
    raised_ms: int = 0
    until_ms: int | None = None
    value: int | None = None
    limit: int | None = None  # at the crossing, in milli-units
    crossed: int | None = None  # the value at the crossing
    message: str = ""
    remedy: str = ""
    detail: str = ""  # what is known of its cause beyond what the rule says
    detail_remedy: str = ""
    reason: str = ""
    again_ms: int | None = None  # when a prompt answered with "not yet" is asked again
    again_value: int | None = None  # or at which value
    settled: bool = False  # a prompt answered for good
    forced: bool = False  # true by foresight, whatever the value
    note: str = ""  # what is said beside its message; it raises nothing
    occurrence: int = 0
    disposed: str = ""  # what became of the food it is about, and who said so
    raised_by: str = ""  # the hand reading it began with: it returns when that is taken back


@dataclass(frozen=True, slots=True)
class Limit:
    """One limit of one piece or channel.

    Attributes:
        key: Of its watch.
        rule: How the alert behaves.
        limit: In milli-units; ``ABOVE`` means reached at or above it, ``BELOW`` under it.
        side: ``ABOVE`` or ``BELOW``.
        channel: The channel it is judged on, ``None`` for the coldest core of the piece.
    """

    key: str
    rule: AlertRule
    limit: int
    side: int
    piece: str | None = None
    channel: str | None = None

    def beyond(self, value: float) -> bool:
        """Return whether a value is at or over the limit (or under it, for ``BELOW``)."""
        return value >= self.limit if self.side > 0 else value < self.limit

    def returned(self, value: float) -> bool:
        """Return whether a value is back by more than the deadband."""
        if self.side > 0:
            return value < self.limit - self.rule.deadband_mc
        return value >= self.limit + self.rule.deadband_mc


def judge(limit: Limit, watch: Watch, t_ms: int, value: int, level: float) -> int | None:
    """Take a value; return when a delay that it started will end, else ``None``."""
    if not watch.holds:
        waits = watch.pending_ms is not None and limit.beyond(level)
        if watch.forced or limit.beyond(value) or waits:
            if watch.pending_ms is None:
                watch.pending_ms = t_ms
                return t_ms + limit.rule.on_delay_ms
        else:
            watch.pending_ms = None
        return None
    if not watch.forced and limit.returned(value) and limit.returned(level):
        if watch.clearing_ms is None:
            watch.clearing_ms = t_ms
            return t_ms + limit.rule.off_delay_ms
    else:
        watch.clearing_ms = None
    return None


def inert(limits: list[Limit], watches: dict[str, Watch]) -> tuple[int, int]:
    """Return the closed band of values that change none of the watches.

    Most readings fall into it and cost one comparison. Empty (low above high) while a delay
    is running.
    """
    low, high = -(1 << 62), 1 << 62
    for limit in limits:
        watch = watches[limit.key]
        if (
            watch.pending_ms is not None
            or watch.clearing_ms is not None
            or watch.again_value is not None
            or watch.forced
        ):
            return 1, 0
        if watch.holds:
            band = limit.rule.deadband_mc
            if limit.side > 0:
                low = max(low, limit.limit - band)
            else:
                high = min(high, limit.limit + band - 1)
        elif limit.side > 0:
            high = min(high, limit.limit - 1)
        else:
            low = max(low, limit.limit)
    return low, high
