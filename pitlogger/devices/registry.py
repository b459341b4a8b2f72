"""The drivers by name: found through entry points, loaded only where the configuration names one.

A package adds a driver with one line in the group ``pitlogger.drivers``: its name and the
place of a class that meets ``contract.Driver``.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from importlib.metadata import EntryPoint, entry_points
from typing import Any

from pydantic import ValidationError

from pitlogger.devices.contract import Driver, DriverConfig, DriverInfo
from pitlogger.errors import ConfigError, DriverError, nearest, unknown
from pitlogger.formats.model_faults import fault_reason

GROUP = "pitlogger.drivers"


class Registry:
    """Drivers among entry points; those of the installation unless others are given."""

    def __init__(self, points: Iterable[EntryPoint] | None = None) -> None:
        self._points = list(entry_points(group=GROUP) if points is None else points)

    def names(self) -> list[str]:
        """Return the names of all drivers, without loading one."""
        return sorted({point.name for point in self._points})

    def load(self, name: str) -> type[Driver]:
        """Return a driver's class.

        Raises:
            DriverError: No such driver, two of one name, or one that will not load.
        """
        points = [point for point in self._points if point.name == name]
        if not points:
            raise DriverError(unknown("driver", name, self.names()))
        places = sorted({point.value for point in points})
        if len(places) > 1:
            raise DriverError(
                f"driver '{name}' is given {len(places)} times ({', '.join(places)}): "
                "uninstall all packages but one"
            )
        return _load(points[0])

    def descriptions(self) -> tuple[list[DriverInfo], list[str]]:
        """Return the descriptions of all drivers, and what is wrong with those that do not load."""
        infos, faults = [], []
        for name in self.names():
            try:
                infos.append(self.load(name).info)
            except DriverError as fault:
                faults.append(str(fault))
        return infos, faults


def _load(point: EntryPoint) -> type[Driver]:
    try:
        found = point.load()
    except Exception as error:  # whatever a foreign package does on import is its fault
        raise DriverError(
            f"driver '{point.name}' ({point.value}) will not load: "
            f"{type(error).__name__}: {error}; its package must be repaired or removed"
        ) from error
    info = getattr(found, "info", None)
    if not isinstance(found, type) or not isinstance(info, DriverInfo):
        raise DriverError(
            f"driver '{point.name}' ({point.value}) is not a class with a DriverInfo called info"
        )
    if info.name != point.name:
        raise DriverError(
            f"driver '{point.name}' ({point.value}) calls itself '{info.name}': "
            "entry point and DriverInfo must agree"
        )
    return found


def configure(info: DriverInfo, given: Mapping[str, Any], where: str) -> DriverConfig:
    """Return a driver's configuration; ``where`` says where the keys stand.

    Raises:
        ConfigError: A key is unknown, missing or has a value of the wrong kind.
    """
    try:
        return info.config.model_validate(dict(given))
    except ValidationError as error:
        faults = "; ".join(_fault(fault, info) for fault in error.errors())
        raise ConfigError(f"{where}: driver '{info.name}': {faults}") from error


def _fault(fault: Mapping[str, Any], info: DriverInfo) -> str:
    key = ".".join(str(part) for part in fault["loc"])
    if fault["type"] == "extra_forbidden":
        known = list(info.config.model_fields)
        return f"unknown key '{key}'{nearest(key, known)}; known: {', '.join(known)}"
    if fault["type"] == "missing":
        return f"'{key}' is missing"
    reason = fault_reason(fault)
    return f"'{key}' = {fault['input']!r}: {reason}" if key else reason
