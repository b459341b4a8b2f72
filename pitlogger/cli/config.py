"""``pitlogger config``: print an example configuration, or check one."""

from __future__ import annotations

from importlib.resources import files
from pathlib import Path

import click

from pitlogger.cli.output import emit, json_option


@click.group()
def config() -> None:
    """Print an example configuration, or check one."""


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
@click.argument("file", type=click.Path(path_type=Path))
@json_option
def check(file: Path, as_json: bool) -> None:
    """Check FILE without starting anything: keys, drivers, channels."""
    from pitlogger.bootstrap import channels_of, configured_devices
    from pitlogger.config import load_config

    loaded = load_config(file)
    channels = channels_of(loaded, configured_devices(loaded))
    document = {
        "file": str(file),
        "devices": [device.id for device in loaded.device],
        "channels": [channel.id for channel in channels],
    }
    emit(document, as_json, f"{file}: {len(loaded.device)} devices, {len(channels)} channels: good")
