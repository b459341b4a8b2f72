"""``pitlogger replay``: a capture through the engine, as if it came now."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from pitlogger.cli.files import PATH
from pitlogger.cli.output import emit, json_option
from pitlogger.model.quantities import show_chance


@click.command()
@click.argument("capture", type=PATH)
@click.option(
    "--cook",
    "cook_files",
    type=PATH,
    multiple=True,
    help="Cook file (TOML); several for cooks that were open at once.",
)
@click.option(
    "--infer",
    is_flag=True,
    help="Leave out the stage marks of CAPTURE; print the stages as they are recognised.",
)
@json_option
def replay(capture: Path, cook_files: tuple[Path, ...], infer: bool, as_json: bool) -> None:
    """Run CAPTURE (SenML, one pack a line) through the engine and print what it makes of it.

    Needs no daemon and writes nothing. The same capture gives the same journal and alerts.
    """
    from pitlogger.bootstrap.engines import replay_files
    from pitlogger.reports.replay_document import replay_document

    gathered, engine = replay_files(capture, *cook_files, infer=infer)
    document = replay_document(
        gathered, engine.book, engine.recognition.proposals if infer else None
    )
    emit(document, as_json, "" if as_json else _story(document))


def _found(row: dict[str, Any]) -> str:
    return f" (looks so, {show_chance(row['p'])})" if row["source"] == "inferred" else ""


def _story(document: dict[str, Any]) -> str:
    hours = document["span_s"] / 3600
    lines = [f"{document['readings']} readings over {hours:.1f} h"]
    events = [
        (row["from"], f"{row['piece']}: {row['stage']}{_found(row)}") for row in document["stages"]
    ] + [
        (row["at"], f"{row['kind']} {row['state']}: {row['message']}")
        for row in document["alerts"]
    ] + [
        (row["at"], f"{row['piece']}: {row['net_g']:.0f} g at {row['checkpoint']}")
        for row in document["weighings"]
    ]  # fmt: skip
    lines += [f"{at}  {text}" for at, text in sorted(events)]
    for account in document["yields"]:
        if account["servable_pct"] is not None:
            lines.append(
                f"{account['piece']}: servable {account['servable_g']:.0f} g, "
                f"{account['servable_pct']:.1f} % of purchased"
            )
        lines += [f"  ? {doubt['message']}" for doubt in account["doubts"]]
    return "\n".join(lines)
