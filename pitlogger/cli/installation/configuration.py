"""Which configuration a command means: the one given, the service's, or the defaults."""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING

import click

from pitlogger.cli.files import FILE

if TYPE_CHECKING:
    from pitlogger.config import Config

SYSTEM_CONFIG = Path("/etc/pitlogger/pitlogger.toml")
SYSTEM_DATA = Path("/var/lib/pitlogger")

config_option = click.option(
    "--config", "config_file", type=FILE,
    help="Configuration whose record is meant; the service's by default.",
)  # fmt: skip


def configuration(given: Path | None) -> Config:
    """Return the configuration meant; its language is spoken from now on.

    Raises:
        ConfigError: It cannot be read, with ``file:line``.
    """
    found = _configuration(given)
    if found.units.language != "en":
        from pitlogger.views.language import speak

        speak(found.units.language, found.languages)
    return found


def _configuration(given: Path | None) -> Config:
    from pitlogger.config import Config, NodeTable, load_config, with_beside

    if given is not None:
        return load_config(given)
    if _is_there(SYSTEM_CONFIG):
        config = load_config(SYSTEM_CONFIG)
        if "data" not in config.node.model_fields_set:  # the unit's StateDirectory
            config = with_beside(
                config.model_copy(
                    update={"node": config.node.model_copy(update={"data": SYSTEM_DATA})}
                )
            )
        return config
    return Config(node=NodeTable())


def _is_there(path: Path) -> bool:
    from pitlogger.cli.client import JOIN_GROUP
    from pitlogger.errors import ConfigError

    try:
        if not path.exists():
            return False
    except PermissionError:
        pass
    else:
        if os.access(path, os.R_OK):
            return True
    raise ConfigError(
        f"{path}: this user may not read the service's configuration: {JOIN_GROUP}; "
        "or name another with --config"
    )
