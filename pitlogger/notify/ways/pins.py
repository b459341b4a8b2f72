"""GPIO pins by gpiozero with lgpio, and what keeps them from being used, in words."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

from pitlogger.errors import DeliveryError

INSTALL = "Install it: uv tool install 'pitlogger[gpio]'"
_OTHER = "GPIOZERO_PIN_FACTORY"  # gpiozero's own way of naming another library of pins


def open_pins(chips: Path = Path("/dev")) -> Any:
    """Return where pins come from: lgpio, unless the environment names another library.

    gpiozero would fall back from one library to the next and end with one that drives pins
    blindly; here the first reason is reported instead.

    Args:
        chips: Folder of the ``gpiochip`` devices.

    Raises:
        DeliveryError: No library, no pins here, or no right to use them.
    """
    try:
        from gpiozero import Device
    except ImportError:
        raise _fault("the sounder needs gpiozero, which is not installed", INSTALL) from None
    if Device.pin_factory is not None or os.environ.get(_OTHER):
        return Device.pin_factory
    try:
        from gpiozero.pins.lgpio import LGPIOFactory
    except ImportError:
        raise _fault("the sounder needs lgpio, which is not installed", INSTALL) from None
    try:
        return LGPIOFactory()
    except Exception as fault:  # lgpio's own error is no OSError
        raise _unopened(fault, chips) from None


def _unopened(fault: Exception, chips: Path) -> DeliveryError:
    found = sorted(chips.glob("gpiochip*"))
    if not found:
        return _fault(
            "this machine has no GPIO pins (there is no /dev/gpiochip0)",
            "Take [notify.sounder] out, or run on a board that has pins",
        )
    if not os.access(found[0], os.R_OK | os.W_OK):
        return _fault(
            f"{found[0]} may not be used by the user that runs pitlogger",
            "Put that user into the group gpio (sudo usermod -aG gpio pitlogger) and restart",
        )
    return _fault(
        f"the pins cannot be opened ({fault})",
        f"If this board is no Raspberry Pi, name a library for its pins in {_OTHER}",
    )


def explained(fault: Exception) -> DeliveryError:
    """Return why pins that are there could not be taken."""
    said = str(fault) or type(fault).__name__
    if "busy" in said.casefold():
        return _fault(
            f"a pin of [notify.sounder] is used by another program ({said})",
            "Find it with `gpioinfo`, or choose another pin (BCM number)",
        )
    if "in use" in said.casefold():
        return _fault(f"a pin of [notify.sounder] is used twice ({said})", "Give each its own pin")
    if "permi" in said.casefold():
        return _fault(
            f"the pins of [notify.sounder] may not be used ({said})",
            "Put the user that runs pitlogger into the group gpio and restart",
        )
    return _fault(
        f"the pins of [notify.sounder] cannot be used ({said})", "Check the pin numbers (BCM)"
    )


def _fault(message: str, remedy: str) -> DeliveryError:
    return DeliveryError(message, remedy=remedy, for_good=True)
