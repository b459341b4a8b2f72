"""``pitlogger status``: how things stand, in one sentence and a few lines."""

from __future__ import annotations

from typing import Any

import click

from pitlogger.cli.daemon import DaemonClient, to_daemon
from pitlogger.cli.output import ALARM_ACTIVE
from pitlogger.model.alerts import ACTIVE
from pitlogger.model.quantities import show_duration, show_mass, show_temperature
from pitlogger.views import words
from pitlogger.views.language import tr


@click.command()
@to_daemon
def status(daemon: DaemonClient) -> int:
    """Say how things stand. Exit code 4 while an alarm is active."""
    standing = daemon.get("/status")
    daemon.emit(standing, lambda: _text(standing))
    active = any(row["class"] == "alarm" and row["state"] in ACTIVE for row in standing["alerts"])
    return ALARM_ACTIVE if active else 0


def _text(standing: dict[str, Any]) -> str:
    units = standing["units"]
    lines = [standing["sentence"]]
    lines += [f"! {row['message']}. {row['remedy']}" for row in standing["alerts"]]
    lines += [f"  {_channel(row, units)}" for row in standing["channels"]]
    return "\n".join(lines)


def _channel(row: dict[str, Any], units: dict[str, str]) -> str:
    age = tr("never heard")
    if row["age_s"] is not None:
        age = tr("{age} old", age=show_duration(row["age_s"] * 1000))
    value = words.quality(row["quality"])
    if row["quality"] == "good":
        if row.get("temperature_c") is not None:
            value = show_temperature(row["temperature_c"] * 1000, units["temperature"], 1)
        elif row.get("mass_g") is not None:
            value = show_mass(row["mass_g"] * 1000, units["mass"])
        elif row.get("value_pct") is not None:
            value = f"{row['value_pct']:.0f} %"
    return f"{row['channel']}: {value} ({age})"
