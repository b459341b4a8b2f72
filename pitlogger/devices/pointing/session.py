"""Pointing at a device, step by step, with a person who has a glass of ice water."""

from __future__ import annotations

import asyncio
import re
from collections.abc import Callable, Sequence

from pitlogger.devices.contract import Chunk, DriverConfig
from pitlogger.devices.pointing.evidence import Evidence, Moment
from pitlogger.devices.pointing.watching import Ask, Say, Tape, UnknownDevice, read_reference
from pitlogger.devices.runner import Device, Link
from pitlogger.devices.supervisor import Supervisor
from pitlogger.errors import QuantityError, RefusedError, TransportError
from pitlogger.model.quantities import Quantity

LEAST_FRAMES = 3  # at rest
REST_S = 8.0
PATIENCE_S = 120.0  # for the first frames; some devices advertise seldom
_LOOK_S = 0.2
_WORD = re.compile(r"[\w.+-]+|[^\w.+-]+")
ID = "pointed"

WARM = {
    Quantity.TEMPERATURE: "Warm one probe in your hand, half a minute; then press Enter: ",
    Quantity.MASS: "Put something on the scale, a pound or more; then press Enter: ",
}
FIRST = {
    Quantity.TEMPERATURE: "Put it into ice water, stir, wait till it is steady; type what is "
    "true (0C): ",
    Quantity.MASS: "Put a mass on that you know; type it (2kg): ",
}
SECOND = {
    Quantity.TEMPERATURE: "Now somewhere warm, such as hot water beside a thermometer; type what "
    "is true (75C, 167F): ",
    Quantity.MASS: "Now another mass; type it (4kg): ",
}
PULL = {
    Quantity.TEMPERATURE: "Unplug that probe, wait till a few frames came, press Enter; or type - "
    "where it cannot be: ",
    Quantity.MASS: "Lift the platter off or overload it, press Enter; or type - to leave it: ",
}


class Pointing:
    """Takes the evidence from a person.

    Args:
        quantity: What the device measures: temperatures, or a mass.
        live: Called now and then with lines that show what came last, a line a kind of frame.
    """

    def __init__(
        self,
        tape: Tape,
        ask: Ask,
        say: Say,
        quantity: Quantity = Quantity.TEMPERATURE,
        *,
        rest_s: float = REST_S,
        patience_s: float = PATIENCE_S,
        live: Callable[[Sequence[str]], None] | None = None,
    ) -> None:
        self._tape = tape
        self._ask = ask
        self._say = say
        self._quantity = quantity
        self._rest_s = rest_s
        self._patience_s = patience_s
        self._live = live or (lambda _lines: None)
        self._lost: TransportError | None = None

    async def run(self, driver: UnknownDevice) -> Evidence:
        """Watch the device and go through the steps.

        Raises:
            TransportError: It could not be reached, or nothing came.
            RefusedError: The person broke off.
        """
        async with Supervisor(lambda _device, _found: None, self._status) as supervisor:
            supervisor.start(Device(ID, driver, DriverConfig()))
            rest = await self._rest()
            await self._wait_for(WARM)
            warmed = (*rest[-1:], *self._tape.cut())
            first = await self._true_value(FIRST)
            second = await self._true_value(SECOND)
            self._tape.cut()
            skipped = (await self._wait_for(PULL)).strip() == "-"
            pulled = self._tape.cut()
        return Evidence(
            rest, warmed, (first, second), () if skipped else pulled,
            sends_lines=self._tape.sends_lines, quantity=self._quantity,
        )  # fmt: skip

    def _status(self, _device: str, link: Link, message: str, remedy: str) -> None:
        self._lost = None if link is Link.UP else TransportError(message, remedy=remedy)
        self._say(f"{link}: {message}")

    async def _rest(self) -> tuple[Chunk, ...]:
        self._say("Leave it alone for a moment, all probes in the same room ...")
        loop = asyncio.get_running_loop()
        began_s = loop.time()
        while True:
            await asyncio.sleep(_LOOK_S)
            waited_s = loop.time() - began_s
            if self._tape.count >= LEAST_FRAMES and waited_s >= self._rest_s:
                return self._tape.cut()
            if waited_s >= self._patience_s:
                raise self._lost or TransportError(
                    f"{self._tape.count} frames came in {waited_s:.0f} s",
                    remedy="Wake the device; one that has to be told to begin needs --start",
                )

    async def _wait_for(self, prompts: dict[Quantity, str]) -> str:
        view = _View(self._tape)
        self._live(view.lines())
        showing = asyncio.create_task(self._show(view), name="pointing view")
        try:
            answer = await self._ask(prompts[self._quantity])
        finally:
            showing.cancel()
            await asyncio.wait({showing})
        if answer is None:
            raise RefusedError("broken off; nothing was written")
        return answer

    async def _true_value(self, prompts: dict[Quantity, str]) -> Moment:
        """Return a moment beside what the person typed; asked again until it can be used."""
        while True:
            answer = await self._wait_for(prompts)
            try:
                quantity, value = read_reference(answer)
            except QuantityError as fault:
                self._say(str(fault))
                continue
            if quantity is not self._quantity:
                self._say(
                    f"'{answer.strip()}' is a {quantity}: this device gives a {self._quantity}"
                )
                continue
            moment = self._tape.moment(value)
            if moment is not None:
                return moment
            self._say("nothing came in the last seconds: wake the device, and type it again")

    async def _show(self, view: _View) -> None:
        """Show what comes, as long as a question stands."""
        while True:
            await asyncio.sleep(_LOOK_S)
            if view.has_news:
                self._live(view.lines())


class _View:
    """The last frame of each kind that came, in words."""

    def __init__(self, tape: Tape) -> None:
        self._tape = tape
        self._seen = 0
        self._before: dict[tuple[str, int], Chunk] = {}
        self._lines: dict[tuple[str, int], str] = {}

    @property
    def has_news(self) -> bool:
        return len(self._tape.timed) > self._seen

    def lines(self) -> list[str]:
        """Return a line a kind, what changed in brackets, the kind that came last at the end."""
        for _, chunk in self._tape.timed[self._seen :]:
            key = (chunk.source, 0 if self._tape.sends_lines else len(chunk.data))
            before = self._before.get(key)
            self._lines.pop(key, None)
            self._lines[key] = shown(chunk, before and before.data, is_line=self._tape.sends_lines)
            self._before[key] = chunk
        self._seen = len(self._tape.timed)
        return list(self._lines.values())


def shown(chunk: Chunk, before: bytes | None, *, is_line: bool = False) -> str:
    """Return a frame as hex, or a line as text, with what changed in brackets."""
    source = f"{chunk.source} " if chunk.source else ""
    if is_line:
        return _line_shown(chunk.data, before)
    old = before if before is not None and len(before) == len(chunk.data) else chunk.data
    parts = [
        f"[{byte:02x}]" if byte != was else f" {byte:02x} "
        for byte, was in zip(chunk.data, old, strict=True)
    ]
    return f"{source}{len(chunk.data):3d} bytes {''.join(parts)}"


def _line_shown(line: bytes, before: bytes | None) -> str:
    """Return a line as text, each word or number that changed in brackets."""
    now, old = (_WORD.findall(_printable(one)) for one in (line, before or line))
    same = len(now) == len(old)
    return "".join(
        f"[{word}]" if same and word != was else word
        for word, was in zip(now, old if same else now, strict=True)
    )


def _printable(line: bytes) -> str:
    """Return the text of a line; what no terminal should get is a question mark."""
    return "".join(letter if letter.isprintable() else "?" for letter in line.decode("latin-1"))
