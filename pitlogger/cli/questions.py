"""Questions on the command line: asked at a terminal, printed as a document elsewhere.

Every command that talks to the daemon takes ``--confirm``; the answers travel with each
request it makes (``cli/client.py``).
"""

from __future__ import annotations

import json
import sys
from collections.abc import Callable
from contextvars import ContextVar

import click

from pitlogger.questions import ANSWERS_JOIN, NO_ANSWERS, Answers, Question, QuestionError

_given: ContextVar[Answers] = ContextVar("answers", default=NO_ANSWERS)


def answers() -> Answers:
    """Return the answers given so far."""
    return _given.get()


def confirm_text() -> str | None:
    """Return the answers that are left for a request, ``None`` where there are none."""
    return ANSWERS_JOIN.join(answers().unused()) or None


def with_confirm(command: click.Command) -> click.Command:
    """Return a command, and those below it, with the option ``--confirm``."""
    if isinstance(command, click.Group):
        for inner in command.commands.values():
            with_confirm(inner)
    elif any(one.name in ("socket", "confirm_needed") for one in command.params) and not any(
        "--confirm" in one.opts for one in command.params
    ):
        command.params.append(
            click.Option(
                ["--confirm"],
                multiple=True,
                metavar="ANSWER",
                expose_value=False,
                callback=_take,
                help="Answer to what was asked when this was tried before.",
            )
        )
    return command


def _take(ctx: click.Context, param: click.Parameter, value: tuple[str, ...]) -> None:
    answer(ctx, value)


def answer(ctx: click.Context, value: tuple[str, ...]) -> None:
    """Give answers while a command runs."""
    if value:
        before = _given.set(Answers.of(*answers().given, *value))
        ctx.call_on_close(lambda: _given.reset(before))


def until_answered(run: Callable[[], object]) -> object:
    """Run a command; ask at a terminal what it has to know, and run it again.

    Raises:
        QuestionError: There is nobody to ask.
    """
    _given.set(Answers())
    while True:
        try:
            return run()
        except QuestionError as fault:
            if not (sys.stdin.isatty() and sys.stdout.isatty()):
                raise
            _given.set(Answers.of(*answers().given, _asked(fault.asked)))


def _asked(question: Question) -> str:
    click.echo(question.question)
    for number, option in enumerate(question.options, start=1):
        click.echo(f"  {number}  {option}")
    chosen: int = click.prompt("Which", type=click.IntRange(1, len(question.options)))
    return question.options[chosen - 1]


def print_question(fault: QuestionError) -> None:
    """Print what is asked: the document for programs, one line for people."""
    click.echo(json.dumps(fault.asked.document(), ensure_ascii=False))
    click.echo(f"pitlogger: {fault}", err=True)
