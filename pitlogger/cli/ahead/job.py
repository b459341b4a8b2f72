"""``pitlogger job``: one job from the enquiry to the invoice."""

from __future__ import annotations

import time
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from pitlogger.cli.ahead.history import (
    DaemonRecord,
    history_option,
    own_currency,
    past_cooks,
    record_option,
)
from pitlogger.cli.ahead.options import named_as_options
from pitlogger.cli.files import FILE, PATH
from pitlogger.cli.output import emit, json_option
from pitlogger.cli.questions import answers
from pitlogger.errors import FieldError, RefusedError, UsageError

if TYPE_CHECKING:
    from pitlogger.formats.job_file import JobFile
    from pitlogger.planning.job.answer import JobAnswer
    from pitlogger.planning.job.papers import Paper

file_argument = click.argument("file", type=FILE)
out_option = click.option("--out", type=PATH, required=True, help="Where to: a name in .html.")
register_option = click.option(
    "--register",
    type=FILE,
    help="Register of issued papers; papers.jsonl beside FILE.",
)


@click.group()
def job() -> None:
    """Work one catering job: buy, schedule, quote, issue, look back.

    A job is a TOML file; every number comes from the same purchase.
    """


@job.command()
@click.argument("file", type=FILE)
@click.option("--guests", type=click.IntRange(1, 100_000), required=True, metavar="N")
@click.option("--serve-at", required=True, metavar="TIME", help="2026-09-19T18:00-05:00.")
@click.option("--place", required=True, help="In words of your own.")
@click.option("--menu", required=True, metavar="DISHES",
              help="brisket-packer, or brisket-packer:60%,pork-butt:40%.")  # fmt: skip
@click.option("--name", default="", help="Of the job; papers need one.")
def new(file: Path, guests: int, serve_at: str, place: str, menu: str, name: str) -> None:
    """Write a job FILE from four answers: guests, when, where, dishes."""
    from pitlogger.formats.job_file import parse_job
    from pitlogger.planning.fields import known_cut, moment_ms
    from pitlogger.planning.fields import menu as read_menu
    from pitlogger.planning.job.first_file import first_job
    from pitlogger.planning.job.times import check_serving_time

    with named_as_options():
        at_ms = moment_ms(serve_at, "serve_at")
        if ":" in menu:
            dishes = [(dish.cut, f"{dish.share * 100:g}") for dish in read_menu(menu)]
        else:
            dishes = [(known_cut(menu, "dishes"), "100")]
        check_serving_time(at_ms, round(time.time() * 1000))
    typed = datetime.fromisoformat(serve_at)  # its offset is the place's, not this computer's
    at = (typed if typed.tzinfo else typed.astimezone()).isoformat(timespec="minutes")
    text = first_job(dishes, guests, at, place, name)
    parse_job(text)
    try:
        with file.open("x", encoding="utf-8") as written:
            written.write(text)
    except FileExistsError:
        raise RefusedError(f"{file} is there already; nothing written") from None
    except OSError as fault:
        raise RefusedError(f"{file}: cannot be written: {fault.strerror}") from None
    click.echo(f"{file} written; see it with: pitlogger job show {file}")


@job.command()
def example() -> None:
    """Print an example of a job file, with every key."""
    from importlib.resources import files

    click.echo((files("pitlogger.texts") / "job.toml").read_text(encoding="utf-8"), nl=False)


@job.command()
@file_argument
@click.option("--against", type=FILE,
              help="The job as it was: also say what follows from the change.")  # fmt: skip
@history_option
@record_option
@json_option
def show(file: Path, against: Path | None, history_file: Path | None, as_json: bool) -> None:
    """Answer a job FILE: what to buy, when, what it costs and earns; after it, why."""
    from pitlogger.cli.ahead.job_text import answer_text, changes_text

    past = past_cooks(history_file)
    _, answer = _answered(file, None, past)
    document = answer.document()
    if against is None:
        emit(document, as_json, answer_text(document))
        return
    from pitlogger.planning.document import as_document
    from pitlogger.planning.job.change import follows

    _, before = _answered(against, None, past)
    document["changes"] = as_document(follows(before, answer))
    emit(document, as_json, f"{changes_text(document['changes'])}\n\n{answer_text(document)}")


@job.command()
@file_argument
@click.option("--out", type=FILE, help="Where to; printed if left out.")
@history_option
@record_option
def cook(file: Path, out: Path | None, history_file: Path | None) -> None:
    """Print the cook file of a job: its guests, its hour, a piece for each that is bought.

    \b
    Example:
      pitlogger job cook supper.toml --out cook.toml && pitlogger cook start cook.toml
    """
    from pitlogger.planning.job.cook import cook_file

    text = cook_file(*_answered(file, history_file))
    if out is None:
        click.echo(text, nl=False)
        return
    try:
        with out.open("x", encoding="utf-8") as written:
            written.write(text)
    except OSError as fault:
        raise RefusedError(f"{out}: {fault.strerror}: nothing written") from None
    click.echo(f"{out} written; begin it with: pitlogger cook start {out}")


@job.command()
@click.argument("what", type=click.Choice(["shopping", "run-sheet", "packing"]))
@file_argument
@click.option("--unit", type=click.Choice(["lb-oz", "lb", "kg", "g"]), default="lb-oz")
@out_option
@history_option
@record_option
def sheet(what: str, file: Path, unit: str, out: Path, history_file: Path | None) -> None:
    """Print a sheet for the kitchen: shopping list, run sheet, packing list."""
    from pitlogger.reports.job_sheets import packing_list, run_sheet, shopping_by_supplier

    document = _answered(file, history_file)[1].document()
    made = {
        "shopping": lambda: shopping_by_supplier(document, unit),
        "run-sheet": lambda: run_sheet(document),
        "packing": lambda: packing_list(document, unit),
    }[what]()
    _write(made, out)


@job.command()
@click.argument("kind", type=click.Choice(["quote", "invoice", "receipt"]))
@file_argument
@register_option
@history_option
@record_option
@json_option
def issue(
    kind: Any, file: Path, register: Path | None, history_file: Path | None, as_json: bool
) -> None:
    """Issue a quote, an invoice or receipts: numbered, and never changed afterwards.

    It shows them and asks first. What was issued and is no longer true is followed by a new
    version, a change order or a credit note.
    """
    from pitlogger.node.register import issue_asked
    from pitlogger.planning.job import papers
    from pitlogger.planning.job.prices import price_doubts

    source, answer = _answered(file, history_file)
    path = register or file.with_name("papers.jsonl")
    today = datetime.now().astimezone().date().isoformat()

    def make(issued: Any) -> tuple[Paper, ...]:
        return papers.issue(kind, source, answer, issued, today)

    with named_as_options():
        papers.ask_who_came(kind, source, answer, answers())
        doubts = price_doubts(source, answer.currency)
        made = issue_asked(path, make, answers(), doubts)
    lines = [f"{paper.on}  {paper.line}" for paper in made]
    lines = lines or [f"Nothing to issue: the last {kind} says the same."]
    emit({"issued": bool(made), "papers": [paper.shown() for paper in made]}, as_json,
         "\n".join(lines))  # fmt: skip


@job.command("papers")
@click.argument("register", type=FILE)
@json_option
def papers_command(register: Path, as_json: bool) -> None:
    """List the issued papers of a REGISTER, oldest first."""
    from pitlogger.node.register import read_register

    found = read_register(register)
    lines = [f"{paper.on}  {paper.line}" for paper in found] or ["Nothing issued."]
    emit({"papers": [paper.shown() for paper in found]}, as_json, "\n".join(lines))


@job.command("paper")
@click.argument("register", type=FILE)
@click.argument("number")
@click.option("--version", type=click.IntRange(1), help="Of a quote; the last by default.")
@click.option("--firm", default="", help="Name and address at the head.")
@out_option
def paper_command(register: Path, number: str, version: int | None, firm: str, out: Path) -> None:
    """Print an issued paper as it was issued: a quote, invoice, credit note or receipt."""
    from dataclasses import asdict

    from pitlogger.errors import unknown
    from pitlogger.node.register import read_register
    from pitlogger.reports.papers import paper_sheet

    found = read_register(register)
    chosen = [p for p in found if p.number == number.upper() and version in (None, p.version)]
    if not chosen:
        raise UsageError(unknown("paper", number, [paper.number for paper in found]))
    _write(paper_sheet(asdict(chosen[-1]), firm), out)


@job.command()
@click.argument("files", nargs=-1, required=True, type=FILE)
@history_option
@record_option
@json_option
def months(files: tuple[Path, ...], history_file: Path | None, as_json: bool) -> None:
    """Sales and margin by event, dish and month, of job FILES."""
    from pitlogger.cli.ahead.job_text import months_text
    from pitlogger.planning.job.months import by_month

    past = past_cooks(history_file)
    document = by_month([_answered(file, None, past) for file in files])
    emit(document, as_json, months_text(document))


def _answered(file: Path, history_file: Path | None, past: Any = None) -> tuple[JobFile, JobAnswer]:
    from pitlogger.formats.job_file import load_job
    from pitlogger.planning.job.calculation import answer_job
    from pitlogger.planning.leftovers import cooks_to_look_at

    source = load_job(file)
    known = past_cooks(history_file) if past is None else past
    try:
        currency = source.job.currency or own_currency()
        record = click.get_current_context().find_object(DaemonRecord)
        looked = cooks_to_look_at(source) if record else []
        answer = answer_job(
            source, known, currency=currency, now_ms=round(time.time() * 1000),
            cooled=record.cooled(looked) if record and looked else None,
        )  # fmt: skip
    except FieldError as fault:
        raise UsageError(f"{file}: {fault}") from None
    return source, answer


def _write(made: Any, out: Path) -> None:
    from pitlogger.cli.records.report import write

    write(made, out)
