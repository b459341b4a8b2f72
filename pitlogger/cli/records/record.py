"""``pitlogger record``: the food log: show it, verify its chain, correct, sign."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from pitlogger.cli.client import Client, socket_option
from pitlogger.cli.output import by_option, emit, json_option

CAUTION = (
    "pitlogger is a record and a reminder: the local code and the licensed or certified person "
    "decide. Doubtful food is thrown away."
)


@click.group()
def record() -> None:
    """Show the food log of a cook, verify that nothing was altered, sign it off."""


@record.command()
@click.argument("cook", required=False)
@socket_option
@json_option
def show(cook: str | None, socket: Path | None, as_json: bool) -> None:
    """Show the sheets of COOK, the last one by default, and what they lack."""
    log = Client(socket).get("/log", cook=cook)
    emit(log, as_json, "" if as_json else _text(log))


def _text(log: dict[str, Any]) -> str:
    lines = [f"food log of {log['cook']}"]
    for sheet, title in log["sheets"].items():
        rows = [row for row in log["rows"] if row["sheet"] == sheet]
        if rows:
            lines += ["", title]
            lines += [f"  {_row(row)}" for row in rows]
    lines += [""] if log["checks"] else []
    lines += [f"check of {_check(row)}" for row in log["checks"]]
    lines += [
        f"! {row['product']}, {row['what']}: {', '.join(row['missing'])} missing"
        for row in log["missing"]
    ]
    lines += [f"signed by {held['by']} at {held['at']}" for held in log["signed"]]
    return "\n".join([*lines, "", CAUTION])


def _row(row: dict[str, Any]) -> str:
    verdict = {True: "limit met", False: "limit not met", None: ""}[row["met"]]
    struck = " (struck)" if row["struck_by"] else ""
    parts = [row["observed_at"], row["product"], row["what"], row["value"], row["limit"], verdict,
             row["by"], row["note"]]  # fmt: skip
    return ", ".join(part for part in parts if part) + struck + _answer(row)


def _answer(row: dict[str, Any]) -> str:
    """Return what was done about a limit not met, on lines of its own."""
    if row["met"] is not False or row["struck_by"]:
        return ""
    taken = row["corrective"]
    if taken is None:
        return "\n      no corrective action is on record (pitlogger record correct)"
    return (
        f"\n      corrective action by {taken['by']} at {taken['at']}"
        f"\n      cause: {taken['cause']}; control restored: {taken['control_restored']}"
        f"\n      prevention: {taken['prevention']}; disposition: {taken['disposition']}"
    )


def _check(row: dict[str, Any]) -> str:
    verdict = "within its tolerance" if row["within"] else "outside its tolerance"
    return f"{row['instrument']} ({row['method']}) at {row['at']} by {row['by']}: {verdict}"


@record.command()
@click.argument("cook", required=False)
@socket_option
@json_option
def verify(cook: str | None, socket: Path | None, as_json: bool) -> int:
    """Verify that the record of COOK holds against its sign-offs. Exit code 1 if not."""
    log = Client(socket).get("/log", cook=cook)
    document = {name: log[name] for name in ("cook", "entries", "head", "signed", "faults")}
    told = log["faults"] or [
        f"{log['entries']} entries, {len(log['signed'])} sign-offs: the chain holds"
    ]
    emit(document, as_json, "\n".join(told))
    return 1 if log["faults"] else 0


@record.command()
@click.argument("cook", required=False)
@by_option
@socket_option
@json_option
def sign(cook: str | None, by: str, socket: Path | None, as_json: bool) -> None:
    """Sign the record of COOK off after review (--by INITIALS)."""
    entry = Client(socket).post("/log/sign", cook=cook, by=by)
    emit(entry, as_json, f"signed: {entry['entries']} entries, {entry['head'][:16]}…")


@record.command()
@click.argument("piece")
@click.option("--cause", required=True, help="What was found and what caused it.")
@click.option("--restored", required=True, help="How control was restored.")
@click.option("--prevention", required=True, help="What keeps it from happening again.")
@click.option("--disposition", required=True, help="What became of the food, such as discarded.")
@click.option("--alert", help="The alert it answers.")
@by_option
@socket_option
@json_option
def correct(
    piece: str, cause: str, restored: str, prevention: str, disposition: str, alert: str | None,
    by: str, socket: Path | None, as_json: bool,
) -> None:  # fmt: skip
    """Record corrective action on PIECE: the four parts of 9 CFR 417.3(a), and who."""
    entry = Client(socket).post(
        "/log/corrective", piece=piece, cause=cause, control_restored=restored,
        prevention=prevention, disposition=disposition, alert=alert, by=by,
    )  # fmt: skip
    emit(entry, as_json, f"recorded for {piece}: {disposition}")
