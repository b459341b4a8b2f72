"""Devices, channels, routes and buttons of a configuration."""

from __future__ import annotations

from collections.abc import Iterable

from pitlogger.config import Config, DeviceChannelTable
from pitlogger.devices.contract import Memory
from pitlogger.devices.registry import Registry, configure
from pitlogger.devices.supervisor import Device
from pitlogger.engine.buttons import PRESSES, Binding
from pitlogger.errors import ConfigError, unknown
from pitlogger.model.cooks import Channel


def configured_devices(
    config: Config, memories: dict[str, Memory] | None = None, registry: Registry | None = None
) -> list[Device]:
    """Return the devices of the configuration, each with its driver loaded and configured.

    Args:
        memories: What drivers keep over restarts, by device id; missing ones are added.
        registry: Where drivers are found; the installation's unless another is given.

    Raises:
        DriverError: No such driver, or one that will not load.
        ConfigError: A key of a driver is unknown, missing or wrong.
    """
    known = registry or Registry()
    kept = {} if memories is None else memories
    devices = []
    for table in config.device:
        driver = known.load(table.driver)
        own = configure(driver.info, table.own_keys(), f"device '{table.id}'")
        devices.append(Device(table.id, driver(kept.setdefault(table.id, {})), own))
    return devices


def channels_of(config: Config, devices: Iterable[Device]) -> list[Channel]:
    """Return the channels of the configuration with what their drivers declare.

    Raises:
        ConfigError: A channel by a name that its driver does not give.
    """
    tables = {table.id: table for table in config.device}
    return [
        _channel(device, channel) for device in devices for channel in tables[device.id].channel
    ]


def _channel(device: Device, table: DeviceChannelTable) -> Channel:
    info = device.driver.info
    first = info.channels[0].name if info.channels else ""
    offered = info.offered(first if table.name is None else table.name)
    if table.name is not None and not offered:
        names = [one.name for one in info.channels]
        raise ConfigError(
            f"device '{device.id}', channel '{table.id}': "
            f"{unknown(f'channel of {info.name}', table.name, names)}"
        )
    quantities = {one.quantity for one in offered}
    return Channel(
        id=table.id,
        site=table.site,
        piece=table.piece,
        quantity=quantities.pop() if len(quantities) == 1 else None,
        offset=table.offset,
        interval_ms=round(device.interval_s * 1000),
        stale_after_ms=table.stale_after,
        scale_interval_mg=table.scale_interval,
        device=device.id,
        settled=any(one.settled for one in offered),
    )


def routes(config: Config) -> dict[tuple[str, str], str]:
    """Return the channel id for each (device, driver's channel name).

    A channel without a name, ``""``, takes whatever its device sends of its quantity.
    """
    return {
        (device.id, channel.name or ""): channel.id
        for device in config.device
        for channel in device.channel
    }


def buttons(config: Config) -> dict[tuple[str, str, int], Binding]:
    """Return what a press does, by device, the driver's name of the button and its code."""
    return {
        (device.id, table.name, code): Binding(act, table.piece, table.scale)
        for device in config.device
        for table in device.button
        for code, word in PRESSES.items()
        if (act := getattr(table, word)) is not None
    }
