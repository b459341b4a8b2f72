"""Going through rate, parity and framing of a serial device that cannot be read."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from pitlogger.errors import TransportError, UsageError

if TYPE_CHECKING:
    from pitlogger.devices.line_search import LineSearch
    from pitlogger.devices.runner import Device

Say = Callable[[str], None]


def can_be_searched(device: Device, may_write: bool) -> bool:
    """Tell whether other settings may be tried: on a serial line, and nothing is written there.

    A device that has to be asked gets its question at every rate; that has to be allowed.
    """
    from pitlogger.devices.transports.asking import AskingTransport
    from pitlogger.devices.transports.serial import SerialTransport

    way = device.driver.transport(device.config)
    return isinstance(way, SerialTransport) or (may_write and isinstance(way, AskingTransport))


def settings_for(device: Device, say: Say) -> LineSearch:
    """Return the settings at which a device's own driver reads its lines, as far as found."""
    from pitlogger.devices.contract import Chunk, Measurement
    from pitlogger.devices.line_search import search

    given: Any = device.config

    def at(baud: int, framing: str) -> Any:
        return given.model_copy(update={"baud": baud, "framing": framing})

    def judge(data: bytes, baud: int, framing: str) -> int:
        outcomes = list(device.driver.decoder(at(baud, framing)).feed(Chunk("", data)))
        good = sum(isinstance(outcome, Measurement) for outcome in outcomes)
        return good if 2 * good > len(outcomes) else 0

    say("going through the customary rates and framings ...")
    return asyncio.run(
        search(lambda b, f: device.driver.transport(at(b, f)), judge, first=given.baud, say=say)
    )


def settings_of_port(port: str, poll: bytes, say: Say) -> tuple[int, str]:
    """Return rate and framing at which a port gives lines of printable text.

    Raises:
        TransportError: Nothing came, or no lines at any rate.
    """
    from pitlogger.devices.contract import Transport
    from pitlogger.devices.line_search import in_words, printable_lines, search
    from pitlogger.devices.transports.asking import AskingTransport
    from pitlogger.devices.transports.serial import SerialSettings, SerialTransport

    def way(baud: int, framing: str) -> Transport:
        port_way = SerialTransport(SerialSettings(port, baud, framing))
        return AskingTransport(port_way, poll, 0.5) if poll else port_way

    say(f"{port}: going through the customary rates and framings ...")
    result = asyncio.run(search(way, printable_lines, say=say))
    if result.found is None:
        raise TransportError(f"{port}: {in_words(result)}", remedy=remedy(result))
    say(f"{port}: {in_words(result)}")
    return result.found.baud, result.found.framing


def remedy(result: LineSearch) -> str:
    """Return what to do where nothing was found."""
    if result.heard:
        return "Look the rate up in its manual; frames without line ends need a driver of their own"
    return (
        "Switch it on and set it to send by itself; if it has to be asked, its driver has the "
        "question (ask or poll), and --write allows it at every rate"
    )


def refuse_framing(framing: str) -> None:
    """Refuse a word that is no framing."""
    from pitlogger.devices.transports.serial import FRAMINGS

    if framing and framing not in FRAMINGS:
        raise UsageError(f"'{framing}' is no framing: write it as in 8N1 or 7E1")
