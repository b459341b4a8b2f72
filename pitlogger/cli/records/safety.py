"""``pitlogger safety`` and ``pitlogger policy``: a record against limits, and the limits."""

from __future__ import annotations

from dataclasses import fields
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from pitlogger.cli.files import PATH
from pitlogger.cli.output import emit, json_option, table
from pitlogger.errors import CaptureError, ConfigError, PitloggerError
from pitlogger.views.shown import Shown

if TYPE_CHECKING:
    from pitlogger.formats.capture import Record
    from pitlogger.model.book import Book
    from pitlogger.model.cooks import Cook
    from pitlogger.safety.policy import Policy


@click.command()
@click.argument("capture", type=PATH)
@click.option("--cook", "cook_file", type=PATH, required=True, help="Cook file (TOML).")
@click.option(
    "--policy",
    "policy_name",
    default="retail-food-code",
    show_default=True,
    metavar="NAME|FILE",
    help="A policy that ships (see 'pitlogger policy list') or a .toml file.",
)
@click.option("--fat", "fat_pct", type=click.FloatRange(0, 100), help="Fat share of poultry, %.")
@click.option(
    "--unit", type=click.Choice(["F", "C"]), default="F", show_default=True,
    help="Unit of the words; --json gives F and UTC.",
)  # fmt: skip
@json_option
def safety(
    capture: Path, cook_file: Path, policy_name: str, fat_pct: float | None, unit: str,
    as_json: bool,
) -> None:  # fmt: skip
    """Judge the record in CAPTURE (SenML) against the limits of a policy.

    Verdicts read limit met, limit not met, or not shown. pitlogger is a record and a
    reminder: the local code and the licensed or certified person decide, and doubtful food
    is thrown away.
    """
    from pitlogger.formats.capture import read_capture
    from pitlogger.formats.cook_file import load_cook
    from pitlogger.model.readings import Reading
    from pitlogger.safety.judge import document
    from pitlogger.safety.recorded import histories

    policy = find_policy(policy_name)
    cook = load_cook(cook_file)
    records = read_capture(capture)
    book = book_of(cook, records, str(capture))
    readings = [record for record in records if isinstance(record, Reading)]
    judged = document(histories(book, readings, fat_pct), policy)
    emit(judged, as_json, "" if as_json else _told(judged, unit))


def find_policy(name: str) -> Policy:
    """Return a policy by name, or from a ``.toml`` file.

    Raises:
        ConfigError: No such policy or file, or a file that cannot be used, with its line.
    """
    from pitlogger.safety.policy import parse_policy, shipped_policy

    if not name.endswith(".toml"):
        return shipped_policy(name)
    try:
        text = Path(name).read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as fault:
        raise ConfigError(f"{name}: cannot be read: {fault}") from None
    return parse_policy(text, name)


def book_of(cook: Cook, records: list[Record], name: str) -> Book:
    """Return the book of a cook and the decisions of its capture.

    Raises:
        CaptureError: With ``file:line`` of a decision that cannot be accepted.
    """
    from pitlogger.engine.commands import accept
    from pitlogger.formats.capture import Decision
    from pitlogger.model.folding import fold
    from pitlogger.model.journal import AlertActed, CookStarted, Entry

    entries: list[Entry] = []
    decisions = [record for record in records if isinstance(record, Decision)]
    if not any(isinstance(decision.body, CookStarted) for decision in decisions):
        start_ms = records[0].t_ms if records else 0
        entries.append(Entry("capture", 0, start_ms, CookStarted(cook)))
    book = fold(entries)
    for number, decision in enumerate(decisions, start=1):
        if isinstance(decision.body, AlertActed):
            continue
        run, seq = decision.origin or ("capture", number)
        try:
            body = accept(decision.body, book, entries, {}, decision.t_ms)
        except PitloggerError as fault:
            raise CaptureError(f"{name}:{decision.line}: {fault}") from None
        entries.append(Entry(run, seq, decision.t_ms, body, decision.by, decision.key))
        book = fold(entries)
    return book


def _told(judged: dict[str, Any], unit: str) -> str:
    from pitlogger.safety.verdict import NEVER_JUDGED, in_words
    from pitlogger.views.shown import reworded

    lines = [f"policy {judged['policy']} {judged['policy_version']}"]
    for piece in judged["pieces"]:
        lines += ["", str(piece["piece"])]
        for key, verdict in piece.items():
            if key == "piece" or not verdict["applies"]:
                continue
            label = key.replace("_", "-")
            is_warning = verdict["reason"].endswith(NEVER_JUDGED)
            said = "" if is_warning else f" {in_words(verdict['met'])}."
            lines.append(f"  {label}:{said} {reworded(verdict['reason'], unit, Shown.of_utc)}")
            lines.append(f"    {verdict['source']}")
    return "\n".join(
        [*lines, "", *(reworded(note, unit, Shown.of_utc) for note in judged["notes"])]
    )


@click.group()
def policy() -> None:
    """List the food-safety policies, or show the limits of one with their sources."""


@policy.command("list")
@json_option
def list_command(as_json: bool) -> None:
    """List the policies that ship."""
    from pitlogger.safety.policy import shipped_names, shipped_policy

    found = [shipped_policy(name) for name in shipped_names()]
    rows = [[held.name, held.version, held.title] for held in found]
    emit(
        {"policies": [dict(zip(("name", "version", "title"), row, strict=True)) for row in rows]},
        as_json,
        table(rows, ["policy", "version", "what it follows"]),
    )


@policy.command("show")
@click.argument("name", default="retail-food-code", metavar="[NAME|FILE]")
@json_option
def show_command(name: str, as_json: bool) -> None:
    """Show each limit of a policy with its value, source and how the figure is known."""
    held = find_policy(name)
    limits = {
        field.name: _limit(getattr(held, field.name))
        for field in fields(held)
        if field.name not in ("name", "version", "title")
    }
    rows = [[key, str(limit["shown"]), f"{limit['source']} [{limit['mark']}]"]
            for key, limit in limits.items()]  # fmt: skip
    emit(
        {"name": held.name, "version": held.version, "title": held.title, "limits": limits},
        as_json,
        f"{held.name} {held.version}: {held.title}\n" + table(rows, ["limit", "value", "source"]),
    )


def _limit(limit: Any) -> dict[str, Any]:
    from pitlogger.model.quantities import show_duration, show_temperature
    from pitlogger.safety.policy import Duration, StepLimit, Temperature

    if isinstance(limit, Temperature):
        value: dict[str, Any] = {"value_c": limit.mc / 1000, "shown": show_temperature(limit.mc)}
    elif isinstance(limit, StepLimit):
        value = {"value_c": limit.mc / 1000, "shown": f"{limit.mc / 1000:g} K"}
    elif isinstance(limit, Duration):
        value = {"value_s": limit.s, "shown": show_duration(limit.ms)}
    else:
        value = {"value": limit.value, "shown": f"{limit.value}"}
    return value | {"source": limit.source, "mark": limit.mark, "note": limit.note}
