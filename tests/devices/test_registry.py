"""Drivers by name."""

from __future__ import annotations

from importlib.metadata import EntryPoint

import pytest
from pydantic import Field

from pitlogger.devices.contract import ChannelInfo, DriverBase, DriverConfig, DriverInfo
from pitlogger.devices.registry import GROUP, Registry, configure
from pitlogger.errors import ConfigError, DriverError
from pitlogger.model.quantities import Quantity


class Config(DriverConfig):
    """A driver's own keys."""

    port: str
    baud: int = Field(default=9600, gt=0)


INFO = DriverInfo(
    "good", "a driver", "serial", (ChannelInfo("mass", Quantity.MASS, "g"),), 1.0, config=Config
)


class Good(DriverBase):
    """A driver that loads."""

    info = INFO


def points(**places: str) -> Registry:
    """A registry of the given names and places."""
    return Registry([EntryPoint(name, place, GROUP) for name, place in places.items()])


def test_a_missing_driver_names_the_nearest() -> None:
    with pytest.raises(DriverError, match=r"unknown driver 'serial-scail'.*'serial-scale'"):
        points(**{"serial-scale": "x:Y"}).load("serial-scail")


def test_two_drivers_of_one_name_are_refused_with_their_places() -> None:
    doubled = Registry([EntryPoint("a", "x:Y", GROUP), EntryPoint("a", "z:Y", GROUP)])
    with pytest.raises(DriverError, match="given 2 times"):
        doubled.load("a")


def test_a_driver_that_does_not_import_is_named_with_the_reason() -> None:
    with pytest.raises(DriverError, match="will not load: ModuleNotFoundError"):
        points(a="no_such_package:Driver").load("a")


def test_a_thing_that_is_no_driver_is_refused() -> None:
    with pytest.raises(DriverError, match="not a class with a DriverInfo"):
        points(a="json:dumps").load("a")


def test_only_the_driver_that_is_named_is_loaded() -> None:
    registry = points(broken="no_such_package:Driver", good="collections:OrderedDict")
    assert registry.names() == ["broken", "good"]


def test_an_unknown_key_names_the_nearest_and_the_place() -> None:
    with pytest.raises(ConfigError, match=r"node.toml:7: .*unknown key 'bauds' \(did you mean"):
        configure(INFO, {"port": "x", "bauds": 1}, "node.toml:7")


def test_a_missing_key_is_named() -> None:
    with pytest.raises(ConfigError, match="'port' is missing"):
        configure(INFO, {}, "node.toml")


def test_a_wrong_value_is_shown() -> None:
    with pytest.raises(ConfigError, match="'baud' = -1: -1 is not more than 0"):
        configure(INFO, {"port": "x", "baud": -1}, "node.toml")
