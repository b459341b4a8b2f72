"""A scale and probes on the air, and how a test takes what a link to them gives."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator, Callable

import pytest

from pitlogger.devices.contract import Chunk
from pitlogger.devices.transports.ble.settings import GattSettings
from pitlogger.errors import TransportError
from pitlogger_simulators.bluetooth.peripherals import (
    Characteristic,
    GattService,
    Peripheral,
    es_measurement,
    presentation_format,
    user_description,
)
from tests.devices.peripherals import CELSIUS, S16, probe, weight_scale

SCALE = "02:00:00:00:00:10"
PROBES = "02:00:00:00:00:20"
WEIGHT = b"\x00\xc8\x00"


def scale() -> Peripheral:
    """A Weight Scale with a battery."""
    return weight_scale(SCALE)


def probes() -> Peripheral:
    """Four temperatures of one UUID, each told apart by other means, and a humidity."""
    temperatures = (
        probe(user_description("Point")),
        probe(presentation_format(S16, -2, CELSIUS, 2)),
        probe(es_measurement(1)),
        probe(),
    )
    humidity = Characteristic("2a6f", ("read",), b"\xbf\x13")
    return Peripheral(PROBES, "probes", (GattService("181a", (*temperatures, humidity)),))


def scale_settings(**changes: object) -> GattSettings:
    """A scale, with little patience."""
    given: dict[str, object] = {
        "address": SCALE, "needed": ("2a9d",), "find_s": 2.0, "connect_s": 0.5, "close_s": 0.3,
    }  # fmt: skip
    return GattSettings(**(given | changes))  # type: ignore[arg-type]


def probe_settings(**changes: object) -> GattSettings:
    """Probes, with little patience."""
    return scale_settings(**({"address": PROBES, "needed": ("2a6e", "2a6f")} | changes))


async def take(stream: AsyncIterator[Chunk], wanted: Callable[[Chunk], bool]) -> Chunk:
    """Return the next chunk that is wanted."""
    async with asyncio.timeout(3):
        async for chunk in stream:
            if wanted(chunk):
                return chunk
    raise AssertionError("the stream ended")


async def loss(stream: AsyncIterator[Chunk]) -> TransportError:
    """Return the error a stream ends with."""
    with pytest.raises(TransportError) as caught:
        await take(stream, lambda _: False)
    return caught.value
