"""The ``pitlogger`` command: groups are loaded only when they are used."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterable
from importlib import import_module
from typing import TYPE_CHECKING

import click

from pitlogger.cli.questions import print_question, until_answered, with_confirm
from pitlogger.errors import PitloggerError, nearest
from pitlogger.questions import QuestionError

# Command: the module below this package and the attribute it lives in; what it does, which is
# shown without loading it.
COMMANDS: dict[str, tuple[str, str]] = {
    "begin": ("installation.begin:begin", "Set this installation up, question by question."),
    "run": ("installation.run:run", "Run the daemon."),
    "config": ("installation.config:config", "Print an example configuration, or check one."),
    "cook": ("cooking.cook:cook", "Start, show, list and finish cooks."),
    "piece": ("cooking.piece:piece", "Add, split and merge pieces."),
    "channel": ("instruments.channel:channel", "Say where a channel sits now."),
    "stage": ("cooking.act:stage", "Set the stage of a piece."),
    "weigh": ("cooking.act:weigh", "Keep a mass at a checkpoint."),
    "temp": ("cooking.act:temp", "Enter a hand probe's reading."),
    "hold-by-time": ("cooking.act:hold_by_time", "Hold a piece by time, not temperature."),
    "receive": ("cooking.act:receive", "Write down how a piece came in."),
    "note": ("cooking.act:note", "Write a note into the journal."),
    "undo": ("cooking.mend:undo", "Take an entry back."),
    "correct": ("cooking.mend:correct", "Correct an entry; the old one stays visible."),
    "exclude": ("cooking.mend:exclude", "Keep something from teaching the next plan."),
    "include": ("cooking.mend:include", "Let it teach again."),
    "alert": ("cooking.alert:alert", "List, acknowledge and shelve alerts."),
    "status": ("cooking.status:status", "Say how things stand."),
    "pair": ("installation.pair:pair", "Make a code that pairs a phone."),
    "phones": ("installation.pair:phones", "List and remove phones and programs."),
    "meal": ("records.meal:meal", "How the meal went, for the next plan."),
    "yield": ("records.yields:yield_command", "Yield by step, with its uncertainty."),
    "plan": ("ahead.plan:plan", "How much raw meat for these guests."),
    "price": ("ahead.price:price", "What to charge."),
    "schedule": ("ahead.schedule:schedule", "When to light the fire."),
    "job": ("ahead.job:job", "One job from the enquiry to the invoice."),
    "history": ("ahead.history:history", "Past cooks and what they teach."),
    "import": ("records.import_:import_command", "Read a paper log into the record."),
    "replay": ("records.replay:replay", "Run a capture through the engine."),
    "export": ("records.export:export", "Write a cook as a capture or a table."),
    "safety": ("records.safety:safety", "Judge a record by a food-safety policy."),
    "rules": ("cooking.rules:rules", "Which rules there are and what is watched now."),
    "record": ("records.record:record", "The food log: show, verify, correct, sign."),
    "forecast": ("cooking.forecast:forecast", "When it is done, and what would change it."),
    "night": ("cooking.night:night", "Before turning in: what will wake you."),
    "policy": ("records.safety:policy", "List and show food-safety policies."),
    "check": ("instruments.check:check", "Verify a probe or a scale."),
    "decode": ("instruments.decode:decode", "Show what a decoder makes of bytes."),
    "notify": ("installation.notify:notify", "Try the ways of sending; list what waits."),
    "label": ("records.label:label", "Tags of pieces and trays, to be scanned."),
    "report": ("records.report:report", "Sheets and labels to print or send."),
    "store": ("records.store:store", "Back up, restore and examine the record."),
    "service": ("installation.service:service", "Run at boot, as a system service."),
    "support": ("installation.support:support", "Gather what a report of a fault needs."),
    "devices": ("instruments.devices:devices", "List, find and try devices."),
    "uplink": ("fleet.uplink:uplink", "Send this node's record to a hub."),
    "hub": ("fleet.hub:hub", "The records of several nodes in one place."),
}
GROUP = "pitlogger.commands"  # entry points of other packages that add commands


if TYPE_CHECKING:
    from importlib.metadata import EntryPoint


def added_commands() -> Iterable[EntryPoint]:
    """Return the commands that other packages add, by name."""
    from importlib.metadata import entry_points  # costs as much as all the rest of a start

    return sorted(entry_points(group=GROUP), key=lambda point: point.name)


# Words of the work that are no commands, by what says them.
_MEANT = {
    "stage PIECE discarded": ("discard", "discarded", "drop", "dropped", "waste", "bin"),
    "stage PIECE wrapped": ("wrap", "wrapped"),
    "stage PIECE resting": ("pull", "pulled", "rest", "off"),
    "stage PIECE carved": ("carve", "slice", "shred", "chop"),
    "cook start FILE": ("start", "new"),
    "cook finish": ("finish", "end", "stop"),
    "cook list": ("list", "ls", "cooks"),
    "cook show": ("show", "log", "journal"),
    "cook withdraw": ("withdraw", "archive"),
    "undo ENTRY": ("delete", "remove", "rm", "revert", "cancel"),
    "correct ENTRY": ("edit", "change", "fix", "amend"),
    "job issue FILE": ("quote", "invoice"),
}


class LazyGroup(click.Group):
    """A group that knows its commands by name and imports one when it is called."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return [*COMMANDS, *(point.name for point in added_commands())]

    def get_command(self, ctx: click.Context, name: str) -> click.Command | None:
        if name in COMMANDS:
            module, _, attribute = COMMANDS[name][0].partition(":")
            command: click.Command = getattr(import_module(f"pitlogger.cli.{module}"), attribute)
            return with_confirm(command)
        for point in added_commands():
            if point.name == name:
                loaded: click.Command = point.load()
                return loaded
        return None

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        if args and self.get_command(ctx, args[0]) is None:
            known = next((one for one, names in _MEANT.items() if args[0].lower() in names), "")
            hint = f" (did you mean '{known}'?)" if known else ""
            hint = hint or nearest(args[0], self.list_commands(ctx))
            ctx.fail(f"No such command '{args[0]}'{hint}.")
        return super().resolve_command(ctx, args)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        rows = [(name, about) for name, (_, about) in COMMANDS.items()]
        rows += [(point.name, _about(point)) for point in added_commands()]
        with formatter.section("Commands"):
            formatter.write_dl(rows)


def _about(point: EntryPoint) -> str:
    """Return what an added command does; a broken one must not hide the others."""
    try:
        about: str = point.load().get_short_help_str(60)
    except Exception as fault:
        return f"Cannot be loaded ({point.value}): {fault}"
    return about


@click.group(cls=LazyGroup, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(package_name="pitlogger")
@click.pass_context
def root(ctx: click.Context) -> None:
    """Log, watch and learn from smoking large cuts of meat.

    Exit codes: 0 done, 1 failed or refused, 2 usage or unreadable input, 3 daemon not
    reachable, 4 done and an alarm is active.
    """
    from pitlogger.cli.ahead.history import DaemonRecord
    from pitlogger.cli.records import past

    if tag := os.environ.get("PITLOGGER_LANGUAGE"):
        from pitlogger.config import default_data
        from pitlogger.views.language import speak

        speak(tag, default_data() / "languages")
    ctx.obj = DaemonRecord(
        past.books, past.add_cooks, past.mass_unit, past.currency, past.priors, past.cooled
    )


def _last_words(error: Exception) -> str:
    """Return what to say of an error nobody expected; where it came from goes into a file."""
    if isinstance(error, PermissionError):
        where = error.filename or "a file it needs"
        return (
            f"this user may not use {where}. What belongs to the service is for its group: "
            "sudo usermod -aG pitlogger $USER, then log out and in again"
        )
    try:
        from pitlogger.service import crash

        said = crash.blotted(f"{type(error).__name__}: {error}")
        left = crash.leave_anywhere(error)
    except Exception as second:  # an installation of which parts are missing
        said, left = f"{type(error).__name__}; then {type(second).__name__}: {second}", None
    if left is None:
        return f"this should not have happened: {said}. No report could be left on the disk"
    return (
        f"this should not have happened: {said}. A report without secrets lies at {left}; "
        "please send it with what you did"
    )


def main(args: list[str] | None = None) -> None:
    """Run the command line; every error leaves as one message and an exit code."""
    try:
        code = until_answered(
            lambda: root.main(args=args, prog_name="pitlogger", standalone_mode=False)
        )
    except click.exceptions.NoArgsIsHelpError as fault:
        fault.show()
        sys.exit(2)
    except click.ClickException as fault:
        from pitlogger.cli.wrong_usage import in_one_line

        line = in_one_line(fault, sys.argv[1:] if args is None else args)
        click.echo(f"pitlogger: {line}", err=True)
        sys.exit(2)
    except click.Abort as end:
        is_key = isinstance(end.__cause__ or end.__context__, KeyboardInterrupt)
        if not is_key and not sys.stdin.isatty():  # its end was reached, and nobody pressed a key
            click.echo(
                "pitlogger: it asks questions, and there was no further answer to read: run it at "
                "a terminal; nothing was done with the answers so far",
                err=True,
            )
            sys.exit(1)
        click.echo("stopped", err=True)
        sys.exit(130)
    except QuestionError as fault:
        print_question(fault)
        sys.exit(fault.exit_code)
    except PitloggerError as fault:
        click.echo(f"pitlogger: {fault}", err=True)
        sys.exit(fault.exit_code)
    except BrokenPipeError:
        sys.stderr.close()
        sys.exit(1)
    except Exception as error:
        click.echo(f"pitlogger: {_last_words(error)}", err=True)
        sys.exit(1)
    sys.exit(code if isinstance(code, int) else 0)
