"""`pitlogger history`: past pieces, what was learned from them, and where they come from."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

import click

from pitlogger.cli.ahead.options import named_as_options
from pitlogger.cli.files import FILE, PATH
from pitlogger.cli.output import emit, json_option
from pitlogger.errors import UsageError, unknown

if TYPE_CHECKING:
    from pitlogger.model.book import Book
    from pitlogger.model.cooks import Cook
    from pitlogger.planning.past import PastCooks
    from pitlogger.yields.purchase.cut_priors import CutPrior

history_option = click.option(
    "--history",
    "history_file",
    type=FILE,
    metavar="FILE",
    help="Paper log (CSV or XLSX) to learn from instead of the daemon's record.",
)
cut_option = click.option("--cut", metavar="CUT", help="Cut, such as brisket-packer.")


@dataclass(frozen=True, slots=True)
class DaemonRecord:
    """The daemon's record, as a command sees it; the root command puts one in ``ctx.obj``.

    Attributes:
        books: Return the cooks on record, oldest first; raises ``DaemonUnreachableError``.
        add_cooks: Put cooks from a paper log on record, all or none; returns how many rows were new
            and how many cooks stay withdrawn. Takes the rows, and by keyword ``batch``, the name of
            the import.
        mass_unit: Return the unit in which the daemon shows masses.
        currency: Return the currency that the daemon reckons in.
        priors: Return the priors of the firm that were taken, by cut.
        cooled: Return whether the food logs of cooks show leftovers cooled in time.
    """

    books: Callable[[], list[Book]]
    add_cooks: Callable[..., tuple[int, int]]
    mass_unit: Callable[[], str] = lambda: "lb-oz"
    currency: Callable[[], str] = str
    priors: Callable[[], Mapping[str, CutPrior]] = dict
    cooled: Callable[[Sequence[str]], bool | None] = lambda cooks: None


def record_at(socket: Path) -> DaemonRecord:
    """Return the record of the daemon behind a socket."""
    from pitlogger.cli.records import past

    return DaemonRecord(
        partial(past.books, socket),
        partial(past.add_cooks, socket=socket),
        partial(past.mass_unit, socket),
        partial(past.currency, socket),
        partial(past.priors, socket),
        partial(past.cooled, socket=socket),
    )


def _from_socket(ctx: click.Context, option: click.Parameter, socket: Path | None) -> None:
    if socket is not None:
        ctx.obj = record_at(socket)


record_option = click.option(
    "--socket",
    type=PATH,
    callback=_from_socket,
    expose_value=False,
    help="Socket of the daemon whose record is used.",
)


def books_on_record() -> list[Book]:
    """Return the cooks on the daemon's record.

    Raises:
        DaemonUnreachableError: No daemon answers.
    """
    from pitlogger.errors import DaemonUnreachableError

    record = click.get_current_context().find_object(DaemonRecord)
    if record is None:
        raise DaemonUnreachableError(
            "no daemon answers, so there is no record of past cooks; start it, or give "
            "--history FILE.csv"
        )
    return record.books()


def cook_named(named: str) -> tuple[Cook, Book | None]:
    """Return a cook by its file, or an open one of the daemon's by its name or id, with its book.

    Raises:
        UsageError: The file cannot be read, or no open cook has that name.
    """
    if named.endswith(".toml"):
        from pitlogger.formats.cook_file import load_cook

        return load_cook(Path(named)), None
    held = {book.cook.name: book for book in books_on_record()
            if book.cook is not None and book.finished_ms is None}  # fmt: skip
    found = next((book for name, book in held.items()
                  if book.cook is not None and named in (name, book.cook.id)), None)  # fmt: skip
    if found is None or found.cook is None:
        raise UsageError(f"{unknown('open cook', named, held)}; or give a cook file (.toml)")
    return found.cook, found


def own_currency() -> str:
    """Return the currency that the daemon reckons in, empty where none answers."""
    from pitlogger.errors import DaemonUnreachableError

    context = click.get_current_context(silent=True)
    record = None if context is None else context.find_object(DaemonRecord)
    try:
        return "" if record is None else record.currency()
    except DaemonUnreachableError:
        return ""


def _priors() -> Mapping[str, CutPrior]:
    context = click.get_current_context(silent=True)
    record = None if context is None else context.find_object(DaemonRecord)
    return {} if record is None else record.priors()


def past_cooks(history_file: Path | None = None) -> PastCooks:
    """Return past cooks from the file, else from the record, else none, which is said.

    Raises:
        UsageError: The file or one of its rows cannot be read.
    """
    from pitlogger.errors import DaemonUnreachableError
    from pitlogger.planning.past import PastCooks

    if history_file is not None:
        from pitlogger.cli.questions import answers
        from pitlogger.formats.paper_log import read_paper_log

        return PastCooks.from_paper(read_paper_log(history_file, answers()))
    try:
        return PastCooks.from_books(books_on_record(), _priors())
    except DaemonUnreachableError:
        return PastCooks(notes=("No history: no daemon answers and no --history was given.",))


@click.command("history")
@cut_option
@history_option
@click.option("--export", "export_file", type=PATH,
              help="Also write the pieces as a paper log (CSV).")  # fmt: skip
@record_option
@json_option
def history(
    cut: str | None,
    history_file: Path | None,
    export_file: Path | None,
    as_json: bool,
) -> None:
    """Show past pieces and what was learned from them.

    Lists each piece with its servable yield, the next cook of every cut, the steps that
    cost most, and what the best third had more often than the rest.
    """
    from pitlogger.cli.ahead.history_text import history_text
    from pitlogger.planning.fields import known_cut
    from pitlogger.yields.learned.lessons_document import lessons_document

    past = past_cooks(history_file)
    with named_as_options():
        wanted = known_cut(cut) if cut else None
    document = lessons_document(past.pieces, wanted)
    document["notes"] = [*past.notes, *document["notes"]]
    if export_file is not None:
        from pitlogger.cli.ahead.history_text import paper_log_text

        export_file.write_text(paper_log_text(document["pieces"]), encoding="utf-8", newline="")
    emit(document, as_json, history_text(document))
