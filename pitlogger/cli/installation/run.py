"""``pitlogger run``: the daemon, until a signal stops it."""

from __future__ import annotations

import asyncio
import logging
import os
import signal
import sys
from collections.abc import Coroutine
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from pitlogger.cli.files import PATH
from pitlogger.errors import (
    DriverError,
    PitloggerError,
    RecordHeldError,
    StoreError,
    UsageError,
)

if TYPE_CHECKING:
    from pitlogger.config import Config
    from pitlogger.node.daemon import Daemon
    from pitlogger.node.front import Front

log = logging.getLogger(__name__)

CONFIGURATION = "configuration"
CONFIGURATION_REMEDY = "Mend what is named, then: sudo systemctl restart pitlogger"
MOST_THREADS = 24


@click.command()
@click.option("--config", "config_file", type=PATH, required=True,
              help="Configuration file (TOML).")  # fmt: skip
@click.option("--verbose", "-v", is_flag=True, help="Log what devices do.")
def run(config_file: Path, verbose: bool) -> None:
    """Run the daemon: read devices, watch, log, and serve page and command line."""
    from pitlogger.bootstrap.fallback import service_folder
    from pitlogger.service import logs

    os.umask(os.umask(0o077) | 0o027)  # the record is nobody's business outside the group
    logs.set_up(verbose)
    left_out: list[str] = []
    folder = service_folder()
    config = None
    try:
        config = _load(config_file, left_out)
        _work(config, config_file, left_out, verbose)
    except RecordHeldError:
        raise
    except (UsageError, DriverError, StoreError) as fault:
        if folder is None:
            raise
        _work_all_the_same(fault, config, config_file, verbose)


def _work_all_the_same(
    fault: PitloggerError, config: Config | None, config_file: Path, verbose: bool
) -> None:
    """Work as a service with what can be used: nobody is there to mend it, and alarms must run."""
    from pitlogger.bootstrap.fallback import in_memory, service_folder, usable

    told: list[str] = []
    folder = service_folder()
    assert folder is not None
    if config is None or not isinstance(fault, StoreError):
        config, told = usable(config_file, folder, fault)
        try:
            return _work(config, config_file, told, verbose)
        except RecordHeldError:
            raise
        except StoreError as second:
            fault = second
    config, more = in_memory(config, fault)
    return _work(config, config_file, told + more, verbose)


def _work(config: Config, config_file: Path, left_out: list[str], verbose: bool) -> None:
    from pitlogger.service import crash, logs
    from pitlogger.service.credentials import secret_files

    logs.set_up(verbose, config.node.data)
    try:
        asyncio.run(_run_until_told(config, config_file, left_out))
    except PitloggerError:
        raise
    except Exception as error:
        secrets = crash.contents(secret_files(config))
        left = crash.leave_anywhere(error, secrets, config.node.data)
        raise PitloggerError(
            f"the daemon crashed: {crash.blotted(repr(error), secrets)}. A report without secrets"
            f" lies at {left}; please send it with what you did. Started again it goes on from"
            " the record"
        ) from None


def _load(config_file: Path, left_out: list[str] | None = None) -> Config:
    """Return the configuration with its secrets where systemd put them.

    ``left_out`` takes what is wrong with a file beside the record, which is then left out.
    """
    from pitlogger.config import load_config
    from pitlogger.service.credentials import refuse_open_secrets, with_credentials

    config = with_credentials(load_config(config_file, left_out))
    refuse_open_secrets(config)
    return config


async def _run_until_told(config: Config, config_file: Path, left_out: list[str]) -> None:
    from pitlogger.bootstrap.fallback import keep
    from pitlogger.node.daemon import Daemon
    from pitlogger.node.front import front
    from pitlogger.service.notify import Watchdog, period_s, ready, stopping

    stop, reread = asyncio.Event(), asyncio.Event()
    loop = asyncio.get_running_loop()
    # Names that no server answers for hold a thread each: those of dead ways must leave some.
    loop.set_default_executor(ThreadPoolExecutor(MOST_THREADS, thread_name_prefix="pitlogger"))
    for number in (signal.SIGINT, signal.SIGTERM):
        loop.add_signal_handler(number, stop.set)
    loop.add_signal_handler(signal.SIGHUP, reread.set)
    served = front(config)
    async with Daemon(config) as daemon, served.serving(daemon) as address:
        ready(f"socket {daemon.socket}")
        if left_out:
            words = " ".join("; ".join(left_out).split())
            log.error("%s", words)
            daemon.troubles.tell(CONFIGURATION, words, CONFIGURATION_REMEDY, stands=True)
        else:
            await asyncio.to_thread(keep, config_file)
        works = [
            stop.wait(),
            daemon.broken(),
            _reload_when_told(daemon, config_file, reread),
            _look_after(daemon),
        ]
        if (every_s := period_s()) is not None:
            works.append(Watchdog(daemon.store, daemon.keeps_up, every_s).run())
        _greet(daemon, served, address)
        try:
            await _first_of(works)
        finally:
            stopping()


async def _first_of(works: list[Coroutine[Any, Any, Any]]) -> None:
    """Work until one is done, and raise what it raised: nothing may go on half dead."""
    tasks = [asyncio.create_task(work) for work in works]
    done, left = await asyncio.wait(tasks, return_when=asyncio.FIRST_COMPLETED)
    for task in left:
        task.cancel()
    for task in done:
        task.result()


async def _look_after(daemon: Daemon) -> None:
    """Watch the room on the disk; back up and tidy up while no cook runs."""
    from pitlogger.engine.inputs import Command
    from pitlogger.service.housekeeping import LOOK_S, Housekeeper

    keeper = Housekeeper(daemon.config, daemon.clock, daemon.store)
    while True:
        if (changed := keeper.look_at_disk()) is not None:
            daemon.feed(Command(daemon.clock.engine_ms(), changed))
        await asyncio.sleep(LOOK_S)
        if daemon.cook is None:
            await keeper.sweep_or_say()


async def _reload_when_told(daemon: Daemon, config_file: Path, told: asyncio.Event) -> None:
    """Read the configuration again at each SIGHUP; one that cannot be used changes nothing."""
    from pitlogger.bootstrap.fallback import keep
    from pitlogger.service.notify import ready, reloading

    while True:
        await told.wait()
        told.clear()
        reloading()
        try:
            words = (await daemon.reload(_load(config_file))).text()
            log.warning("configuration read again: %s", words)
            daemon.troubles.over(CONFIGURATION)
            await asyncio.to_thread(keep, config_file)
        except PitloggerError as fault:
            words = f"the old configuration stays: {fault}"
            log.error("%s", words)
        except Exception as fault:  # of a driver, say: it was well until now and goes on
            words = f"the old configuration stays: {fault!r}"
            log.exception("%s", words)
        ready(words)


def _greet(daemon: Daemon, served: Front, address: str | None) -> None:
    """Say where the page is, and how the first phone gets in.

    A code is shown on a terminal alone: a log is read by others, and kept.
    """
    from pitlogger.cli.installation.pair import invitation

    is_seen = sys.stderr.isatty()
    shown = address if is_seen or address is None else address.partition("#")[0]
    where = f", page at {shown}" if shown else ""
    click.echo(f"pitlogger runs: socket {daemon.socket}{where}", err=True)
    if address and served.needs_first_phone():
        call = "no phone of the owner is paired yet: run `pitlogger pair --role owner`"
        again = "a new code: pitlogger pair --role owner"
        first = f"{invitation(served.first_code(address))}\n{again}" if is_seen else call
        click.echo(first, err=True)
