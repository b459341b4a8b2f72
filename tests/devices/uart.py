"""A sender on a line, as a receiver at another rate samples it; written from the textbook.

Each byte is a start bit (0), data bits with the lowest first, perhaps a parity bit, and stop
bits (1); the line rests at 1. The receiver waits for a falling edge and samples in the middle
of each of its own bits.
"""

from __future__ import annotations

import os
import termios
import threading
from random import Random

from pitlogger.testing import PseudoPort


def levels(data: bytes, framing: str, gap_bits: int = 0) -> list[int]:
    """Return the levels of the line, one a bit of the sender."""
    bits, parity, stop = int(framing[0]), framing[1], int(framing[2])
    found: list[int] = []
    for byte in data:
        ones = [byte >> at & 1 for at in range(bits)]
        found += [0, *ones]
        if parity != "N":
            found.append((sum(ones) & 1) ^ (parity == "O"))
        found += [1] * (stop + gap_bits)
    return found


def sampled(line: list[int], sent_baud: int, baud: int, framing: str) -> bytes:
    """Return the bytes a receiver makes of a line; framing errors are passed on as read."""
    bits, parity, stop = int(framing[0]), framing[1], int(framing[2])
    step = sent_baud / baud
    found = bytearray()
    at, end = 0.0, float(len(line))
    while at < end:
        while at < end and line[int(at)] == 1:
            at += 0.05
        middles = [at + step * (number + 1.5) for number in range(bits)]
        if not middles or middles[-1] >= end:
            break
        found.append(sum(line[int(middle)] << number for number, middle in enumerate(middles)))
        at += step * (1 + bits + (parity != "N") + stop - 0.5)
    return bytes(found)


_RATE = {getattr(termios, f"B{rate}"): rate
         for rate in (1200, 2400, 4800, 9600, 19200, 38400, 57600, 115200, 230400)}  # fmt: skip


class Uart:
    """Sends lines on a pseudo-port, garbled by the rate that the host has set."""

    def __init__(self, port: PseudoPort, line: bytes, baud: int, framing: str) -> None:
        self._port = port
        self._line = line
        self._baud = baud
        self._framing = framing
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._send, daemon=True)
        self._random = Random(1)

    def __enter__(self) -> Uart:
        self._thread.start()
        return self

    def __exit__(self, *exc: object) -> None:
        self._stop.set()
        self._thread.join()

    def _send(self) -> None:
        while not self._stop.wait(0.02):
            rate = _RATE.get(termios.tcgetattr(self._port.fileno())[4], 9600)
            line = levels(self._line, self._framing)
            heard = sampled(line + [1] * 30, self._baud, rate, "8N1")
            try:
                os.write(self._port.fileno(), heard)
            except OSError:
                continue
