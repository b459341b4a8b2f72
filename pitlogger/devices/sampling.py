"""Which driver suits a find, and what it says: each is run for a while."""

from __future__ import annotations

import asyncio
from collections.abc import Iterable, Sequence

from pitlogger.devices.contract import DriverInfo
from pitlogger.devices.drafting import Tried
from pitlogger.devices.reach import Find, suiting
from pitlogger.devices.registry import Registry, configure
from pitlogger.devices.runner import ASIDE, Device
from pitlogger.devices.trial import Trial
from pitlogger.errors import ConfigError

_ASKING = frozenset(("modbus", "scpi", "sma-scale"))  # they write to whatever is at the port


async def sample(
    finds: Iterable[Find], registry: Registry, infos: Sequence[DriverInfo], seconds: float
) -> tuple[list[Tried], list[Find]]:
    """Return the finds with a driver each and what they said, and those without a driver.

    A serial port may have one of several kinds of device on it: those that speak by
    themselves are listened to one after the other, and nothing is written to any.

    Args:
        infos: Drivers to choose from.
        seconds: How long each is listened to; 0 tries none.
    """
    known: list[tuple[Find, list[str]]] = []
    strangers: list[Find] = []
    for find in finds:
        suits = suiting(find, infos)
        if suits:
            known.append((find, suits))
        elif find.way == "bluetooth":
            strangers.append(find)
    tried = await asyncio.gather(*(best(find, suits, registry, seconds) for find, suits in known))
    return list(tried), strangers


async def best(find: Find, suits: Sequence[str], registry: Registry, seconds: float) -> Tried:
    """Return the driver that gives most, or the first that may suit; nothing is written to it."""
    quiet = [name for name in suits if name not in _ASKING] or suits
    found = [await _try(find, name, registry, seconds) for name in quiet]
    most = max(found, key=lambda one: len(one.said))
    others = tuple(name for name in suits if name != most.driver.name)
    if not most.said:
        return Tried(find, most.driver, others, (), most.refused)
    return Tried(find, most.driver, (), most.said, most.refused)


async def _try(find: Find, name: str, registry: Registry, seconds: float) -> Tried:
    driver = registry.load(name)
    try:
        config = configure(driver.info, dict(find.keys), find.address)
    except ConfigError as fault:
        return Tried(find, driver.info, refused=str(fault))
    if not seconds:
        return Tried(find, driver.info)
    trial = Trial(Device(find.address, driver({}), config), lambda _line: None)
    await trial.run(seconds)
    said = tuple(trial.latest.values())
    refused = trial.refused[-1].reason if trial.refused else trial.message
    is_read = any(found.quantity not in ASIDE for found in said)
    return Tried(find, driver.info, (), said, "" if is_read else refused)
