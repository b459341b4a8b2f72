"""`pitlogger schedule`: when to thaw, trim, light, load, wrap, rest and leave."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from pitlogger.cli.ahead.history import cut_option, record_option
from pitlogger.cli.output import emit, json_option


@click.command("schedule")
@click.option("--cook", "cook_file", type=click.Path(path_type=Path, dir_okay=False),
              help="Cook file (TOML) with pieces and services.")  # fmt: skip
@click.option("--serve-at", metavar="TIME", help="When it is eaten: 2026-09-19T18:00-05:00.")
@cut_option
@click.option("--pieces", "count", type=click.IntRange(1, 60), default=1, show_default=True,
              help="How many pieces of --cut.")  # fmt: skip
@click.option("--thickness", metavar="LENGTH", help="Thickest part: 8 cm.")
@click.option("--wrap/--no-wrap", "wrapped", default=True, show_default=True)
@click.option("--drive-min", type=click.FloatRange(0), default=0.0, help="Drive, minutes.")
@click.option("--setup-min", type=click.FloatRange(0), default=0.0, help="Set-up, minutes.")
@click.option("--confidence", "confidence_pct", type=click.FloatRange(50, 99.5), default=90.0,
              show_default=True, metavar="PCT", help="Chance of being rested in time.")  # fmt: skip
@click.option("--brine", metavar="DURATION", help="Time in brine: 12 h.")
@click.option("--frozen", metavar="MASS", help="Mass of a frozen piece that has to thaw.")
@click.option("--heated-hold", is_flag=True, help="The hold keeps heat by itself.")
@click.option("--hold-takes", type=click.IntRange(1), metavar="N", help="Pieces the hold takes.")
@click.option("--policy", default="retail-food-code", show_default=True, metavar="NAME",
              help="Food-safety policy whose hot-holding limit counts.")  # fmt: skip
@click.option("--pit", "pits", multiple=True, metavar="NAME=AREA",
              help="Grate area of a pit, cm2: --pit big=4200.")  # fmt: skip
@click.option("--ics", type=click.Path(path_type=Path), help="Also write an iCalendar file.")
@record_option
@json_option
def schedule(as_json: bool, ics: Path | None, **given: Any) -> None:
    """Work back from each service to the time the fire has to be lit.

    Durations start from common practice and are learned from the record. A piece done early
    waits in the hold: the longest wait is held against the policy's hot-holding limit.
    """
    from pitlogger.cli.ahead.schedule_answer import (
        ScheduleGiven,
        schedule_document,
        schedule_ics,
        schedule_text,
    )

    document = schedule_document(ScheduleGiven(**given))
    if ics is not None:
        ics.write_text(schedule_ics(document), encoding="utf-8", newline="")
    emit(document, as_json, schedule_text(document))
