"""``pitlogger service``: put systemd's unit and udev's rules in place, look, take away."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

import click

from pitlogger.cli.files import FOLDER
from pitlogger.cli.output import emit, json_option
from pitlogger.errors import RefusedError

USER = "pitlogger"
FIRST_CONFIG = """\
# pitlogger as a service. Every key: pitlogger config example. After a change:
#     pitlogger config check /etc/pitlogger/pitlogger.toml && sudo systemctl reload pitlogger

[node]
name = "pit"
socket = "/run/pitlogger/pitlogger.sock"
"""
SHOWN = (
    "LoadState",
    "ActiveState",
    "SubState",
    "MainPID",
    "NRestarts",
    "MemoryCurrent",
    "StatusText",
)

root_option = click.option(
    "--root", type=FOLDER, default=Path("/"),
    help="Another file system, such as an image; nothing is started there.",
)  # fmt: skip


@click.group()
def service() -> None:
    """Run as a service: install, look, remove."""


@service.command()
@click.argument("name", type=click.Choice(["unit", "udev"]), required=False)
def files(name: str | None) -> None:
    """Print the unit file, the udev rules, or both, as they would be installed."""
    from pitlogger.service.unit import groups_here, rules, unit

    texts = {"unit": unit(_program(), groups_here()), "udev": rules()}
    click.echo(texts[name] if name else "\n".join(texts.values()), nl=False)


@service.command()
@root_option
@click.option("--no-start", is_flag=True, help="Put files in place and start nothing.")
def install(root: Path, no_start: bool) -> None:
    """Make the user, put unit, rules and a first configuration in place, start."""
    from pitlogger.service.unit import RULES_NAME, UNIT_NAME, groups_here, places, rules, unit

    is_host = root == Path("/")
    program = _program()
    if is_host:
        _need_root()
        refuse_hidden(Path(program), Path(sys.executable))
        _make_user()
    where = places(root)
    texts = {UNIT_NAME: unit(program, groups_here()), RULES_NAME: rules()}
    done = [_put(where[name], text, 0o644) for name, text in texts.items()]
    config = root / "etc/pitlogger/pitlogger.toml"
    if config.exists():
        done.append(f"{config} stays as it is")
    else:
        config.parent.mkdir(parents=True, exist_ok=True)
        config.parent.chmod(0o750)
        done.append(_put(config, FIRST_CONFIG, 0o640))
    if is_host:
        for path in (config.parent, config):
            shutil.chown(path, "root", USER)
    click.echo("\n".join(done))
    if is_host and not no_start:
        _systemctl("daemon-reload")
        _systemctl("enable", "--now", UNIT_NAME)
        click.echo("pitlogger is started. To use the command line without sudo, once:\n"
                   f"    sudo usermod -aG {USER} $USER      (then log in again)\n"
                   "Then begin: sudo pitlogger begin")  # fmt: skip


@service.command("rules")
@root_option
def put_rules(root: Path) -> None:
    """Put udev's rules in place, with a line for each USB scale that is plugged in now."""
    from pitlogger.service.unit import RULES_NAME, places, rules

    if root == Path("/"):
        _need_root()
    plugged = plugged_scales()
    text = "\n".join([rules(), "# Scales plugged in when these rules were written.", *plugged])
    click.echo(_put(places(root)[RULES_NAME], f"{text}\n", 0o644))
    click.echo("\n".join(plugged) or "no USB scale is plugged in: plug it in and say this again")
    if root == Path("/"):
        click.echo("Then: sudo udevadm control --reload && sudo udevadm trigger")


def plugged_scales() -> list[str]:
    """Return the udev rule of each USB scale that is plugged in."""
    from pitlogger.devices.transports.hidraw import SCALE, nodes

    return sorted({n.rule for n in nodes() if (n.usage_page, n.usage) == SCALE and n.vendor})


@service.command()
@root_option
def remove(root: Path) -> None:
    """Stop the service and take its files away; record and configuration stay."""
    from pitlogger.service.unit import UNIT_NAME, places

    is_host = root == Path("/")
    if is_host:
        _need_root()
        _systemctl("disable", "--now", UNIT_NAME, check=False)
    gone = []
    for path in places(root).values():
        if path.exists():
            path.unlink()
            gone.append(f"removed {path}")
    if is_host:
        _systemctl("daemon-reload", check=False)
    click.echo("\n".join(gone or ["nothing was installed"]))
    click.echo(f"kept: the record in {root / 'var/lib/pitlogger'} and the configuration in"
               f" {root / 'etc/pitlogger'}. Delete them yourself if you mean it")  # fmt: skip


@service.command()
@json_option
def status(as_json: bool) -> int:
    """Say whether the service runs and is well. Exit code 3 where it does not run."""
    from pitlogger.cli.client import Client
    from pitlogger.errors import DaemonUnreachableError
    from pitlogger.service.unit import UNIT_NAME, is_installed

    shown = _systemctl("show", UNIT_NAME, *(f"--property={name}" for name in SHOWN), check=False)
    facts = dict(line.split("=", 1) for line in shown.splitlines() if "=" in line)
    document: dict[str, object] = {
        "installed": facts.get("LoadState") == "loaded" or is_installed(),
        "state": facts.get("ActiveState") or "no systemd",
        "pid": int(facts.get("MainPID") or 0) or None,
        "restarts": int(facts.get("NRestarts") or 0),
        "memory_bytes": int(text) if (text := facts.get("MemoryCurrent", "")).isdigit() else None,
        "status": facts.get("StatusText", ""),
        "sentence": None,
        "store": None,
    }
    try:
        answer = Client(None).get("/status")
        document |= {"sentence": answer["sentence"], "store": answer["store"], "answers": True}
    except DaemonUnreachableError as fault:
        document |= {"answers": False, "reason": str(fault)}
    lines = [f"{name}: {held}" for name, held in document.items() if held not in (None, "")]
    emit(document, as_json, "\n".join(lines))
    return 0 if document["answers"] else 3


def _program() -> str:
    """Return the path of this very command."""
    here = Path(sys.argv[0])
    beside = Path(sys.executable).with_name("pitlogger")
    found = here if here.name == "pitlogger" and here.exists() else beside
    return str(found.absolute())


HIDDEN = tuple(Path(name) for name in ("/home", "/root", "/run/user", "/tmp", "/var/tmp"))  # noqa: S108


def refuse_hidden(*programs: Path) -> None:
    """Refuse a program in a folder that the service does not see, or its user may not enter.

    The unit has ProtectHome and PrivateTmp: systemd would end with 203/EXEC, again and again.

    Raises:
        RefusedError: One of them lies there, itself or what it is a link to.
    """
    places = [place for program in programs for place in (program, program.resolve())]
    for path in places:
        hidden = next((folder for folder in HIDDEN if path.is_relative_to(folder)), None)
        if hidden is not None:
            raise _hidden(f"{path} lies in {hidden}, which a service does not see")
    for path in places:
        shut = next(filter(_is_shut, path.parents), None)
        if shut is not None:
            raise _hidden(f"{path} lies behind {shut}, which only its owner may enter")


def _hidden(why: str) -> RefusedError:
    return RefusedError(
        f"{why}. Put pitlogger where every user may run it, and install the service from there:"
        " sudo python3 -m venv /opt/pitlogger &&"
        " sudo /opt/pitlogger/bin/pip install pitlogger-VERSION.whl &&"
        " sudo /opt/pitlogger/bin/pitlogger service install"
    )


def _is_shut(folder: Path) -> bool:
    return folder.exists() and not folder.stat().st_mode & 0o001


def _put(path: Path, text: str, mode: int) -> str:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(text, encoding="utf-8")
    path.chmod(mode)
    return f"wrote {path}"


def _need_root() -> None:
    if os.geteuid() != 0:
        raise RefusedError(
            "this changes the system and needs root: sudo pitlogger service ..., with the full"
            f" path if sudo does not find it: sudo {_program()} service ..."
        )


def _make_user() -> None:
    import pwd

    try:
        pwd.getpwnam(USER)
    except KeyError:
        subprocess.run(  # noqa: S603
            ["useradd", "--system", "--user-group", "--home-dir", "/var/lib/pitlogger",  # noqa: S607
             "--shell", "/usr/sbin/nologin", USER],
            check=True,
        )  # fmt: skip


def _systemctl(*words: str, check: bool = True) -> str:
    """Run systemctl and return what it prints.

    Raises:
        RefusedError: There is no systemd, or it refused.
    """
    program = shutil.which("systemctl")
    if program is None:
        if check:
            raise RefusedError("there is no systemd here; expected it to run the service")
        return ""
    done = subprocess.run([program, *words], check=False, capture_output=True, text=True)  # noqa: S603
    if check and done.returncode:
        said = done.stderr.strip() or done.stdout.strip()
        raise RefusedError(f"systemctl {' '.join(words)} failed: {said}")
    return done.stdout
