"""``pitlogger night``: before turning in. Is all in order, and would an alarm be heard?"""

from __future__ import annotations

import select
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import click

from pitlogger.cli.client import Client, socket_option
from pitlogger.cli.output import by_option, emit, json_option, printable
from pitlogger.model.quantities import show_duration

ROUNDS = 10
BETWEEN_S = 30.0
LOOK_EVERY_S = 2.0
PATIENCE_S = 60.0  # each way may take half a minute, and the sounder rings before them


@click.command()
@click.option(
    "--ring/--no-ring", default=None,
    help="Ring by every way until somebody says Got it; by default where you sit at a terminal.",
)  # fmt: skip
@by_option
@socket_option
@json_option
def night(ring: bool | None, by: str, socket: Path | None, as_json: bool) -> int:
    """Say what is expected till morning and what will wake you; ring until you say Got it.

    Exit code 1 if it rang and nobody said so. With --json it does not ring unless --ring is
    given.
    """
    client = Client(socket, PATIENCE_S)
    told = client.get("/night")
    if not as_json:
        emit(told, as_json, _text(told))
    rings = (not as_json and sys.stdin.isatty()) if ring is None else ring
    heard = True
    if rings:
        say = (lambda line: None) if as_json else (lambda line: click.echo(printable(line)))
        heard = ring_until_heard(client, _enter_pressed, say, by)
        told = client.get("/night")
    if as_json:
        emit(told, as_json, "")
    elif heard:
        click.echo(printable(_heartbeat(told)))
    return 0 if heard else 1


def ring_until_heard(
    client: Client,
    answered: Callable[[float], bool],
    say: Callable[[str], None],
    by: str = "",
    rounds: int = ROUNDS,
) -> bool:
    """Ring by every way, again and again, until somebody says Got it; return whether they did.

    Args:
        answered: Waits so many seconds for the answer here; the page's answer counts too.
    """
    for number in range(1, rounds + 1):
        rung = client.post("/ring-tests")
        say(f"rings ({number} of {rounds})")
        for row in rung.get("ways", []):
            say(f"  {row['way']}: {'' if row['arrived'] else 'FAILED: '}{row['said']}")
        if not rung.get("ways"):
            say("no way of being told is configured ([notify]): only an open page sounds")
        say('Press Enter here, or tap "Got it" on the page, once you have heard it.')
        waited_s = 0.0
        while waited_s < BETWEEN_S:
            if answered(LOOK_EVERY_S):
                client.post("/ring-tests/heard", by=by)
                return True
            if (client.get("/night")["ring_test"] or {}).get("heard"):
                return True
            waited_s += LOOK_EVERY_S
    say("nobody said Got it: do not count on being woken")
    return False


def _enter_pressed(seconds: float) -> bool:
    """Wait so long for a line of input; one that is closed answers nothing."""
    ready, _, _ = select.select([sys.stdin], [], [], seconds)
    if ready and sys.stdin.readline():
        return True
    if ready:
        time.sleep(seconds)
    return False


def _text(told: dict[str, Any]) -> str:
    lines = [told["sentence"]]
    for check in told["checks"]:
        lines.append(f"{' ' if check['good'] else '!'} {check['text']}")
        if check["remedy"]:
            lines.append(f"    {check['remedy']}")
    lines += [f"! {channel} was never heard" for channel in told["never_heard"]]
    lines.append(f"oldest reading: {show_duration(told['oldest_s'] * 1000)} old")
    lines.append(f"till morning ({_clock(told['morning'])}):")
    lines += [
        f"  {row['piece']}: {row['target']} between {_clock(row['p10'])} and "
        f"{_clock(row['p90'])}, {'wakes you' if row['wakes'] else 'does not wake you'}"
        for row in told["expected"]
        if row["till_morning"]
    ] or ["  nothing is expected"]
    lines.append("will wake you:")
    lines += [f"  {line}" for line in told["wakes_at"]] or ["  nothing"]
    return "\n".join(lines)


def _heartbeat(told: dict[str, Any]) -> str:
    every_s = told["heartbeat_s"]
    if every_s is None:
        return "Good night. No heartbeat is set up ([notify] heartbeat_url): nobody hears it die."
    return f"Good night. A silent heartbeat goes out every {show_duration(every_s * 1000)}."


def _clock(moment: str | None) -> str:
    """Return the time of day here of an RFC 3339 moment."""
    from datetime import datetime

    if moment is None:
        return "later"
    return datetime.fromisoformat(moment).astimezone().strftime("%H:%M")
