"""``pitlogger simulate`` and ``pitlogger demo``."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from pitlogger.cli.files import FILE
from pitlogger.cli.output import emit, json_option, table

_SETTINGS = click.option(
    "--set", "changes", multiple=True, metavar="KEY=VALUE",
    help="Change a value of the scenario, such as pit.set=250F; may be repeated.",
)  # fmt: skip


@click.command(short_help="Play a scenario into a capture, or as live devices.")
@click.argument("scenario", required=False)
@click.option("--list", "wants_list", is_flag=True, help="Describe the scenarios.")
@click.option("--out", type=FILE, help="Write the capture here and its cook file beside it.")
@click.option("--truth", type=FILE, help="Write what was really so here (JSON lines), for scoring.")
@_SETTINGS
@click.option("--seed", type=int, help="Another seed: other noise, other hands.")
@click.option("--speed", default="max", metavar="N|max", help="Simulated seconds in a real one.")
@click.option("--devices", is_flag=True, help="Run live devices for 'pitlogger run'.")
@json_option
def simulate(
    scenario: str | None, wants_list: bool, out: Path | None, truth: Path | None,
    changes: tuple[str, ...], seed: int | None, speed: str, devices: bool, as_json: bool,
) -> None:  # fmt: skip
    """Play SCENARIO (one of ours, or a file) and write it down as a capture.

    The same scenario, settings and seed give the same bytes.
    """
    if wants_list:
        document = _scenarios()
        rows = [[row["name"], f"{row['hours']:g} h", row["title"]] for row in document["scenarios"]]
        emit(document, as_json, table(rows, ["scenario", "up to", "what happens"]))
        return
    if scenario is None:
        raise click.UsageError("name a scenario; 'pitlogger simulate --list' describes them")
    rate = _rate(speed)
    if devices:
        from pitlogger_simulators.live import run_devices

        run_devices(scenario, changes, seed, 1.0 if rate is None else rate)
        return
    if out is None:
        raise click.UsageError("name a file for the capture with --out, or give --devices")
    from pitlogger_simulators.written import write

    document = write(scenario, changes, seed, out, truth, rate)
    emit(document, as_json, _told(document))


def _rate(speed: str) -> float | None:
    if speed == "max":
        return None
    try:
        rate = float(speed)
    except ValueError:
        rate = 0.0
    if not 0 < rate <= 100_000:
        raise click.UsageError(f"--speed '{speed}': expected a number above 0, or max")
    return rate


def _scenarios() -> dict[str, Any]:
    from pitlogger_simulators.scenarios.scenario import load, names

    rows = []
    for name in names():
        file = load(name).file
        rows.append(
            {
                "name": name,
                "title": file.title,
                "about": " ".join(file.about.split()),
                "hours": file.limit / 3_600_000,
                "pieces": [piece.id for piece in file.piece],
            }
        )
    return {"scenarios": rows}


def _told(document: dict[str, Any]) -> str:
    hours = document["span_s"] / 3600
    lines = [
        f"{document['scenario']}: {document['readings']} readings over {hours:.1f} h",
        f"capture    {document['capture']}",
        f"cook file  {document['cook']}",
    ]
    if document["truth"]:
        lines.append(f"truth      {document['truth']}")
    lines.append(f"next: pitlogger replay {document['capture']} --cook {document['cook']}")
    return "\n".join(lines)


@click.command(short_help="Run a whole simulated cook with the page on.")
@click.option("--headless", is_flag=True, help="Without the page.")
@click.option("--speed", type=click.FloatRange(min=1), metavar="N",
              help="Simulated seconds in a real one, at most.")  # fmt: skip
@click.option("--scenario", default="harvest-supper", show_default=True,
              help="Another cook; 'pitlogger simulate --list' describes them.")  # fmt: skip
@json_option
def demo(headless: bool, speed: float | None, scenario: str, as_json: bool) -> None:
    """Watch a whole cook in about three minutes: the real daemon, simulated devices.

    Ends by itself with the yield ledger and the place of the record. Ctrl-C ends it early.
    """
    from pitlogger_simulators.demo.show import show

    document, text = show(scenario, headless=headless, limit=speed, as_json=as_json)
    emit(document, as_json, text)
