"""Putting right what was entered wrong: undo, correct, exclude, include."""

from __future__ import annotations

from typing import Any

import click

from pitlogger.cli.client import Client
from pitlogger.cli.daemon import DaemonClient, to_journal
from pitlogger.cli.moments import at_option, moment_text, said_at

cook_option = click.option("--cook", help="A cook by its name or id; by default the one that runs.")
reason_option = click.option("--reason", default="", help="Why; it stands in the record.")
required_reason = click.option("--reason", required=True, help="Why; it stands in the record.")


@click.command()
@click.argument("entry", required=False)
@cook_option
@reason_option
@click.option("--run", hidden=True)
@to_journal
def undo(
    daemon: DaemonClient, entry: str | None, cook: str | None, reason: str, run: str | None
) -> None:
    """Take ENTRY back, such as k7qm-42, of any cook; the last decision if none is named.

    The record keeps both. Taking back an undo brings the entry back.
    """
    made = daemon.post("/undo", **named(entry, run), cook=cook, reason=reason)
    daemon.emit(made, lambda: f"taken back: {_words_of(daemon, made)}")


def named(entry: str | None, run: str | None) -> dict[str, Any]:
    """Return how a request names an entry."""
    if entry is not None and run is not None and entry.isdecimal():
        return {"run": run, "seq": int(entry)}
    return {"entry": entry}


def _words_of(client: Client, undone: dict[str, Any]) -> str:
    """Return what the entry said that was taken back."""
    from pitlogger.formats.journal_json import load_body
    from pitlogger.model.entry_ids import short_id
    from pitlogger.rules.messages import Units
    from pitlogger.views.entries import body_words

    known = short_id(undone["of_run"], undone["of_seq"])
    row = client.get(f"/entries/{known}")
    units = Units(**client.get("/status")["units"])
    return f"{body_words(load_body(row), units)} (entry {known}, by entry {undone['id']})"


@click.command()
@click.argument("entry")
@cook_option
@click.option("--mass", help="The right mass, such as 13 lb 7 oz.")
@click.option("--tare", help="The right tare.")
@click.option("--checkpoint", help="The right checkpoint.")
@click.option("--piece", help="The right piece; of a cook's start, the piece that is meant.")
@click.option("--temp", "value", help="The right temperature.")
@click.option("--stage", help="The right stage.")
@click.option("--hours", help="For how long it may be held by time, 4 or 6.")
@click.option("--wrap", help="In what it was wrapped.")
@click.option("--wrap-at", help="The right wrap temperature.")
@click.option("--pull-at", help="The right temperature to take it off.")
@click.option("--cut", help="The right cut of a piece.")
@click.option("--count", type=int, help="How many the piece stands for.")
@click.option("--supplier", help="Who sold it.")
@click.option("--grade", help="Its grade.")
@click.option("--price-per-kg", help="What a kilogram cost.")
@click.option("--name", help="The right name of a cook.")
@click.option("--guests", type=int, help="The right number of guests of a cook.")
@click.option("--text", help="The right text of a note.")
@click.option("--run", hidden=True)
@reason_option
@at_option
@to_journal
def correct(
    daemon: DaemonClient, entry: str, at: str | None, run: str | None, **given: Any
) -> None:
    """Correct ENTRY, such as k7qm-42, of any cook.

    The old entry stays visible; the corrected one counts, in yields, plans and the food log.
    """
    made = daemon.post(
        "/corrections", **named(entry, run), **given,
        at=moment_text(at, daemon, given["cook"], entry=entry),
    )  # fmt: skip
    when = said_at(made["happened"], at)
    daemon.emit(made, lambda: f"corrected (entry {made['id']}): {_now(daemon, made)}{when}")


def _now(client: Client, corrected: dict[str, Any]) -> str:
    from pitlogger.formats.journal_json import load_body
    from pitlogger.rules.messages import Units
    from pitlogger.views.entries import body_words

    units = Units(**client.get("/status")["units"])
    return body_words(load_body(corrected["body"]), units)


def _learning(teaches: bool) -> click.Command:
    verb = "again teaches" if teaches else "no longer teaches"

    @click.command("include" if teaches else "exclude")
    @click.argument("what", metavar="[ENTRY|PIECE]", required=False)
    @cook_option
    @required_reason
    @to_journal
    def command(daemon: DaemonClient, what: str | None, cook: str | None, reason: str) -> None:
        from pitlogger.model.entry_ids import parse_short_id

        about = {"entry": what} if what and parse_short_id(what) else {"piece": what}
        made = daemon.post("/learning", teaches=teaches, cook=cook, reason=reason, **about)
        subject = what or cook or "the cook"
        daemon.emit(made, f"{subject} {verb} the next plan (entry {made['id']})")

    how = "Let an entry, a piece or a cook teach again" if teaches else (
        "Keep an entry, a piece or a whole cook from teaching the next plan")  # fmt: skip
    command.help = f"{how}, with a reason.\n\nNothing is removed from the record or the food log."
    return command


exclude = _learning(teaches=False)
include = _learning(teaches=True)
