"""``pitlogger cook``: start, show, list and finish cooks."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from pitlogger.cli.cooking.mend import required_reason
from pitlogger.cli.daemon import DaemonClient, to_daemon, to_journal
from pitlogger.cli.files import PATH
from pitlogger.cli.moments import at_option, moment_text, said_at
from pitlogger.cli.output import disposed_options, table
from pitlogger.formats.moments import shown_local


@click.group()
def cook() -> None:
    """Start, show, list and finish cooks."""


@cook.command()
@click.argument("file", type=PATH)
@at_option
@to_journal
def start(daemon: DaemonClient, file: Path, at: str | None) -> None:
    """Start the cook that FILE (TOML) describes, now or when it began (--at)."""
    from pitlogger.formats.cook_file import load_cook

    load_cook(file)  # told with its file and line here, before the daemon is asked
    toml = file.read_text(encoding="utf-8")
    entry = daemon.post("/cooks", toml=toml, at=moment_text(at))
    when = said_at(entry["happened"], at)
    daemon.emit(entry, f"started: {entry['cook']['name']}{when} (entry {entry['id']})")


@cook.command()
@click.option("--pad", is_flag=True, help="One for 'cook enter': a cook from a pad.")
def example(pad: bool) -> None:
    """Print an example of a cook file, with every key."""
    from importlib.resources import files

    name = "pad.toml" if pad else "cook.toml"
    click.echo((files("pitlogger.texts") / name).read_text(encoding="utf-8"), nl=False)


@cook.command()
@click.argument("file", type=PATH)
@click.option("--dry-run", is_flag=True, help="Read and show, put nothing on record.")
@to_journal
def enter(daemon: DaemonClient, file: Path, dry_run: bool) -> None:
    """Put a whole cook on record that was written on a pad: FILE (TOML).

    A cook file with one [[entry]] a line of the pad, with its time or without; 'pitlogger cook
    example --pad' prints one. The same file twice is one cook.
    """
    from pitlogger.cli.records.pad import enter_pad

    document = enter_pad(file, daemon, dry_run)
    daemon.emit(document, document["text"])


@cook.command()
@click.argument("name", required=False)
@to_daemon
def show(daemon: DaemonClient, name: str | None) -> None:
    """Show the running cook, or all that are open, or the journal of the cook NAMEd."""
    status = daemon.get("/status")
    open_cooks = [cook["id"] for cook in status["cooks"]]
    shown = open_cooks if name is None and open_cooks else [name]
    rows = {row["id"]: row for cook in shown for row in daemon.get("/journal", cook=cook)}
    journal = list(rows.values())
    if len(shown) > 1:
        journal.sort(key=lambda row: str(row["happened"]))
    lines = [] if name is not None else [status["sentence"]]
    lines += [_line(row, status["units"]) for row in journal]
    document = {"journal": journal} | ({} if name is not None else {"status": status})
    daemon.emit(document, "\n".join(lines))


def _line(row: dict[str, Any], units: dict[str, str]) -> str:
    """Return when something happened, its id, what it says, when it was entered and by whom."""
    from pitlogger.formats.journal_json import load_body
    from pitlogger.rules.messages import Units
    from pitlogger.views.entries import body_words

    words = body_words(load_body(row), Units(**units))
    late = shown_local(row["happened"]) != (at := shown_local(row["at"]))
    entered = [f"entered {at}"] if late else []
    told = [*entered, *([f"by {row['by']}"] if row["by"] else [])]
    is_timed = row.get("timed") != "unrecorded"
    happened = shown_local(row["happened"]) if is_timed else "time not recorded"
    more = f" ({', '.join(told)})" if told else ""
    return f"{happened:<27}  {row['id']:>9}  {words}{more}"


@cook.command("list")
@click.option("--withdrawn", is_flag=True, help="Those taken out of lists and learning too.")
@to_daemon
def list_cooks(daemon: DaemonClient, withdrawn: bool) -> None:
    """List the cooks on record, newest first."""
    cooks = daemon.get("/cooks", withdrawn=withdrawn or None)
    rows = [[row["cook"], row["name"], shown_local(row["started"]), _ended(row)] for row in cooks]
    text = table(rows, ["cook", "name", "started", "finished"]) if rows else "no cook on record yet"
    daemon.emit({"cooks": cooks}, text)


def _ended(row: dict[str, Any]) -> str:
    if row["withdrawn"]:
        return "withdrawn"
    return shown_local(row["finished"]) if row["finished"] else "running"


@cook.command()
@click.argument("name", required=False)
@click.option(
    "--disposition",
    type=click.Choice(["discarded", "reheated", "kept"]),
    help="What became of food whose limit was not met, where nobody said it yet.",
)
@disposed_options
@to_journal
def finish(daemon: DaemonClient, name: str | None, **disposed: Any) -> None:
    """Finish the running cook; of several that are open, the one NAMEd.

    Asked about first: food that is still held, cooled or reheated, and each limit that was not
    met while nobody said what became of that food.
    """
    entry = daemon.post("/cooks/finish", cook=name, **disposed)
    daemon.emit(entry, f"finished: {entry['name']} (how was the meal? pitlogger meal)")


@cook.command()
@click.argument("name")
@required_reason
@to_journal
def withdraw(daemon: DaemonClient, name: str, reason: str) -> None:
    """Take the finished cook NAMEd out of lists and learning. Nothing is erased.

    Its log says so; 'pitlogger undo ENTRY' brings it back.
    """
    entry = daemon.post("/cooks/withdraw", cook=name, reason=reason)
    daemon.emit(entry, f"withdrawn: {entry['cook']} (entry {entry['id']})")
