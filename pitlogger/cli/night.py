"""``pitlogger night``: before turning in."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from pitlogger.cli.client import Client, socket_option
from pitlogger.cli.output import emit, json_option
from pitlogger.model.quantities import show_duration


@click.command()
@socket_option
@json_option
def night(socket: Path | None, as_json: bool) -> None:
    """Say what is expected till morning, what will wake you, and what is not in order."""
    told = Client(socket).get("/night")
    emit(told, as_json, "" if as_json else _text(told))


def _text(told: dict[str, Any]) -> str:
    lines = [told["sentence"]]
    lines += [f"! {row['message']}" for row in told["standing"]]
    lines += [f"! {channel} was never heard" for channel in told["never_heard"]]
    lines += [
        f"battery {row['channel']}: {row['value_pct']:.0f} %"
        for row in told["batteries"]
        if row["value_pct"] is not None
    ]
    lines.append(f"oldest reading: {show_duration(told['oldest_s'] * 1000)} old")
    lines += [
        f"{row['piece']}: {row['target']} expected {row['p10']} to {row['p90']}"
        for row in told["expected"]
        if row["p50"]
    ]
    lines.append(f"will wake you: {', '.join(told['will_wake'])}")
    return "\n".join(lines)
