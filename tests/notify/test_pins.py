"""What keeps pins from being used is told with what to do. The faults are lgpio's own words."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

import pytest
from gpiozero import Device
from gpiozero.pins.mock import MockFactory

from pitlogger.config_notify import SounderTable
from pitlogger.errors import DeliveryError
from pitlogger.notify.ways import pins
from pitlogger.notify.ways.sounder import Sounder


class LgpioError(Exception):
    """As ``lgpio.error``: neither an OSError nor of gpiozero."""


@pytest.fixture(autouse=True)
def no_pins_yet(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("GPIOZERO_PIN_FACTORY", raising=False)
    monkeypatch.setattr(Device, "pin_factory", None)


@pytest.mark.parametrize("missing", ["gpiozero", "lgpio"])
def test_a_library_that_is_missing_is_named_with_how_to_install_it(
    monkeypatch: pytest.MonkeyPatch, missing: str
) -> None:
    monkeypatch.setitem(sys.modules, missing, None)
    monkeypatch.delitem(sys.modules, "gpiozero.pins.lgpio", raising=False)
    with pytest.raises(DeliveryError, match=rf"{missing}, which is not installed.*\[gpio\]"):
        Sounder(SounderTable(pin=17), lambda: None)


def unopened(monkeypatch: pytest.MonkeyPatch, words: str = "can not open gpiochip") -> None:
    """Let lgpio refuse as it does."""

    class Refusing:
        def __init__(self) -> None:
            raise LgpioError(words)

    module = type(sys)("gpiozero.pins.lgpio")
    module.LGPIOFactory = Refusing  # type: ignore[attr-defined]
    monkeypatch.setitem(sys.modules, "gpiozero.pins.lgpio", module)


def test_a_machine_without_pins_is_told_so(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    unopened(monkeypatch)
    with pytest.raises(DeliveryError, match="has no GPIO pins"):
        pins.open_pins(tmp_path)


def test_pins_that_may_not_be_used_name_the_group(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    unopened(monkeypatch)
    (tmp_path / "gpiochip0").touch()
    monkeypatch.setattr("os.access", lambda *_: False)
    with pytest.raises(DeliveryError, match="usermod -aG gpio"):
        pins.open_pins(tmp_path)


def test_a_board_that_is_not_known_is_told_what_to_set(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    unopened(monkeypatch, "unable to locate Pi revision")
    (tmp_path / "gpiochip0").touch()
    with pytest.raises(DeliveryError, match="GPIOZERO_PIN_FACTORY"):
        pins.open_pins(tmp_path)


@pytest.mark.parametrize(
    ("words", "told"),
    [
        ("GPIO busy", "used by another program .*gpioinfo"),
        ("no permission to perform action", "group gpio"),
        ("GPIO not allocated", "Check the pin numbers"),
    ],
)
def test_a_pin_that_is_refused_is_told_in_words(words: str, told: str) -> None:
    class Refusing(MockFactory):  # type: ignore[misc]
        def pin(self, name: Any) -> Any:
            raise LgpioError(words)

    factory = Refusing()
    with pytest.raises(DeliveryError, match=told):
        Sounder(SounderTable(pin=17), lambda: None, factory)
    factory.close()
