"""``pitlogger support``: one file for a report of a fault, without what is nobody's business."""

from __future__ import annotations

from pathlib import Path

import click

from pitlogger.cli.files import FILE
from pitlogger.cli.installation.configuration import config_option, configuration
from pitlogger.errors import PitloggerError


@click.command()
@config_option
@click.option(
    "--to", "target", type=FILE,
    default=Path("pitlogger-support.txt"), show_default=True, help="File to write.",
)  # fmt: skip
@click.option("--confirm", default="", metavar="ANSWER", help="'yes': write what was shown.")
def support(config_file: Path | None, target: Path, confirm: str) -> None:
    """Gather what a maintainer needs to know of a fault, show it, then write it into one file.

    Of the configuration it holds keys, numbers, switches and kinds; of the record counts; of
    crashes where they were. No tokens, names, initials, addresses, paths, notes or weights.
    """
    from pitlogger.cli.questions import answers
    from pitlogger.questions import Question, QuestionError
    from pitlogger.service.support import gathered

    text = gathered(configuration(config_file))
    given = {confirm, *answers().given}
    if "no" in given:
        click.echo("nothing was written")
    elif "yes" not in given:
        raise QuestionError(Question(f"{text}\n\nWrite this into {target}?", ("yes", "no"), "yes"))
    else:
        try:
            target.write_text(text + "\n", encoding="utf-8")
        except OSError as fault:
            raise PitloggerError(f"{target} cannot be written: {fault.strerror}") from None
        click.echo(f"{target}: {len(text.splitlines())} lines, to be sent with what you did")
