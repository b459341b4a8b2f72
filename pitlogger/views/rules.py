"""What is watched now, on what and why, as the API answers it."""

from __future__ import annotations

from typing import Literal

from pitlogger.model.alerts import AlertState
from pitlogger.views.view import View


class RuleView(View):
    """A limit, a timer or a clock in force, and how its alert stands.

    Attributes:
        every_s: Of a timer.
        remaining_s: Until it falls due; negative once it is overdue.
    """

    alert: str
    kind: str
    piece: str | None
    judged_on: str
    side: Literal["at or above", "below"] | None
    limit_c: float | None
    every_s: float | None
    remaining_s: float | None
    on_delay_s: float
    deadband_c: float
    priority: str
    wakes: bool
    state: AlertState
    cause: str
    remedy: str
    source: str


class RulesView(View):
    rules: tuple[RuleView, ...]
