"""``pitlogger forecast``: when each piece is done, and what would change it."""

from __future__ import annotations

from datetime import datetime
from typing import Any

import click

from pitlogger.cli.daemon import DaemonClient, to_daemon
from pitlogger.model.quantities import show_chance, show_temperature


@click.command()
@click.argument("piece", required=False)
@to_daemon
def forecast(daemon: DaemonClient, piece: str | None) -> None:
    """Say when PIECE, or each piece, is done, and what would change it.

    Times come as three: one in ten is earlier than the first, one in two earlier than the
    second, nine in ten earlier than the third.
    """
    told = daemon.get("/forecasts", piece=piece)
    daemon.emit(told, lambda: outlook_text(told))


def outlook_text(told: dict[str, Any]) -> str:
    """Return the outlook as the API gives it, for people."""
    lines: list[str] = []
    for row in told["targets"]:
        lines.append(_target(row))
        lines += [f"  {other['text']}" for other in row["what_if"]]
        lines += [f"  {wish}" for wish in row["ask"]]
    lines += [f"{row['piece']}: {row['needs']}" for row in told["needs"]]
    for row in told["holding"]:
        limit = show_temperature(row["limit_c"] * 1000)
        lines.append(f"{row['piece']}: down to {limit} in the {row['place']} {_span(row)}")
    for row in told["cooling"]:
        to = show_temperature(row["to_c"] * 1000)
        lines.append(f"{row['piece']}: cooled to {to} {_span(row)}")
    for row in told["services"]:
        where = f" at {row['place']}" if row["place"] else ""
        pieces = ", ".join(f"{one['piece']} {_chance(one['p'])}" for one in row["pieces"])
        lines.append(
            f"service {_clock(row['at'])}{where}: ready {_chance(row['p_meal'])} ({pieces})"
        )
        lines += [f"  {row['advice']}"] if row["advice"] else []
    own = told["own"]
    if lines and own["moments"]:
        lines.append(
            f"of {own['moments']} moments of your own cooks {own['inside_pct']:.0f} % came inside "
            "the interval (8 in 10 should)"
        )
    return "\n".join(lines) if lines else "Nothing is being cooked, held or cooled."


def _chance(p: float | None) -> str:
    return "unknown" if p is None else show_chance(p)


def _target(row: dict[str, Any]) -> str:
    at = f" at {show_temperature(row['target_c'] * 1000)}" if row["target"] != "rest" else " done"
    what = f"{row['piece']}: {row['target']}{at}"
    if row["p50"] is None:
        return f"{what}: {row['reason']}"
    widened = f", widened: {row['own_cooks']} own cooks stored" if row["widened"] else ""
    reach = f", {100 * row['p_reach']:.0f} % likely at all" if row["p_reach"] < 0.95 else ""
    reason = f"; {row['reason']}" if row["reason"] else ""
    serve = f"; for serving plan on {_clock(row['p90'])}" if row["target"] != "wrap" else ""
    return f"{what} {_span(row)}{serve}{widened}{reach}{reason}"


def _span(row: dict[str, Any]) -> str:
    if row["p50"] is None:
        return f"- {row['reason']}" if row["reason"] else "- no time"
    early, late = _clock(row["p10"]), _clock(row["p90"])
    return f"about {_clock(row['p50'])}, likely between {early} and {late}"


def _clock(at: str) -> str:
    return datetime.fromisoformat(at).astimezone().strftime("%a %H:%M")
