"""Peripherals of the open services, ready to be put into reach of the simulated radio."""

from __future__ import annotations

from pitlogger_simulators.bluetooth.peripherals import (
    Characteristic,
    Descriptor,
    GattService,
    Peripheral,
    presentation_format,
    user_description,
)

S16, CELSIUS = 0x0E, 0x272F  # presentation format and unit, Bluetooth Assigned Numbers
_NO_VALUE = b"\x00\x80"


def battery(percent: int) -> GattService:
    """Return a Battery Service that only reads."""
    return GattService("180f", (Characteristic("2a19", ("read",), bytes((percent,))),))


def weight_scale(address: str, name: str = "scale", percent: int = 85) -> Peripheral:
    """Return a Weight Scale; its weight is indicated, never read."""
    weight = Characteristic("2a9d", ("indicate",))
    return Peripheral(address, name, (GattService("181d", (weight,)), battery(percent)))


def health_thermometer(address: str, name: str = "thermometer", percent: int = 85) -> Peripheral:
    """Return a Health Thermometer with final and intermediate values."""
    final = Characteristic("2a1c", ("indicate",))
    intermediate = Characteristic("2a1e", ("notify",))
    return Peripheral(address, name, (GattService("1809", (final, intermediate)), battery(percent)))


def probe(*descriptors: Descriptor) -> Characteristic:
    """Return one temperature of the Environmental Sensing service; no value yet."""
    return Characteristic("2a6e", ("read", "notify"), _NO_VALUE, descriptors)


def probe_hub(
    address: str, labels: tuple[str, ...], name: str = "probes", percent: int = 85
) -> Peripheral:
    """Return several probes of one UUID, told apart by label and ordinal."""
    probes = tuple(
        probe(user_description(label), presentation_format(S16, -2, CELSIUS, ordinal))
        for ordinal, label in enumerate(labels, start=1)
    )
    return Peripheral(address, name, (GattService("181a", probes), battery(percent)))
