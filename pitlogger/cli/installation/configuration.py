"""Which configuration a command means: the one given, the service's, or the defaults."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from pitlogger.config import Config

SYSTEM_CONFIG = Path("/etc/pitlogger/pitlogger.toml")
SYSTEM_DATA = Path("/var/lib/pitlogger")

config_option = click.option(
    "--config", "config_file", type=click.Path(path_type=Path, dir_okay=False),
    help="Configuration whose record is meant; the service's by default.",
)  # fmt: skip


def configuration(given: Path | None) -> Config:
    """Return the configuration meant.

    Raises:
        ConfigError: It cannot be read, with ``file:line``.
    """
    from pitlogger.config import Config, NodeTable, load_config

    if given is not None:
        return load_config(given)
    if SYSTEM_CONFIG.exists():
        config = load_config(SYSTEM_CONFIG)
        if "data" not in config.node.model_fields_set:  # the unit's StateDirectory
            config = config.model_copy(
                update={"node": config.node.model_copy(update={"data": SYSTEM_DATA})}
            )
        return config
    return Config(node=NodeTable())
