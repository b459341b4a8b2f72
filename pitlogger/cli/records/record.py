"""``pitlogger record``: the food log: show it, verify its chain, correct, sign."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

import click

from pitlogger.cli.daemon import DaemonClient, to_daemon, to_journal
from pitlogger.cli.files import FILE
from pitlogger.cli.moments import moment_text
from pitlogger.cli.output import disposed_options
from pitlogger.errors import UsageError
from pitlogger.formats.moments import shown_local

CAUTION = (
    "pitlogger is a record and a reminder: the local code and the licensed or certified person "
    "decide. Doubtful food is thrown away."
)


@click.group()
def record() -> None:
    """Show the food log of a cook, verify that nothing was altered, sign it off."""


@record.command()
@click.argument("cook", required=False)
@to_daemon
def show(daemon: DaemonClient, cook: str | None) -> None:
    """Show the sheets of COOK, the last one by default, and what they lack."""
    log = daemon.get("/log", cook=cook)
    daemon.emit(log, lambda: _text(log))


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
    lines += [f"signed by {held['by']} at {shown_local(held['at'])}" for held in log["signed"]]
    lines += _since(log)
    return "\n".join([*lines, "", CAUTION])


def _since(log: dict[str, Any]) -> list[str]:
    """Return what was entered after the last signature."""
    return [
        f"after it was signed: {one['words']} ({one['id']}, {one['by'] or 'nobody named'},"
        f" {shown_local(one['at'])})"
        for one in log["since_signed"]
    ]


def _row(row: dict[str, Any]) -> str:
    verdict = {True: "limit met", False: "limit not met", None: ""}[row["met"]]
    struck = " (struck)" if row["struck_by"] else ""
    at = row["observed_at"]
    when = shown_local(at) if at else "time not recorded"
    parts = [when, row["product"], row["what"], row["value"], row["limit"], verdict,
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
        f"\n      corrective action by {taken['by']} at {shown_local(taken['at'])}"
        f"\n      cause: {taken['cause']}; control restored: {taken['control_restored']}"
        f"\n      prevention: {taken['prevention']}; disposition: {taken['disposition']}"
        + (f" ({taken['reason']})" if taken["reason"] else "")
    )


def _check(row: dict[str, Any]) -> str:
    verdict = "within its tolerance" if row["within"] else "outside its tolerance"
    at = shown_local(row["at"])
    return f"{row['instrument']} ({row['method']}) at {at}, by {row['by']}: {verdict}"


@record.command()
@click.argument("cook", required=False)
@to_daemon
def verify(daemon: DaemonClient, cook: str | None) -> int:
    """Verify that the record of COOK holds against its sign-offs. Exit code 1 if not."""
    log = daemon.get("/log", cook=cook)
    document = {name: log[name] for name in ("cook", "entries", "head", "signed", "faults")}
    told = log["faults"] or _checked(log)
    daemon.emit(document, "\n".join(told))
    return 1 if log["faults"] else 0


def _checked(log: dict[str, Any]) -> list[str]:
    """Return what was checked and what that shows, in words."""
    count = log["entries"]
    held = (
        f"{count} entries of {log['cook']} were read from the record. Each holds the SHA-256"
        " hash of the one before it, computed again just now: none was changed, taken out, added"
        " between or moved."
    )
    lines = [held]
    for one in log["signed"]:
        who = f"{one['name']} ({one['by']})" if one["name"] else one["by"]
        after = count - one["entries"]
        more = f"; {after} came after and are not signed" if after else ""
        at = shown_local(one["at"])
        lines.append(
            f"{who} signed the first {one['entries']} at {at}: they are as they were{more}."
        )
    lines += _since(log)
    if not log["signed"]:
        lines.append("Nobody signed it yet: entries cut from its end would not show.")
    lines.append(
        "It does not show whether what was written was true, nor anything written on paper only."
    )
    return lines


pin_option = click.option(
    "--pin-file", type=FILE,
    help="File with the PIN on its first line; asked at a terminal.",
)  # fmt: skip


def _pin(pin_file: Path | None, *, twice: bool = False) -> str:
    if pin_file is None and not sys.stdin.isatty():
        raise UsageError("there is no terminal to ask for the PIN: give it by --pin-file FILE")
    if pin_file is None:
        pin: str = click.prompt("PIN", hide_input=True, confirmation_prompt=twice)
        return pin
    try:
        return (pin_file.read_text(encoding="utf-8").splitlines() or [""])[0].strip()
    except OSError as fault:
        raise UsageError(f"--pin-file {pin_file}: cannot be read ({fault.strerror})") from None


@record.command()
@click.argument("initials")
@click.argument("name")
@pin_option
@to_daemon
def signer(daemon: DaemonClient, initials: str, name: str, pin_file: Path | None) -> None:
    """Give NAME, who signs as INITIALS, a PIN, or another one."""
    made = daemon.post("/log/signers", by=initials, name=name, pin=_pin(pin_file, twice=True))
    daemon.emit(made, f"{made['name']} may sign as {made['by']}")


@record.command()
@click.argument("cook", required=False)
@pin_option
@to_journal
def sign(daemon: DaemonClient, cook: str | None, pin_file: Path | None) -> None:
    """Sign the record of COOK off after review (--by INITIALS), confirmed by the signer's PIN."""
    if not daemon.by:
        raise UsageError("a review is signed: give the initials of who reviewed it (--by)")
    entry = daemon.post("/log/sign", cook=cook, pin=_pin(pin_file))
    daemon.emit(entry, f"signed: {entry['entries']} entries, {entry['head'][:16]}…")


@record.command()
@click.argument("piece")
@click.option("--cause", required=True, help="What was found and what caused it.")
@click.option("--restored", required=True, help="How control was restored.")
@click.option("--prevention", required=True, help="What keeps it from happening again.")
@click.option("--disposition", required=True, help="What became of the food, such as discarded.")
@click.option("--alert", help="The alert it answers.")
@click.option(
    "--breach", metavar="TIME", help="A moment of the breach it answers, where there are several."
)
@click.option("--cook", help="Of a cook that is over: its name or id.")
@disposed_options
@to_journal
def correct(
    daemon: DaemonClient,
    piece: str,
    restored: str,
    disposition: str,
    breach: str | None,
    **given: Any,
) -> None:
    """Record corrective action on PIECE: cause, control restored, prevention, disposition, who.

    One action answers one breach. Food that was kept asks why, food that was reheated its reading.
    """
    entry = daemon.post(
        "/log/corrective", piece=piece, control_restored=restored, disposition=disposition,
        breach=moment_text(breach, daemon, piece=piece), **given,
    )  # fmt: skip
    daemon.emit(entry, f"recorded for {piece}: {disposition}")
