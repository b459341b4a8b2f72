"""The page of alarms holds every rule as the policy has it."""

from pathlib import Path

import pytest

from pitlogger.bootstrap.policies import load_policy
from pitlogger.model.alerts import KINDS, alert_class
from pitlogger.model.cooks import TIMERS
from pitlogger.model.quantities import show_duration

PAGE = Path(__file__).parents[2] / "docs" / "alarms.md"


def row(kind: str) -> str:
    """Return the row of a kind as the page must have it."""
    rule = load_policy().rules[kind]
    delay = show_duration(rule.on_delay_ms) if rule.on_delay_ms else "none"
    marks = [word for word, true in (("latches", rule.latching), ("settles by itself", rule.notice))
             if true]  # fmt: skip
    wakes = "yes" if rule.wakes else "no"
    return (
        f"| `{kind}` | {alert_class(kind)} | {rule.priority.label} | {wakes} | {delay} | "
        f"{', '.join(marks) or '-'} | {rule.cause} | {rule.act_within} |"
    )


@pytest.mark.parametrize("kind", KINDS)
def test_the_page_has_each_kind_as_it_behaves(kind: str) -> None:
    assert row(kind) in PAGE.read_text(encoding="utf-8").splitlines()


@pytest.mark.parametrize("timer", TIMERS)
def test_the_page_names_each_timer(timer: str) -> None:
    assert f"`{timer}`" in PAGE.read_text(encoding="utf-8")
