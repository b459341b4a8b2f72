"""Rate, parity and framing are found by trying; bytes that end no line are always reported."""

from __future__ import annotations

import pytest
from click.testing import CliRunner

from pitlogger.cli.instruments.devices import devices
from pitlogger.devices.configured import verdict
from pitlogger.devices.contract import Chunk
from pitlogger.devices.framing import LineDecoder
from pitlogger.devices.line_search import RATES, printable_lines, search
from pitlogger.devices.registry import Registry, configure
from pitlogger.devices.runner import NEVER_READ, Device
from pitlogger.devices.transports.serial import SerialSettings, SerialTransport
from pitlogger.devices.trial import Trial
from pitlogger.errors import MalformedError, TransportError
from pitlogger.testing import PseudoPort
from tests.devices.uart import Uart

LINE = b"ST,GS,+  4.530kg\r\n"


async def found_by_trying(port: PseudoPort, line: bytes, baud: int, framing: str) -> str:
    """Return what a search finds of a sender."""
    with Uart(port, line, baud, framing):
        result = await search(
            lambda b, f: SerialTransport(SerialSettings(str(port.path), b, f)),
            printable_lines, listen_s=0.25,
        )  # fmt: skip
    assert result.found is not None, result
    return f"{result.found.baud} {result.found.framing} {result.found.sample}"


@pytest.mark.parametrize(
    ("baud", "framing"),
    [(2400, "8N1"), (115200, "8N1"), (57600, "7E1"), (4800, "7O1"), (1200, "7E1")],
)
async def test_rate_and_framing_are_found(port: PseudoPort, baud: int, framing: str) -> None:
    said = await found_by_trying(port, LINE, baud, framing)
    assert said == f"{baud} {framing} ST,GS,+  4.530kg"


async def test_a_silent_port_is_given_up_after_one_round(port: PseudoPort) -> None:
    opened: list[int] = []

    def way(baud: int, framing: str) -> SerialTransport:
        opened.append(baud)
        return SerialTransport(SerialSettings(str(port.path), baud, framing))

    result = await search(way, printable_lines, listen_s=0.02)
    assert (result.found, result.heard, len(opened)) == (None, b"", len(RATES))
    assert port.read() == b""  # nothing was written


@pytest.mark.parametrize("wrong", [rate for rate in RATES if rate != 9600])
async def test_a_wrong_rate_is_reported_with_what_came(port: PseudoPort, wrong: int) -> None:
    driver = Registry().load("serial-scale")
    config = configure(driver.info, {"port": str(port.path), "baud": wrong}, "test")
    trial = Trial(Device("scale", driver({}), config), lambda _line: None)
    with Uart(port, LINE, 9600, "8N1"):
        await trial.run(0.4)
    (check,) = verdict(trial)
    assert "sent nothing" not in check.found
    assert "b'" in check.found or 'b"' in check.found
    assert "baud" in check.remedy


@pytest.mark.parametrize("midstream", [True, False])
def test_bytes_without_a_line_end_are_refused_again_and_again(midstream: bool) -> None:
    decoder = LineDecoder(lambda _line: (), midstream=midstream)
    outcomes = [found for _ in range(130) for found in decoder.feed(Chunk("", b"\xf8\x80" * 20))]
    assert len(outcomes) >= NEVER_READ  # so that the device counts as lost
    assert all(isinstance(found, MalformedError) for found in outcomes)
    assert "xf8" in str(outcomes[0])


def test_a_device_at_another_rate_is_found_by_trying_it(port: PseudoPort) -> None:
    words = ["try", "serial-scale", f"port={port.path}", "baud=19200", "--seconds", "0.4"]
    with Uart(port, LINE, 2400, "7E1"):
        done = CliRunner().invoke(devices, words)
    assert isinstance(done.exception, TransportError)
    assert 'Write baud = 2400 and framing = "7E1"' in str(done.exception)
    assert port.read() == b""


def test_a_device_that_has_to_be_asked_is_not_asked_at_other_rates(port: PseudoPort) -> None:
    words = ["try", "serial-scale", f"port={port.path}", r"ask=W\r", "--seconds", "0.3"]
    done = CliRunner().invoke(devices, words)
    assert isinstance(done.exception, TransportError)
    assert "going through" not in done.output
