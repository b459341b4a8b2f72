"""`pitlogger schedule`: when to thaw, trim, light, load, wrap, rest and leave."""

from __future__ import annotations

import time
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from pitlogger.cli.ahead.history import cut_option, past_cooks, record_option
from pitlogger.cli.ahead.options import named_as_options
from pitlogger.cli.files import FILE, PATH
from pitlogger.cli.output import emit, json_option
from pitlogger.errors import UsageError

if TYPE_CHECKING:
    from pitlogger.model.cooks import Cook
    from pitlogger.planning.timeline import ScheduleQuestion


@click.command("schedule")
@click.option("--cook", "cook_file", type=FILE, help="Cook file (TOML) with pieces and services.")
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
@click.option("--ics", type=PATH, help="Also write an iCalendar file.")
@record_option
@json_option
def schedule(as_json: bool, ics: Path | None, **given: Any) -> None:
    """Work back from each service to the time the fire has to be lit.

    Durations start from common practice and are learned from the record. A piece done early
    waits in the hold: the longest wait is held against the policy's hot-holding limit.
    """
    from pitlogger.cli.ahead.schedule_text import schedule_ics, schedule_text
    from pitlogger.planning.timeline import schedule as answer

    with named_as_options():
        asked = question(given)
        document = answer(asked, past_cooks()).document()
    document["notes"] = [*_of_the_past(asked.cook), *document["notes"]]
    if ics is not None:
        ics.write_text(schedule_ics(document), encoding="utf-8", newline="")
    emit(document, as_json, schedule_text(document))


def _of_the_past(cook: Cook) -> list[str]:
    """Return that a serving time is past, which may be a slip of its year."""
    from pitlogger.model.quantities import show_duration

    past_ms = round(time.time() * 1000) - max((one.at_ms for one in cook.services), default=0)
    if past_ms <= 0 or not cook.services:
        return []
    return [f"The last serving time was {show_duration(past_ms)} ago: check its date."]


def question(given: dict[str, Any]) -> ScheduleQuestion:
    """Return the question that the options as typed put.

    Raises:
        FieldError: One cannot be read.
    """
    from pitlogger.model.quantities import parse_duration_ms
    from pitlogger.planning import fields
    from pitlogger.planning.timeline import ScheduleQuestion
    from pitlogger.safety.policy import shipped_policy

    brine, frozen = given["brine"], given["frozen"]
    return ScheduleQuestion(
        _cook(given),
        given["confidence_pct"],
        fields.read("brine_h", parse_duration_ms, brine) / 3_600_000 if brine else 0.0,
        fields.grams(frozen, "frozen_g", zero=True) if frozen else 0.0,
        given["heated_hold"],
        given["hold_takes"],
        fields.pits_cm2(given["pits"]),
        shipped_policy(given["policy"]),
    )


def _cook(given: dict[str, Any]) -> Cook:
    from pitlogger.model.cooks import Service
    from pitlogger.model.quantities import parse_length_mm
    from pitlogger.planning import fields
    from pitlogger.planning.timeline import one_cut

    cut, serve_at, cook_file = given["cut"], given["serve_at"], given["cook_file"]
    if cook_file is not None:
        from pitlogger.formats.cook_file import load_cook

        if cut or serve_at:
            raise UsageError("--cook names pieces and services: leave --cut and --serve-at out")
        cook = load_cook(cook_file)
        if not given["wrapped"]:
            cook = replace(cook, pieces=tuple(replace(p, wrap="none") for p in cook.pieces))
        return cook
    if cut is None or serve_at is None:
        raise UsageError("give --cook COOK.toml, or --serve-at TIME with --cut CUT")
    at_ms = fields.moment_ms(serve_at, "serve_at")
    thickness = given["thickness"]
    return one_cut(
        fields.known_cut(cut),
        given["count"],
        Service(at_ms, drive_min=given["drive_min"], setup_min=given["setup_min"]),
        name=f"{cut} for {serve_at}",
        thickness_mm=fields.read("thickness", parse_length_mm, thickness) if thickness else None,
        wrapped=given["wrapped"],
    )
