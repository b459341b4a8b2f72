"""``pitlogger begin``: the first minutes, question by question, without editing a file."""

from __future__ import annotations

import asyncio
import difflib
import os
import re
import shlex
import shutil
import socket
import subprocess
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo, available_timezones

import click

from pitlogger.cli.files import FILE
from pitlogger.cli.installation.config import _in_reach
from pitlogger.cli.installation.configuration import SYSTEM_CONFIG
from pitlogger.cli.installation.service import FIRST_CONFIG, USER
from pitlogger.cli.output import say_alone
from pitlogger.errors import DaemonUnreachableError, RefusedError, UsageError
from pitlogger.formats.toml_text import toml_table

_OWN = frozenset(("node",))  # tables of a configuration nobody has worked on yet


@dataclass(slots=True)
class BeginAnswers:
    """What the person said, and what is left to do."""

    node: str = "pit"
    temperature: str = "F"
    mass: str = "lb-oz"
    way: str = ""
    devices: str = ""
    left: list[str] = field(default_factory=list)


@click.command()
@click.option("--config", "config_file", type=FILE,
              default=SYSTEM_CONFIG, show_default=True, help="Configuration to write.")  # fmt: skip
@click.option("--seconds", type=click.FloatRange(min=0), default=10.0, show_default=True,
              help="How long to listen to each device.")  # fmt: skip
@click.option("--no-bluetooth", is_flag=True, help="Look at wires alone.")
def begin(config_file: Path, seconds: float, no_bluetooth: bool) -> None:
    """Set this installation up: name, time, units, who is told, devices, phone.

    Enter takes what stands in brackets. Nothing is written before you have seen it. Run it as
    root for the service (sudo pitlogger begin), or with --config for a trial.
    """
    _refuse_unwritable(config_file)
    refuse_used(config_file)
    say_alone()
    answers = BeginAnswers()
    _name(answers)
    _time(answers, is_service=config_file == SYSTEM_CONFIG)
    _units(answers)
    _told(answers)
    _devices(answers, seconds, no_bluetooth)
    text = configuration_text(answers, is_service=config_file == SYSTEM_CONFIG)
    click.echo(f"\n{text}")
    if not click.confirm(f"Write this to {config_file}?", default=True):
        raise RefusedError("nothing was written")
    _write(config_file, text)
    runs = _start(answers, config_file)
    _try_way(answers, config_file)
    _pair(answers, runs=runs)
    click.echo("\nLeft to do:" if answers.left else "\nAll is set up.")
    for line in answers.left:
        click.echo(f"  - {line}")


def refuse_used(path: Path) -> None:
    """Refuse a configuration that somebody has worked on already.

    Raises:
        RefusedError: It has more than the first one has.
        UsageError: It cannot be read.
    """
    import tomllib

    from pitlogger.formats.toml import read_toml_text

    if not path.exists():
        return
    text = read_toml_text(path, UsageError)
    try:
        tables = set(tomllib.loads(text))
    except tomllib.TOMLDecodeError as fault:
        raise UsageError(
            f"{path} is there and cannot be read: {fault}. Mend it, or take it away"
        ) from None
    if text != FIRST_CONFIG and not tables <= _OWN:
        raise RefusedError(
            f"{path} is set up already ({', '.join(sorted(tables - _OWN))}): it stays as it is. "
            "Further devices: pitlogger devices point, pitlogger config init; "
            "every key: pitlogger config example"
        )


def _refuse_unwritable(path: Path) -> None:
    folder = next(place for place in (path, *path.absolute().parents) if place.exists())
    if not os.access(folder, os.W_OK):
        way = "sudo pitlogger begin" if path == SYSTEM_CONFIG else "name a file of yours: --config"
        raise RefusedError(f"{folder} may not be written by this user: {way}")


def configuration_text(answers: BeginAnswers, *, is_service: bool) -> str:
    """Return the configuration that the answers make; checked once by those who read it.

    Raises:
        ConfigError: It could not be used.
    """
    from pitlogger.config import parse_config

    node = {"name": answers.node}
    if is_service:
        node["socket"] = "/run/pitlogger/pitlogger.sock"
    parts = [
        "# Written by `pitlogger begin`. Every key: pitlogger config example\n"
        + toml_table("[node]", node),
        toml_table("[units]", {"temperature": answers.temperature, "mass": answers.mass}),
    ]
    if answers.way:
        parts.append(toml_table("[[notify.way]]", {"kind": "ntfy", "url": answers.way}))
    if answers.devices:
        parts.append(answers.devices)
    text = "\n".join(parts)
    parse_config(text, "what you said")
    return text


# Questions


def _say(text: str) -> None:
    """Print a sentence, broken between words."""
    click.echo(click.wrap_text(text, min(shutil.get_terminal_size().columns, 100)))


def _ask(prompt: str, default: str, read: Callable[[str], str]) -> str:
    """Ask until ``read`` takes the answer; it raises ``UsageError`` with what is wrong."""
    while True:
        said: str = click.prompt(prompt, default=default, show_default=bool(default)).strip()
        try:
            return read(said)
        except UsageError as wrong:
            _say(str(wrong))


def _name(answers: BeginAnswers) -> None:
    host = re.sub(r"[^a-z0-9-]+", "-", socket.gethostname().casefold()).strip("-") or "pit"

    def read(said: str) -> str:
        if not re.fullmatch(r"[a-z0-9][a-z0-9-]{0,31}", said):
            raise UsageError("lowercase letters, digits and -, such as pit or big-smoker")
        return said

    answers.node = _ask("What is this smoker called?", host, read)


def _time(answers: BeginAnswers, *, is_service: bool) -> None:
    now = datetime.now().astimezone()
    click.echo(f"It is {now:%H:%M} on {now:%A, %d %B %Y} here ({now:%Z}).")
    if click.confirm("Is that right?", default=True):
        return

    zone = _ask("Time zone, or a large city in it", "America/Chicago", zone_of)
    if is_service and _zone_is_set(zone):
        click.echo(f"Now it is {datetime.now(ZoneInfo(zone)):%H:%M} here.")
    else:
        click.echo(f"There it is {datetime.now(ZoneInfo(zone)):%H:%M} by this clock.")
        answers.left.append(f"set the time zone: sudo timedatectl set-timezone {zone}")
    if not click.confirm("Is the time right now?", default=True):
        answers.left.append("let the network set the clock: sudo timedatectl set-ntp true")


def zone_of(said: str) -> str:
    """Return the time zone that a name or a city means.

    Raises:
        UsageError: None, or one of several; those near are named.
    """
    wanted = said.strip().replace(" ", "_").casefold()
    city = {zone: zone.casefold().rpartition("/")[2] for zone in available_timezones()}
    found = sorted(zone for zone in city if zone.casefold() == wanted) or sorted(
        zone for zone, name in city.items() if name == wanted
    )
    if len(found) == 1:
        return found[0]
    near = difflib.get_close_matches(wanted, city.values(), 3, 0.75)
    names = found or sorted(zone for zone, name in city.items() if name in near)
    hint = f"did you mean {', '.join(names[:4])}?" if names else "write one such as America/Chicago"
    raise UsageError(f"'{said}' is no time zone: {hint}")


def _zone_is_set(zone: str) -> bool:
    """Set the time zone of the board, where that is ours to do; return whether it took it."""
    program = shutil.which("timedatectl")
    if program is None or os.geteuid() != 0:
        return False
    done = subprocess.run([program, "set-timezone", zone], check=False, capture_output=True)  # noqa: S603
    return done.returncode == 0


def _units(answers: BeginAnswers) -> None:
    degrees = {"f": "F", "fahrenheit": "F", "c": "C", "celsius": "C"}
    masses = {**{unit: unit for unit in ("lb-oz", "lb", "kg", "g")}, "pounds": "lb-oz",
              "kilograms": "kg", "grams": "g"}  # fmt: skip

    def one_of(words: Mapping[str, str]) -> Callable[[str], str]:
        def read(said: str) -> str:
            if said.casefold() not in words:
                raise UsageError(f"one of {', '.join(dict.fromkeys(words.values()))}")
            return words[said.casefold()]

        return read

    answers.temperature = _ask("Temperatures in F or C", "F", one_of(degrees))
    usual = "lb-oz" if answers.temperature == "F" else "kg"
    answers.mass = _ask("Masses in lb-oz, lb, kg or g", usual, one_of(masses))


def _told(answers: BeginAnswers) -> None:
    _say(
        "Alarms can come to a phone through a server of the ntfy kind, your own or another's: "
        "its address with a topic nobody guesses. Every way: pitlogger config example"
    )

    def read(said: str) -> str:
        address = said if not said or "://" in said else f"https://{said}"
        if address and not re.fullmatch(r"https?://[^\s/]+\.[^\s/]+/\S+", address):
            raise UsageError("an address such as https://ntfy.example.org/pit-7f3a, or Enter")
        return address

    answers.way = _ask("Who is told? (Enter for nobody yet)", "", read)
    if not answers.way:
        answers.left.append(
            "say who is told of alarms: [[notify.way]] in the configuration, as in "
            "pitlogger config example"
        )


def _devices(answers: BeginAnswers, seconds: float, no_bluetooth: bool) -> None:
    from pitlogger.devices.drafting import device_tables, is_the_boards_own
    from pitlogger.devices.trial import value_in_words

    click.echo("Switch on all scales and thermometers. Looking for them ...")
    tried, strangers, notes = asyncio.run(_in_reach(seconds, no_bluetooth))
    for note in notes:
        _say(note)
    tried = [one for one in tried if not is_the_boards_own(one.find)]
    for one in tried:
        said = ", ".join(f"{found.channel} {value_in_words(found)}" for found in one.said)
        told = f"{one.driver.name}, {said}" if said else one.refused or "it sends nothing"
        click.echo(f"  {one.find.name or one.find.address}: {told}")
    for name in (find.name for find in strangers if find.name):
        click.echo(f"  {name}: no driver is known for it")
        answers.left.append(
            f"if {name} is yours: pitlogger devices point --device-name {shlex.quote(name)}"
        )
    read = [one for one in tried if one.said]
    which = "the one that speaks" if len(read) == 1 else f"the {len(read)} that speak"
    if read and click.confirm(f"Take {which}?", default=True):
        answers.devices = device_tables(read)
        answers.left.append("say where each probe sits: on the page under Settings")
    elif not read:
        answers.left.append("find out why no device speaks: pitlogger devices doctor")


# What follows


def _write(path: Path, text: str) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    is_new = not path.exists()
    path.write_text(text, encoding="utf-8")
    if is_new and path == SYSTEM_CONFIG:
        path.chmod(0o640)
        shutil.chown(path, "root", USER)


def _start(answers: BeginAnswers, path: Path) -> bool:
    """Start the service with what was written; return whether it runs."""
    program = shutil.which("systemctl")
    if path != SYSTEM_CONFIG or program is None:
        answers.left.append(f"start it: pitlogger run --config {path}")
        return False
    done = subprocess.run([program, "restart", "pitlogger"], check=False, capture_output=True)  # noqa: S603
    if done.returncode:
        answers.left.append("start the service: sudo pitlogger service install")
    return done.returncode == 0


def _try_way(answers: BeginAnswers, path: Path) -> None:
    if not answers.way or not click.confirm("Send a trial message now?", default=True):
        return
    from pitlogger.cli.installation.configuration import configuration
    from pitlogger.clock import SystemClock
    from pitlogger.notify.trial import try_ways

    for each in asyncio.run(try_ways(configuration(path), (), SystemClock().utc_ms())):
        click.echo(f"{each.way}: {'' if each.arrived else 'FAILED: '}{each.said}")
        if not each.arrived:
            answers.left.append("try the way again: pitlogger notify test")
    if not click.confirm("Did it ring?", default=True):
        answers.left.append(
            "let the phone ring for this topic: in the settings of its app, then "
            "pitlogger notify test"
        )


def _pair(answers: BeginAnswers, *, runs: bool) -> None:
    from pitlogger.cli.client import Client
    from pitlogger.cli.installation.pair import invitation

    if not runs:
        answers.left.append("then pair your phone: pitlogger pair --role owner")
        return
    if not click.confirm("Pair your phone with the page now?", default=True):
        answers.left.append("pair your phone: pitlogger pair --role owner")
        return
    try:
        made: Mapping[str, Any] = Client().post("/phones/codes", role="owner")
    except (DaemonUnreachableError, UsageError) as fault:
        click.echo(str(fault))
        answers.left.append("once it runs, pair your phone: pitlogger pair --role owner")
        return
    click.echo(invitation(dict(made)))
