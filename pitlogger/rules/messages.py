"""What an alert says: what, how much, what to do, in the person's units."""

from __future__ import annotations

from dataclasses import dataclass

from pitlogger.model.quantities import show_duration, show_temperature
from pitlogger.rules.conditions import Limit, Watch


@dataclass(frozen=True, slots=True)
class Units:
    """The units a person reads: ``F`` or ``C``, and ``lb-oz``, ``lb``, ``kg`` or ``g``."""

    temperature: str = "F"
    mass: str = "lb-oz"


OVER, UNDER = "{subject} at {value}, over {limit}", "{subject} at {value}, under {limit}"
# What a limit alert says. The second text of a kind is for one raised by what lies ahead.
LIMIT_TEXTS: dict[str, tuple[str, ...]] = {
    "wrap-due": ("{subject}: lead core at {value}, wrap target {limit}",),
    "pull-due": ("{subject}: lead core at {value}, pull target {limit}",),
    "tender-check-due": ("{subject}: lead core at {value}, tender check from {limit}",),
    "hot-hold-near": (
        "{subject}: coldest core at {value}, hot-hold warning below {limit}",
        "{subject}: coldest core at {value}, likely under the hot-hold limit within 45 min",
    ),
    "hot-hold-low": (
        "{subject}: coldest core at {value}, below the hot-hold limit {limit} for {delay}",
    ),
    "battery-low": ("{subject}: battery at {share}",),
    "flare-up": ("{subject} at {value}: very hot or rising very fast",),
}


def limit_message(limit: Limit, value: int | None, units: Units, *, foreseen: bool) -> str:
    """Return what a limit alert says at the value that raised it, as the journal keeps it.

    ``views.alert_words`` says the same in a reader's language and units.

    Args:
        foreseen: It was raised by what lies ahead, not by the value.
    """
    texts = LIMIT_TEXTS.get(limit.rule.kind, (OVER if limit.side > 0 else UNDER,))
    text = texts[-1] if foreseen else texts[0]
    if value is None:
        text = text.replace(" at {value}", "")
    return text.format(
        subject=limit.piece or limit.channel or "node",
        value=show_temperature(value or 0, units.temperature),
        limit=show_temperature(limit.limit, units.temperature),
        share=f"{(value or 0) / 1000:.0f} %",
        delay=show_duration(limit.rule.on_delay_ms),
    )


def condition_message(watch: Watch, told: str) -> str:
    """Return what an alert says that no limit raised: its subject and what is known of it."""
    subject = watch.piece or watch.channel or watch.key.partition("/")[2]
    return told if subject == "node" or told.startswith(f"{subject}: ") else f"{subject}: {told}"
