"""``pitlogger config``: print an example configuration, write one from a scan, check one."""

from __future__ import annotations

import asyncio
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING

import click

from pitlogger.cli.files import FILE, PATH
from pitlogger.cli.output import emit, json_option, say_alone
from pitlogger.errors import TransportError, UsageError

if TYPE_CHECKING:
    from pitlogger.devices.drafting import Tried
    from pitlogger.devices.reach import Find


@click.group()
def config() -> None:
    """Print an example configuration, write one from what is in reach, or check one."""


@config.command()
def example() -> None:
    """Print a configuration with every key, commented."""
    click.echo(text("example"), nl=False)


@config.command()
def simulated() -> None:
    """Print a configuration for simulated devices."""
    click.echo(text("simulated"), nl=False)


def text(name: str) -> str:
    """Return a configuration text that comes with pitlogger."""
    return (files("pitlogger.texts") / f"{name}.toml").read_text(encoding="utf-8")


@config.command()
@click.option("--pseudo", is_flag=True, help="Filled in with accents, to see what is not marked.")
def language(pseudo: bool) -> None:
    """Print the texts to translate, as a .po file to fill in (see docs/languages.md)."""
    from pitlogger.views import template

    click.echo(template.pseudo() if pseudo else template.template(), nl=False)


@config.command()
@click.argument("file", type=PATH)
@json_option
def check(file: Path, as_json: bool) -> None:
    """Check FILE without starting anything: keys, drivers, channels."""
    from pitlogger.bootstrap.devices import channels_of, configured_devices
    from pitlogger.config import load_config
    from pitlogger.views.language import speak

    loaded = load_config(file)
    speak(loaded.units.language, loaded.languages)
    channels = channels_of(loaded, configured_devices(loaded))
    document = {
        "file": str(file),
        "devices": [device.id for device in loaded.device],
        "channels": [channel.id for channel in channels],
    }
    emit(document, as_json, f"{file}: {len(loaded.device)} devices, {len(channels)} channels: good")


@config.command()
@click.argument("file", type=click.Path(path_type=Path, exists=True, dir_okay=False))
@click.option("--confirm", default="", metavar="ANSWER", help="'yes': write what was shown.")
@json_option
def migrate(file: Path, confirm: str, as_json: bool) -> None:
    """Rewrite FILE with the present names of renamed keys; comments stay.

    What would change is shown first. The file as it was is kept beside it as FILE.old.
    """
    from difflib import unified_diff

    from pitlogger.cli.questions import answers
    from pitlogger.config import parse_config
    from pitlogger.config_renames import migrated
    from pitlogger.files import write_whole
    from pitlogger.formats.toml import read_toml_text
    from pitlogger.questions import Question, QuestionError

    before = read_toml_text(file, UsageError)
    after = migrated(before)
    parse_config(after, str(file))
    lines = list(unified_diff(before.splitlines(), after.splitlines(), lineterm="", n=0))[2:]
    given = {confirm, *answers().given}
    if lines and "yes" not in given and "no" not in given:
        shown = "\n".join(lines)
        raise QuestionError(Question(f"{shown}\n\nWrite this into {file}?", ("yes", "no"), "yes"))
    write = bool(lines) and "no" not in given
    if write:
        mode = file.stat().st_mode & 0o777
        try:
            write_whole(file.with_name(f"{file.name}.old"), before, mode)
            write_whole(file, after, mode)
        except OSError as fault:
            raise UsageError(f"{file} cannot be written: {fault.strerror}") from None
    told = (
        "written" if write else "nothing was written" if lines else "every name is the present one"
    )
    emit({"file": str(file), "written": write, "changes": lines}, as_json, f"{file}: {told}")


@config.command()
@click.option("--out", type=FILE,
              help="File to write; it must not exist. Without it the text is printed.")  # fmt: skip
@click.option("--node", default="pit", show_default=True, help="Name of this installation.")
@click.option("--seconds", type=click.FloatRange(min=0), default=10.0, show_default=True,
              help="How long to listen to each device; 0 tries none.")  # fmt: skip
@click.option("--no-bluetooth", is_flag=True, help="Look at wires alone.")
@json_option
def init(out: Path | None, node: str, seconds: float, no_bluetooth: bool, as_json: bool) -> None:
    """Write a configuration from what is in reach: each device with its channels.

    Every device is listened to for a while; nothing is written to any of them. Sites and
    pieces are left for you to fill in.
    """
    from pitlogger.config import parse_config
    from pitlogger.devices.drafting import draft

    say_alone()
    if out is not None and out.exists():
        raise UsageError(f"{out} exists already: name another file, or remove it first")
    tried, strangers, notes = asyncio.run(_in_reach(seconds, no_bluetooth))
    written = draft(node, tried, strangers)
    count = len(parse_config(written, "what was found").device)
    if out is not None:
        out.write_text(written, encoding="utf-8")
    document = {
        "file": None if out is None else str(out),
        "devices": [{"address": one.find.address, "driver": one.driver.name,
                     "channels": [found.channel for found in one.said]} for one in tried],
        "notes": notes,
        "text": written,
    }  # fmt: skip
    told = written if out is None else f"{out}: {count} devices; fill in sites and pieces"
    for note in notes:
        click.echo(note, err=True)
    emit(document, as_json, told)


async def _in_reach(
    seconds: float, no_bluetooth: bool
) -> tuple[list[Tried], list[Find], list[str]]:
    from pitlogger.devices.reach import heard, wired
    from pitlogger.devices.registry import Registry
    from pitlogger.devices.sampling import sample

    registry = Registry()
    infos, notes = registry.descriptions()
    finds = list(wired())
    if not no_bluetooth:
        try:
            finds += await heard(max(seconds, 8.0))
        except TransportError as fault:
            notes.append(str(fault))
    tried, strangers = await sample(finds, registry, infos, seconds)
    return tried, strangers, notes
