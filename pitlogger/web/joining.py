"""A device joined from the page: one talk at a time between what asks and a person with a phone.

What asks is the same as on the command line: the steps of pointing at a device, or the pairing
of one. Here its questions wait for a form, and end unanswered when nobody comes back.
"""

from __future__ import annotations

import asyncio
from collections import deque
from collections.abc import Awaitable, Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from pitlogger.devices.line_search import in_words, printable_lines, search
from pitlogger.devices.pointing.block import FOLDER
from pitlogger.devices.pointing.finding import find
from pitlogger.devices.pointing.joined import JoinedDevice
from pitlogger.devices.pointing.session import Pointing
from pitlogger.devices.pointing.watching import Tape, UnknownDevice
from pitlogger.devices.pointing.way import DeviceAccess, usage_of
from pitlogger.devices.tasks import end
from pitlogger.devices.transports.ble.settings import DeviceSettings
from pitlogger.devices.transports.serial import SerialSettings, SerialTransport
from pitlogger.errors import PitloggerError, RefusedError, TransportError, UsageError
from pitlogger.model.quantities import Quantity

PATIENCE_S = 900.0  # for a person who went for ice; then the device is let go
_SHOWN = 6  # lines said last
NO_FIELD = (
    "No field follows what you did: warm the probe longer, wait until it is steady before you "
    "write, and let the two true values lie far apart."
)
NOTHING_SAID = "Nobody answered for a quarter of an hour: the device was let go."


@dataclass(slots=True)
class Talk:
    """What is said and asked about one device.

    Attributes:
        what: The device, as the person knows it.
        asked: The question that waits, empty while none does.
        turn: Counts what there is to draw anew; an answer belongs to the turn it was shown in.
        live: What came last of each kind of frame, what changed in brackets.
        found: What pointing found, until it is written.
        ended: How it ended, empty while it goes on.
    """

    what: str
    quantity: Quantity = Quantity.TEMPERATURE
    lines: deque[str] = field(default_factory=lambda: deque(maxlen=_SHOWN))
    asked: str = ""
    turn: int = 0
    live: str = ""
    found: JoinedDevice | None = None
    ended: str = ""
    _answer: asyncio.Future[str | None] | None = None

    async def ask(self, prompt: str) -> str | None:
        """Return what the person answers, ``None`` where they break off or never come back."""
        self._answer = asyncio.get_running_loop().create_future()
        self.asked = prompt
        self.turn += 1
        try:
            async with asyncio.timeout(PATIENCE_S):
                return await self._answer
        except TimeoutError:
            self.lines.append(NOTHING_SAID)
            return None
        finally:
            self.asked, self._answer = "", None
            self.turn += 1

    def answer(self, text: str | None, turn: int) -> None:
        """Take the answer to the question of a turn; one to an earlier question is late."""
        if self._answer is not None and not self._answer.done() and turn == self.turn:
            self._answer.set_result(text)

    def say(self, line: str) -> None:
        """Say something that needs no answer."""
        self.lines.append(line)

    def show(self, lines: Sequence[str]) -> None:
        """Show what comes, as it comes."""
        self.live = "\n".join(lines[-_SHOWN:])


class AtPhone:
    """The person at the phone, while a device pairs."""

    def __init__(self, talk: Talk) -> None:
        self._talk = talk

    async def passkey(self) -> int | None:
        typed = (await self._talk.ask("passkey") or "").strip()
        return int(typed) if typed.isdecimal() and len(typed) <= 6 else None

    def show(self, passkey: int) -> None:
        self._talk.say(f"Type on the device: {passkey:06d}")
        self._talk.turn += 1

    async def same(self, passkey: int) -> bool:
        self._talk.say(f"This computer shows {passkey:06d}.")
        return await self._talk.ask("same") == "yes"


class Joining:
    """The talk of a node, and what it leaves behind."""

    def __init__(self, data: Path) -> None:
        self.folder = data / FOLDER
        self.talk: Talk | None = None
        self._task: asyncio.Task[None] | None = None

    def point(self, way: DeviceAccess, quantity: Quantity, name: str = "") -> None:
        """Begin to point at a device.

        Raises:
            RefusedError: Another is being joined.
        """

        async def run(talk: Talk) -> None:
            known = await _with_line_settings(way, talk) if way.port else way
            tape = Tape(sends_lines=known.sends_lines)
            steps = Pointing(tape, talk.ask, talk.say, quantity, live=talk.show)
            evidence = await steps.run(UnknownDevice(tape, known.open))
            finding = await asyncio.to_thread(find, evidence)
            if finding is None:
                raise RefusedError(NO_FIELD)
            talk.found = JoinedDevice(known, tape, evidence, finding, name, {}, self.folder)

        self._begin(Talk(name or way.name, quantity), run)

    def pair(self, settings: DeviceSettings, *, anew: bool) -> None:
        """Begin to pair with a Bluetooth device.

        Raises:
            RefusedError: Another is being joined.
        """

        async def run(talk: Talk) -> None:
            from pitlogger.devices.transports.ble.pairing import pair

            talk.say("Make the device ready to pair: its manual says which button to hold.")
            paired = await pair(settings, AtPhone(talk), anew=anew)
            before = "was paired already" if paired.was_paired else "is paired"
            talk.ended = f"{paired.name or paired.address} {before}."

        self._begin(Talk(settings.what), run)

    def _begin(self, talk: Talk, run: Callable[[Talk], Awaitable[None]]) -> None:
        if self.talk is not None and self.talk.found is None and not self.talk.ended:
            raise RefusedError(f"{self.talk.what} is being joined: finish that or break it off")
        self.talk = talk

        async def to_the_end() -> None:
            try:
                await run(talk)
            except PitloggerError as fault:
                talk.ended = str(fault)
            finally:
                talk.ended = talk.ended or ("" if talk.found else "It was broken off.")
                talk.turn += 1

        self._task = asyncio.get_running_loop().create_task(to_the_end(), name="joining")

    async def write(self, name: str, sites: dict[str, str]) -> Path:
        """Write the files of what was found; return the one that a configuration takes in.

        Raises:
            RefusedError: Nothing was found, or a device of that name is there.
            UsageError: A site of a channel that it has not.
        """
        talk = self.talk
        if talk is None or talk.found is None:
            raise RefusedError("nothing was found that could be written: point at a device first")
        found = talk.found
        joined = JoinedDevice(
            found.way, found.tape, found.evidence, found.finding, name, sites, self.folder
        )
        await asyncio.to_thread(lambda: joined.written().put())
        talk.found, talk.ended = None, f"{joined.own} is written."
        return self.folder / f"{joined.own}.toml"

    async def stop(self) -> None:
        """Break off, and let the device go."""
        if self._task is not None:
            await end(self._task)
        self.talk = self._task = None


async def _with_line_settings(way: DeviceAccess, talk: Talk) -> DeviceAccess:
    """Return the way to a port with the rate and framing at which it sends lines."""
    talk.say("Going through the customary rates and framings of the line ...")
    result = await search(
        lambda baud, framing: SerialTransport(SerialSettings(way.port, baud, framing)),
        printable_lines,
        say=talk.say,
    )
    if result.found is None:
        raise TransportError(
            f"{way.port}: {in_words(result)}", remedy="Switch it on and set it to send by itself"
        )
    return DeviceAccess(way.port, result.found.baud, result.found.framing)


def way_of(form: dict[str, str]) -> DeviceAccess:
    """Return the way that a form names.

    Raises:
        UsageError: It names none.
    """
    port, address, name = (form.get(one, "").strip() for one in ("port", "address", "name"))
    if port:
        return DeviceAccess(port)
    if usage := form.get("hid", ""):
        return DeviceAccess(hid=usage_of(usage))
    if not (address or name):
        raise UsageError("say which device: one of those in reach")
    return DeviceAccess(
        address=address, device_name=name, advertised=form.get("advertised") == "yes"
    )
