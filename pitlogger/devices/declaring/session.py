"""Watching a device whose layout is not known, while a person types what a reference shows."""

from __future__ import annotations

import time
from collections import Counter, deque
from collections.abc import Awaitable, Callable
from typing import Any, ClassVar

from pitlogger.devices.contract import (
    ChannelInfo,
    Chunk,
    Decoder,
    DriverBase,
    DriverConfig,
    DriverInfo,
    Transport,
)
from pitlogger.devices.declaring import lines
from pitlogger.devices.declaring.frames import propose as propose_frames
from pitlogger.devices.declaring.frames import ways_of_bytes
from pitlogger.devices.declaring.moments import WITHIN, Moment
from pitlogger.devices.declaring.written import Proposal, place_in_words
from pitlogger.devices.framing import LineDecoder
from pitlogger.devices.runner import Device, Link
from pitlogger.devices.supervisor import Supervisor
from pitlogger.errors import QuantityError, RefusedError
from pitlogger.model.quantities import Quantity, parse_mass_mg, parse_temperature_mc

WINDOW_S = 4.0  # what came so shortly before the person typed belongs to the moment
SELDOM_S = 30.0  # of a device that speaks seldom, the last word so long ago does
_MOST = 8  # frames of one source and length, or lines, that a moment keeps
_KEPT = 4000
ID = "unknown"

Ask = Callable[[str], Awaitable[str | None]]  # a prompt; the answer, ``None`` at the end
Say = Callable[[str], None]
PROMPT = "reference (95C, 203F, 6.1kg; - probe pulled; undo; empty to end): "


class Seen:
    """What a device sent, with times: whole frames, or whole lines.

    Frames of one source that differ in length may be of different kinds; lines are not.
    """

    def __init__(
        self, monotonic_s: Callable[[], float] = time.monotonic, *, sends_lines: bool = False
    ) -> None:
        self._monotonic_s = monotonic_s
        self.sends_lines = sends_lines
        self._kept: deque[tuple[float, Chunk]] = deque(maxlen=_KEPT)
        self._last_s: dict[str, float] = {}
        self._gap_s: dict[str, float] = {}
        self._taken_s = -1.0

    def take(self, chunk: Chunk) -> tuple[()]:
        """Keep a frame; gives no measurement."""
        now_s = self._monotonic_s()
        last_s = self._last_s.get(chunk.source, now_s)
        self._gap_s[chunk.source] = max(self._gap_s.get(chunk.source, 0.0), now_s - last_s)
        self._last_s[chunk.source] = now_s
        self._kept.append((now_s, chunk))
        return ()

    def gap_s(self, source: str) -> float:
        """Return the longest pause of a source, seconds."""
        return self._gap_s.get(source, 0.0)

    def frames(self) -> list[Chunk]:
        """Return what was kept, oldest first."""
        return [chunk for _, chunk in self._kept]

    def moment(self, reference: float | None) -> Moment | None:
        """Return a moment of now with what came last; ``None`` where nothing new came."""
        now_s = self._monotonic_s()
        fresh = [(at_s, chunk) for at_s, chunk in self._kept if at_s > self._taken_s]
        if not fresh:
            return None
        chosen: list[Chunk] = []
        counts: Counter[tuple[str, int]] = Counter()
        for at_s, chunk in reversed(fresh):
            key = (chunk.source, 0 if self.sends_lines else len(chunk.data))
            age_s = now_s - at_s
            is_last = not counts[key] and age_s <= SELDOM_S
            if is_last or (age_s <= WINDOW_S and counts[key] < _MOST):
                counts[key] += 1
                chosen.append(chunk)
        if not chosen:
            return None
        self._taken_s = now_s
        return Moment(reference, tuple(reversed(chosen)))


class _Keeping:
    """A decoder that only keeps frames."""

    def __init__(self, seen: Seen) -> None:
        self._seen = seen

    def feed(self, chunk: Chunk) -> tuple[()]:
        return self._seen.take(chunk)


class UnknownDevice(DriverBase):
    """The driver of a device that is only watched."""

    info: ClassVar[DriverInfo] = DriverInfo(
        name=ID,
        summary="a device that is watched to be declared",
        transport="serial",
        channels=(ChannelInfo("*", Quantity.TEMPERATURE, "Cel"),),
        interval_s=60.0,
    )

    def __init__(self, seen: Seen, way: Callable[[], Transport]) -> None:
        super().__init__({})
        self._seen = seen
        self._way = way

    def decoder(self, config: Any) -> Decoder:
        """Return what keeps frames or lines."""
        if not self._seen.sends_lines:
            return _Keeping(self._seen)
        return LineDecoder(lambda line: self._seen.take(Chunk("", line)), midstream=True)

    def transport(self, config: Any) -> Transport:
        """Return the way to the device."""
        return self._way()


class Session:
    """Takes moments from a person until they are done.

    Args:
        within: How far a value may lie from its reference, degC or g; ``None`` for ours.

    Attributes:
        moments: Those taken.
        quantity: What the references are; ``None`` before the first.
    """

    def __init__(self, seen: Seen, ask: Ask, say: Say, within: float | None = None) -> None:
        self.moments: list[Moment] = []
        self.quantity: Quantity | None = None
        self._seen = seen
        self._ask = ask
        self._say = say
        self._within = within

    async def run(self, driver: UnknownDevice) -> None:
        """Watch the device and take moments until an empty answer."""

        def status(_device: str, link: Link, message: str, _remedy: str) -> None:
            self._say(f"{link}: {message}")

        async with Supervisor(lambda _device, _found: None, status) as supervisor:
            supervisor.start(Device(ID, driver, DriverConfig()))
            while (answer := await self._ask(PROMPT)) is not None and answer.strip():
                self.take(answer)

    def take(self, answer: str) -> None:
        """Take one answer; what cannot be used is said."""
        word = answer.strip().casefold()
        if word == "undo":
            self._say(f"taken back: {self._name(self.moments.pop())}" if self.moments else "none")
            return
        try:
            quantity, reference = (None, None) if word == "-" else read_reference(answer)
            if self.quantity not in (None, quantity) and quantity is not None:
                raise QuantityError(f"this session is about {self.quantity}: declare one at a time")
        except QuantityError as fault:
            self._say(str(fault))
            return
        moment = self._seen.moment(reference)
        if moment is None:
            self._say("nothing came since the last moment: wait, or wake the device")
            return
        self.quantity = self.quantity or quantity
        self.moments.append(moment)
        self._say(self._progress(moment))

    def proposal(self) -> Proposal | None:
        """Return what the moments show, ``None`` where nothing meets the references.

        Raises:
            RefusedError: Too few moments, or references too close together.
        """
        quantity = self.quantity or Quantity.TEMPERATURE
        find = lines.propose if self._seen.sends_lines else propose_frames
        return find(self.moments, quantity, self.within)

    @property
    def within(self) -> float:
        """How far a value may lie from its reference, degC or g."""
        return self._within or WITHIN[self.quantity or Quantity.TEMPERATURE]

    def _progress(self, moment: Moment) -> str:
        taken = f"{len(self.moments)}: {self._name(moment)}, {len(moment.chunks)} frames"
        try:
            proposal = self.proposal()
        except RefusedError as refusal:
            return f"{taken}; {refusal}"
        if proposal is None:
            return f"{taken}; nothing meets all references: go on, or 'undo' an unsteady one"
        return f"{taken}; likeliest: {place_in_words(proposal)}"

    def _name(self, moment: Moment) -> str:
        if moment.reference is None:
            return "no value"
        return f"{moment.reference:.1f} {'g' if self.quantity is Quantity.MASS else 'Cel'}"


def read_reference(text: str) -> tuple[Quantity, float]:
    """Return what a person typed, in degC or g.

    Raises:
        QuantityError: Neither a temperature nor a mass.
    """
    try:
        return Quantity.TEMPERATURE, parse_temperature_mc(text) / 1000
    except QuantityError:
        pass
    try:
        return Quantity.MASS, parse_mass_mg(text) / 1000
    except QuantityError:
        raise QuantityError(
            f"'{text.strip()}' is neither a temperature nor a mass: write 95C, 203F, 6.1kg "
            "or 13 lb 7 oz"
        ) from None


def behaviour(seen: Seen) -> dict[str, list[str]]:
    """Return how the bytes of each source behave, for frames that came often enough."""
    by_kind: dict[tuple[str, int], list[bytes]] = {}
    for chunk in [] if seen.sends_lines else seen.frames():
        by_kind.setdefault((chunk.source, len(chunk.data)), []).append(chunk.data)
    return {
        f"{source or 'frames'} of {length} bytes": ways_of_bytes(frames)
        for (source, length), frames in by_kind.items()
        if len(frames) > 2 and length
    }
