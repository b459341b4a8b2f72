"""``pitlogger rules``: which there are, what is watched now and why."""

from __future__ import annotations

from typing import Any

import click

from pitlogger.cli.daemon import DaemonClient, to_daemon
from pitlogger.cli.output import emit, json_option, table
from pitlogger.model.quantities import show_duration, show_temperature


@click.group()
def rules() -> None:
    """Show the rules, and explain what is watched now."""


@rules.command("list")
@json_option
def list_rules(as_json: bool) -> None:
    """List every kind of alert: priority, whether it wakes, delay, source."""
    from pitlogger.bootstrap.policies import load_policy
    from pitlogger.model.alerts import alert_class

    held = load_policy().rules
    document: list[dict[str, Any]] = [
        {
            "kind": kind,
            "class": alert_class(kind),
            "priority": rule.priority.label,
            "wakes": rule.wakes,
            "latching": rule.latching,
            "on_delay_s": rule.on_delay_ms / 1000,
            "off_delay_s": rule.off_delay_ms / 1000,
            "deadband_c": rule.deadband_mc / 1000,
            "cause": rule.cause,
            "consequence": rule.consequence,
            "remedy": rule.remedy,
            "act_within": rule.act_within,
            "source": rule.source or "ours",
        }
        for kind, rule in held.items()
    ]
    rows = [
        [row["kind"], row["class"], row["priority"], "wakes" if row["wakes"] else "",
         show_duration(row["on_delay_s"] * 1000), row["source"]]
        for row in document
    ]  # fmt: skip
    heads = ["kind", "class", "priority", "", "delay", "source"]
    emit({"rules": document}, as_json, table([[str(cell) for cell in row] for row in rows], heads))


@rules.command()
@click.argument("piece")
@to_daemon
def explain(daemon: DaemonClient, piece: str) -> None:
    """Say which limits, timers and clocks run for PIECE now, on what, and why."""
    held = daemon.get("/rules", piece=piece)
    daemon.emit(held, "\n".join(_words(row) for row in held["rules"]) or "nothing is watched now")


def _words(row: dict[str, Any]) -> str:
    return (
        f"{row['kind']}: {_on(row)}; {row['state']}\n"
        f"  {row['cause']} Do: {row['remedy']} ({row['source']})"
    )


def _on(row: dict[str, Any]) -> str:
    """Return what a limit, timer or clock is judged on."""
    if row["limit_c"] is not None:
        limit = show_temperature(row["limit_c"] * 1000, digits=1)
        lasts = show_duration(row["on_delay_s"] * 1000)
        return f"{row['side']} {limit} on {row['judged_on']} for {lasts}"
    words = str(row["judged_on"])
    if row["every_s"] is not None:
        words = f"every {show_duration(row['every_s'] * 1000)} by {words}"
    left_s = row["remaining_s"]
    if left_s is None:
        return words
    return f"{words}, {show_duration(abs(left_s) * 1000)} {'left' if left_s >= 0 else 'over'}"
