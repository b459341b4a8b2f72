"""``pitlogger run``: the daemon, until it is told to stop."""

from __future__ import annotations

import asyncio
import logging
import signal
from pathlib import Path

import click


@click.command()
@click.option("--config", "config_file", type=click.Path(path_type=Path), required=True,
              help="Configuration file (TOML).")  # fmt: skip
@click.option("--verbose", "-v", is_flag=True, help="Log what devices do.")
def run(config_file: Path, verbose: bool) -> None:
    """Run the daemon: read devices, watch, log, and serve page and command line."""
    from pitlogger.config import load_config

    config = load_config(config_file)
    logging.basicConfig(
        level=logging.INFO if verbose else logging.WARNING, format="%(levelname)s %(message)s"
    )
    asyncio.run(_run_until_told(config))


async def _run_until_told(config: object) -> None:
    from pitlogger.config import Config
    from pitlogger.daemon import Daemon
    from pitlogger.web.serve import serving

    assert isinstance(config, Config)
    stop = asyncio.Event()
    loop = asyncio.get_running_loop()
    for number in (signal.SIGINT, signal.SIGTERM):
        loop.add_signal_handler(number, stop.set)
    async with Daemon(config) as daemon, serving(daemon) as address:
        where = f", page at {address}" if address else ""
        click.echo(f"pitlogger runs: socket {daemon.socket}{where}", err=True)
        await stop.wait()
