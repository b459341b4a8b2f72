"""One device, for as long as it is wanted: connect, decode, emit, and again."""

from __future__ import annotations

import asyncio
import logging
from collections import deque
from collections.abc import Awaitable, Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from enum import StrEnum

from pitlogger.clock import Clock
from pitlogger.devices import contract
from pitlogger.devices.backoff import Backoff
from pitlogger.devices.faults import Faults
from pitlogger.devices.tasks import end, heed_cancelling
from pitlogger.errors import (
    DecodeError,
    DuplicateFrameError,
    PitloggerError,
    SilentError,
    TransportError,
)
from pitlogger.model.quantities import Quantity

log = logging.getLogger(__name__)

RING = 32  # refused bytes kept of a device
UNREADABLE = 20  # refusals in a row after which a device counts as lost though it sends
NEVER_READ = 5  # the same of one of which nothing was read since it was opened
# What a device tells of itself is no sign that what it measures can be read.
ASIDE = frozenset((Quantity.SIGNAL, Quantity.BATTERY))
CHECK_SETTINGS = "Check its settings: pitlogger devices try"


class Link(StrEnum):
    """Whether a device can be read."""

    UP = "up"
    LOST = "lost"


Emit = Callable[[str, contract.Measurement], None]
Status = Callable[[str, Link, str, str], None]
Sleep = Callable[[float], Awaitable[None]]


@dataclass(frozen=True, slots=True)
class Device:
    """A configured device."""

    id: str
    driver: contract.Driver
    config: contract.DriverConfig

    @property
    def interval_s(self) -> float:
        """The longest normal pause between two readings."""
        return self.config.interval_s or self.driver.info.interval_s

    @property
    def silence_s(self) -> float | None:
        """The silence after which to start anew; ``None`` where the transport sees to it."""
        return self.config.silence_s or self.driver.info.silence_s


@dataclass(frozen=True, slots=True)
class Refused:
    """Bytes that were no reading, with the reason."""

    utc_ms: int
    chunk: contract.Chunk
    reason: str
    remedy: str = ""


@dataclass(frozen=True, slots=True)
class DeviceStanding:
    """How a device fares: what was last reported, and what to do; ``None`` before anything."""

    link: Link | None = None
    message: str = ""
    remedy: str = ""


@dataclass(frozen=True, slots=True)
class RunnerLimits:
    """How long opening and closing may take, seconds of real time."""

    open_s: float = 180.0
    close_s: float = 20.0


class Runner:
    """Runs one device.

    Attributes:
        refused: The last bytes that were refused.
        taps: Called with every chunk, to record on demand.
        standing: What was last reported; its link is ``None`` before the first attempt has ended.
    """

    def __init__(
        self,
        device: Device,
        emit: Emit,
        status: Status,
        *,
        clock: Clock,
        backoff: Backoff,
        sleep: Sleep,
        limits: RunnerLimits,
    ) -> None:
        self.device = device
        self.refused: deque[Refused] = deque(maxlen=RING)
        self.taps: list[Callable[[contract.Chunk], None]] = []
        self.standing = DeviceStanding()
        self._emit = emit
        self._status = status
        self._clock = clock
        self._backoff = backoff
        self._sleep = sleep
        self._limits = limits
        self._transport: contract.Transport | None = None
        self._refused_in_a_row = 0
        self._refused_source: str | None = None
        self._has_been_read = False  # since it was opened
        self._faults = Faults()
        self._is_silent = False  # nothing came, so only a word is a sign of life

    async def run(self) -> None:
        """Run until cancelled; nothing a device or its driver does ends it."""
        while True:
            began_ms = self._clock.monotonic_ms()
            transport: contract.Transport | None = None
            try:
                transport = self.device.driver.transport(self.device.config)
                await self._session(transport)
                lost = TransportError("it has nothing more to say")
            except TransportError as error:
                lost = error
                self._is_silent = isinstance(error, SilentError)
            except PitloggerError as error:
                lost = TransportError(str(error))
            except Exception as error:  # a driver's fault is that device's trouble alone
                log.exception("driver of device '%s' failed", self.device.id)
                lost = TransportError(
                    f"its driver failed: {type(error).__name__}: {error}",
                    remedy="Report it to the driver's author with the log",
                )
            heed_cancelling()
            self._tell(Link.LOST, lost.message, lost.remedy)
            lasted_s = (self._clock.monotonic_ms() - began_ms) / 1000
            await self._pause(self._backoff.after(lasted_s), transport)

    async def send(self, data: bytes) -> None:
        """Send bytes to the device.

        Raises:
            TransportError: It is not connected, or takes nothing.
        """
        if self._transport is None:
            raise TransportError(f"device '{self.device.id}' is not connected")
        await self._transport.send(data)

    async def facts(self) -> dict[str, str]:
        """Return what the device says about itself while it is connected; often nothing."""
        way = self._transport
        return await way.facts() if isinstance(way, contract.Describing) else {}

    async def _session(self, transport: contract.Transport) -> None:
        """Read from one connection until it fails."""
        try:
            async with asyncio.timeout(self._limits.open_s):
                await transport.__aenter__()
        except TimeoutError:
            raise TransportError(f"it did not open in {self._limits.open_s:g} s") from None
        try:
            self._transport = transport
            self._refused_in_a_row, self._refused_source = 0, None
            self._has_been_read = False
            self._faults = Faults()
            decoder = self.device.driver.decoder(self.device.config)
            self._is_silent |= isinstance(transport, contract.Listening)
            if not self._is_silent:
                self._tell(Link.UP, "connected", "")
            await self._read(transport, decoder)
        finally:
            self._transport = None
            await self._close(transport)

    async def _read(self, transport: contract.Transport, decoder: contract.Decoder) -> None:
        stream = aiter(transport.chunks())
        only_listens = isinstance(transport, contract.Listening)
        events = decoder if isinstance(decoder, contract.EventDriven) else None
        while True:
            heed_cancelling()
            silence_s = self.device.silence_s
            if events is not None and events.speaks_on_events:
                silence_s = None
            with self._watching(silence_s if only_listens else None):
                try:
                    async with asyncio.timeout(None if only_listens else silence_s):
                        chunk = await anext(stream, None)
                except TimeoutError:
                    assert silence_s is not None
                    raise _silent(silence_s) from None
            if chunk is None:
                return
            for tap in tuple(self.taps):
                tap(chunk)
            if chunk.fault is not None:
                self._take_fault(chunk, chunk.fault, decoder)
                continue
            if self._is_silent:
                self._is_silent = False
                self._tell(Link.UP, "it speaks", "")
            for outcome in decoder.feed(chunk):
                self._take(chunk, outcome)
            if self._faults.read(chunk.source, self._clock.monotonic_ms()):
                self._tell_faults()

    def _take_fault(
        self, chunk: contract.Chunk, fault: TransportError, decoder: contract.Decoder
    ) -> None:
        """Take a source that failed alone: its channels have no value, the others go on."""
        if isinstance(decoder, contract.Sourced):
            for found in decoder.missing(chunk.source):
                self._emit(self.device.id, found)
        self.refused.append(Refused(self._clock.utc_ms(), chunk, fault.message, fault.remedy))
        self._faults.take(chunk.source, fault, self._clock.monotonic_ms())
        self._tell_faults()

    def _tell_faults(self) -> None:
        if self.standing.link is not Link.UP:
            return
        what = self._faults.message
        self._tell(Link.UP, f"connected, but {what}" if what else "connected", self._faults.remedy)

    @contextmanager
    def _watching(self, silence_s: float | None) -> Iterator[None]:
        """Tell that the device is lost if this lasts longer, and go on."""
        if silence_s is None:
            yield
            return
        timer = asyncio.get_running_loop().call_later(silence_s, self._fall_silent, silence_s)
        try:
            yield
        finally:
            timer.cancel()

    def _fall_silent(self, silence_s: float) -> None:
        self._is_silent = True
        lost = _silent(silence_s)
        self._tell(Link.LOST, lost.message, lost.remedy)

    def _take(self, chunk: contract.Chunk, outcome: contract.Measurement | DecodeError) -> None:
        if isinstance(outcome, contract.Measurement):
            self._emit(self.device.id, outcome)
            if outcome.quantity in ASIDE and chunk.source != self._refused_source:
                return
            self._refused_in_a_row, self._has_been_read = 0, True
            if self.standing.link is Link.LOST:
                self._tell(Link.UP, "readable again", "")
            return
        if isinstance(outcome, DuplicateFrameError):
            return
        self.refused.append(Refused(self._clock.utc_ms(), chunk, str(outcome), outcome.remedy))
        self._refused_in_a_row += 1
        self._refused_source = chunk.source
        if self._refused_in_a_row == (UNREADABLE if self._has_been_read else NEVER_READ):
            self._tell(
                Link.LOST,
                f"it sends, but nothing can be read: {outcome}",
                outcome.remedy or CHECK_SETTINGS,
            )

    async def _close(self, transport: contract.Transport) -> None:
        try:
            async with asyncio.timeout(self._limits.close_s):
                await transport.__aexit__(None, None, None)
        except Exception:  # the way is lost already; what counts is the next attempt
            log.warning("device '%s' did not close cleanly", self.device.id, exc_info=True)

    async def _pause(self, pause_s: float, transport: contract.Transport | None) -> None:
        """Wait, or until the device comes back by itself, whichever is first."""
        waits = {asyncio.ensure_future(self._sleep(pause_s))}
        appearing = None
        if isinstance(transport, contract.Announced):
            appearing = asyncio.ensure_future(transport.appears())
            waits.add(appearing)
        try:
            done, _ = await asyncio.wait(waits, return_when=asyncio.FIRST_COMPLETED)
            if appearing in done and appearing is not None and appearing.exception() is None:
                self._backoff.reset()
                await self._sleep(0.1)  # let a fresh node get its owner and its permissions
            elif appearing in done:
                await next(iter(waits - {appearing}))
        finally:
            await end(*waits)

    def _tell(self, link: Link, message: str, remedy: str) -> None:
        """Tell news: an attempt that fails as the last one did is none."""
        if (link, message) == (self.standing.link, self.standing.message):
            return
        self.standing = DeviceStanding(link, message, remedy)
        log.log(
            logging.WARNING if link is Link.LOST or remedy else logging.INFO,
            "device '%s' is %s: %s%s", self.device.id, link, message, remedy and f". {remedy}",
        )  # fmt: skip
        self._status(self.device.id, link, message, remedy)


def _silent(silence_s: float) -> SilentError:
    return SilentError(
        f"nothing came for {silence_s:g} s", remedy="Check that it is on and near, and its battery"
    )
