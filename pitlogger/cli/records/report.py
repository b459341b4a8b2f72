"""``pitlogger report``: documents to be printed, kept or handed over."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from pitlogger.cli.files import FILE
from pitlogger.cli.installation.configuration import config_option, configuration
from pitlogger.cli.questions import answers
from pitlogger.errors import UsageError

if TYPE_CHECKING:
    from pitlogger.config import Config
    from pitlogger.reports.cook_record import CookRecord, Premises
    from pitlogger.reports.label import Label
    from pitlogger.reports.sheet import Sheet

out_option = click.option(
    "--out", type=FILE,
    help="File (.html); standard output by default.",
)  # fmt: skip
cook_option = click.option("--cook", help="Id or name; the running or the last one by default.")


SEALED, PLAIN = "vacuum-packed", "not vacuum-packed"


@click.group()
def report() -> None:
    """Make a cook report, a food log, a label, a take-along sheet, a shopping list.

    Documents are HTML made to be printed, or kept as PDF, by any browser. pitlogger is a record
    and a reminder: the local code and the licensed or certified person decide.
    """


def write(sheet: Sheet, out: Path | None) -> None:
    """Print a sheet as HTML, or write it to a file.

    Raises:
        UsageError: A name that does not end in .html.
    """
    from pitlogger.reports.html import html
    from pitlogger.reports.table_files import whole

    if out is None:
        click.echo(html(sheet), nl=False)
        return
    if out.suffix.casefold() not in (".html", ".htm"):
        raise UsageError(f"--out {out}: expected .html; any browser prints it, or keeps it as PDF")
    with whole(out) as fresh:
        fresh.write_text(html(sheet), encoding="utf-8")
    click.echo(str(out), err=True)


def record_of(config: Config, cook: str | None, as_signed: bool = False) -> CookRecord:
    """Return a cook from the record."""
    from pitlogger.bootstrap.policies import policies_of
    from pitlogger.reports.cook_record import load_record
    from pitlogger.rules.messages import Units
    from pitlogger.store.queries import Reader

    units = Units(config.units.temperature, config.units.mass)
    _, policy = policies_of(config)
    with Reader.open(config.database) as reader:
        return load_record(
            reader, cook, policy, units, premises=premises_of(config), as_signed=as_signed
        )


def premises_of(config: Config) -> Premises:
    """Return what the configuration says of the premises."""
    from pitlogger.reports.cook_record import Premises

    return Premises(**config.premises.model_dump())


def _from_record(make: Any, given: dict[str, Any]) -> None:
    out = given.pop("out")
    config = configuration(given.pop("config_file"))
    write(make(record_of(config, **given)), out)


@report.command()
@cook_option
@config_option
@out_option
def cook(**given: Any) -> None:
    """A whole cook on one page: chart, yield by step, stages, limits, alarms, instruments."""
    from pitlogger.reports.cook_report import cook_report

    _from_record(cook_report, given)


@report.command("food-log")
@cook_option
@config_option
@click.option("--signed", "as_signed", is_flag=True, help="As it was when it was last signed.")
@click.option("--blank", is_flag=True, help="The same form, empty, for days without power.")
@out_option
def food_log_command(blank: bool, **given: Any) -> None:
    """The food log: every sheet, what is missing, corrective action, sign-offs."""
    from pitlogger.bootstrap.policies import policies_of
    from pitlogger.reports.food_log import blank_log, food_log

    if not blank:
        _from_record(food_log, given)
        return
    config = configuration(given["config_file"])
    write(blank_log(premises_of(config), policies_of(config)[1]), given["out"])


@report.command("take-along")
@cook_option
@config_option
@out_option
def take_along_command(**given: Any) -> None:
    """A sheet for service off site: pieces, limits, and lines to fill in by hand."""
    from pitlogger.reports.take_along import take_along

    _from_record(take_along, given)


@report.command()
@click.argument("name")
@click.option("--cold/--hot", "cold", default=True, show_default=True, help="How it is kept.")
@click.option("--mass", help='Net mass, such as "2 lb 4 oz".')
@click.option("--ingredient", "ingredients", multiple=True,
              help='One, with what it holds: "butter (cream, salt)".')  # fmt: skip
@click.option("--contains", "holds", multiple=True, metavar="ALLERGEN",
              help="One of the nine major allergens that it holds.")  # fmt: skip
@click.option("--without", multiple=True, metavar="ALLERGEN",
              help="One that it does not hold. Each of the nine is answered.")  # fmt: skip
@click.option("--vacuum/--no-vacuum", default=None, help="Whether it is vacuum-packed: asked.")
@click.option("--packed", help="When it was packed; now by default.")
@click.option("--until", help="Use-by or discard time; by rule if left out.")
@click.option("--firm", default="", help="Name and place of who packed it.")
@click.option("--code", default="", help="What the QR code holds, such as cook and piece.")
@click.option("--out", type=FILE,
              help="File: .html, or .bin for a receipt printer (ESC/POS).")  # fmt: skip
@click.option("--printer", metavar="HOST[:PORT]|DEVICE",
              help="Print at once: 192.168.1.40:9100 or /dev/usb/lp0.")  # fmt: skip
def label(
    name: str, holds: tuple[str, ...], without: tuple[str, ...], vacuum: bool | None,
    printer: str | None, out: Path | None, **given: Any,
) -> None:  # fmt: skip
    """A label for packed food NAME: contents, allergens, use-by or discard time.

    Each of the nine major allergens is answered by a person (--contains milk --without egg ...),
    else the label says that it must not be handed out.
    """
    from pitlogger.reports.allergens import AllergenAnswer
    from pitlogger.reports.label import label_bytes, label_sheet
    from pitlogger.reports.table_files import whole

    answered = AllergenAnswer.of(holds, without)
    if vacuum is None:
        question = "Is it vacuum-packed (reduced oxygen)? Answer with --vacuum or --no-vacuum"
        vacuum = answers().choose(question, (PLAIN, SEALED)) == SEALED
    made = replace(_label(name, **given), allergens=answered, vacuum=vacuum)
    if left := answered.open():
        click.echo(f"not answered for: {', '.join(left)}; it says: do not hand out", err=True)
    if printer is not None:
        send_to_printer(printer, label_bytes(made))
    elif out is not None and out.suffix == ".bin":
        with whole(out) as fresh:
            fresh.write_bytes(label_bytes(made))
    else:
        write(label_sheet(made), out)


def _label(
    name: str, cold: bool, mass: str | None, ingredients: tuple[str, ...], packed: str | None,
    until: str | None, firm: str, code: str,
) -> Label:  # fmt: skip
    from pitlogger.reports.label import Label, until_by_default

    packed_at = _moment(packed, "--packed") if packed else datetime.now().astimezone()
    keep: Any = "cold" if cold else "hot"
    until_at = _moment(until, "--until") if until else until_by_default(keep, packed_at)
    if until_at <= packed_at:
        raise UsageError(f"--until {until_at:%Y-%m-%d %H:%M} lies before it was packed")
    return Label(name, keep, packed_at, until_at, firm, _mass(mass), ingredients, code=code)


def _mass(text: str | None) -> str:
    from pitlogger.model.quantities import parse_mass_mg

    if text is None:
        return ""
    parse_mass_mg(text)  # says what is wrong with it
    return text.strip()


def _moment(text: str, option: str) -> datetime:
    try:
        return datetime.fromisoformat(text).astimezone()
    except ValueError:
        raise UsageError(f"{option} '{text}' is not a time: write 2026-09-19T18:00") from None


def send_to_printer(where: str, data: bytes) -> None:
    """Send bytes to a device file, or to a host by TCP (port 9100 by default).

    Raises:
        PitloggerError: It cannot be reached.
    """
    import socket

    from pitlogger.errors import PitloggerError

    try:
        if where.startswith("/"):
            Path(where).write_bytes(data)
        else:
            host, _, port = where.partition(":")
            with socket.create_connection((host, int(port or 9100)), timeout=10) as wire:
                wire.sendall(data)
    except (OSError, ValueError) as fault:
        raise PitloggerError(f"printer {where} cannot be reached ({fault})") from None


@report.command()
@click.option("--plan", "plans", multiple=True, type=FILE,
              help="A document of 'pitlogger plan --json'; may be repeated.")  # fmt: skip
@click.option("--cook", "cooks", multiple=True, metavar="NAME|FILE",
              help="An open cook or a cook file: what it needs; may be repeated.")  # fmt: skip
@click.option("--item", "items", multiple=True, help="A further line, such as '2 rolls paper'.")
@click.option("--name", default="", help="Of the cook.")
@click.option("--unit", type=click.Choice(["lb-oz", "lb", "kg", "g"]), default="lb-oz")
@out_option
def shopping(
    plans: tuple[Path, ...], cooks: tuple[str, ...], items: tuple[str, ...], name: str, unit: str,
    out: Path | None,
) -> None:  # fmt: skip
    """A shopping list from purchase plans, by cook, and further lines."""
    from pitlogger.cli.ahead.plan import purchase_of_cook
    from pitlogger.reports.shopping import shopping_list

    needed = [*map(_plan, plans), *map(purchase_of_cook, cooks)]
    write(shopping_list(needed, items, name, unit), out)


def _plan(path: Path) -> dict[str, Any]:
    import json

    try:
        document = json.loads(path.read_text(encoding="utf-8"))
    except OSError as fault:
        raise UsageError(f"{path}: cannot be read ({fault.strerror})") from None
    except ValueError:
        raise UsageError(f"{path}: no JSON: write it with 'pitlogger plan --json'") from None
    if not isinstance(document, dict):
        raise UsageError(f"{path}: expected the document that 'pitlogger plan --json' prints")
    return document
