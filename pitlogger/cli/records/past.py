"""The daemon's record of past cooks, for the commands that learn from it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING

from pitlogger.cli.client import Client
from pitlogger.errors import PitloggerError

if TYPE_CHECKING:
    from pitlogger.formats.paper_log import PaperRow
    from pitlogger.model.book import Book
    from pitlogger.yields.purchase.cut_priors import CutPrior


def books(socket: Path | None = None) -> list[Book]:
    """Return the book of each cook, oldest first.

    Raises:
        DaemonUnreachableError: No daemon answers.
    """
    cooks = Client(socket).get("/record")  # before the models of the journal: it may not answer
    from pitlogger.formats.journal_json import load_entry
    from pitlogger.model.folding import fold

    return [fold([load_entry(entry) for entry in cook["entries"]]) for cook in cooks]


def mass_unit(socket: Path | None = None) -> str:
    """Return the unit in which the daemon shows masses."""
    return str(Client(socket).get("/status")["units"]["mass"])


def currency(socket: Path | None = None) -> str:
    """Return the currency that the daemon reckons in."""
    return str(Client(socket).get("/status")["currency"])


def cooled(cooks: Sequence[str], socket: Path | None = None) -> bool | None:
    """Return whether the food logs of cooks show leftovers cooled in time, ``None`` without any."""
    from pitlogger.planning.leftovers import shown_cooled

    logs = []
    for cook in cooks:
        with suppress(PitloggerError):  # no daemon, or a cook of another record
            logs.append(Client(socket).get("/log", cook=cook)["rows"])
    shown = [shown_cooled((r["sheet"], r["what"], r["met"]) for r in rows) for rows in logs]
    return all(shown) if shown else None


def priors(socket: Path | None = None) -> Mapping[str, CutPrior]:
    """Return the priors of the firm that a person took on this node, by cut."""
    found = Client(socket).get("/uplink/priors")
    if not found["taken"]:
        return {}
    from pitlogger.uplink.offers import PriorOffer

    return PriorOffer.model_validate(found).priors()


def add_cooks(
    rows: Sequence[PaperRow], socket: Path | None = None, batch: str = "", header: str = "",
    answers: Sequence[str] = (),
) -> tuple[int, int]:  # fmt: skip
    """Put the cooks of a paper log on record, all or none.

    Returns how many rows were new, and how many cooks were withdrawn before and stay out.

    ``answers`` are kept for the next sheet with the same ``header``.
    """
    from pitlogger.formats.journal_json import dump_body
    from pitlogger.formats.paper_journal import cooks_of

    cooks = [
        {
            "name": cook.name,
            "start_ms": cook.start_ms,
            "bodies": [{"t_ms": t_ms, "body": dump_body(body)} for t_ms, body in cook.bodies],
        }
        for cook in cooks_of(rows)
    ]
    if not cooks:
        return 0, 0
    made = Client(socket).post("/record", cooks=cooks, batch=batch, header=header,
                               answers_kept=list(answers))  # fmt: skip
    return int(made["rows"]), int(made["stay_out"])
