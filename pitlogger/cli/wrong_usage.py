"""What the parser of the command line refuses, said in one line as everything else is."""

from __future__ import annotations

import re
from collections.abc import Sequence

import click

from pitlogger.errors import nearest, unknown

_PLAIN = re.compile(r"is not a valid (integer|float)( range)?")
_NEGATIVE = re.compile(r"-\d|-\.\d")


def in_one_line(fault: click.ClickException, args: Sequence[str]) -> str:
    """Return what was given, what was expected, the nearest right word, and where to read on.

    Args:
        args: As typed, for a word that the parser took for options.
    """
    context = getattr(fault, "ctx", None)
    more = f": see '{context.command_path} --help'" if context is not None else ""
    return f"{' '.join(_words(fault, args).split()).rstrip('.')}{more}"


def _words(fault: click.ClickException, args: Sequence[str]) -> str:
    match fault:
        case click.NoSuchOption(option_name=name):
            typed = next((arg for arg in args if arg.startswith(name) and _NEGATIVE.match(arg)), "")
            if typed:
                return f"'{typed}' begins with a minus: masses, counts and shares are zero or more"
            known = [one for of in _options(fault) for one in of.opts]
            return f"no such option '{name}'{nearest(name, known)}"
        case click.MissingParameter(param=click.Parameter() as param):
            return f"{_name(param)} is missing{_expected(param)}"
        case click.BadParameter(param=click.Parameter(type=click.Choice() as choice) as param):
            given = re.match(r"'(.*)' is not one of", fault.message, re.DOTALL)
            if given is not None:
                return unknown(_name(param), given[1], map(str, choice.choices))
        case click.BadParameter(param=click.Parameter() as param):
            return f"{_name(param)}: {_PLAIN.sub(_plainly, fault.message)}"
        case _:
            pass
    message = fault.format_message().rstrip(".")
    message = re.sub(r"\. Did you mean (.*)\?$", r" (did you mean \1?)", message, flags=re.DOTALL)
    message = re.sub(r"^Got unexpected extra arguments? \((.*)\)$", r"'\1' is too much", message)
    return message[:1].lower() + message[1:]


def _plainly(found: re.Match[str]) -> str:
    return "is no whole number" if found[1] == "integer" else "is no number: write one such as 5"


def _options(fault: click.UsageError) -> list[click.Option]:
    command = fault.ctx.command if fault.ctx is not None else None
    params = command.params if command is not None else []
    return [param for param in params if isinstance(param, click.Option)]


def _name(param: click.Parameter) -> str:
    if isinstance(param, click.Option):
        return max(param.opts, key=len)
    shown = param.metavar or ""
    return (param.name or "").upper() if shown[:1] in ("", "[", "{") else shown


def _expected(param: click.Parameter) -> str:
    if isinstance(param.type, click.Choice):
        return f": one of {', '.join(map(str, param.type.choices))}"
    if isinstance(param, click.Option) and param.help:
        return f": {param.help}"
    return ""
