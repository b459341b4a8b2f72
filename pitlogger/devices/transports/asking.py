"""Devices that speak when asked: one question at a time, at a steady pace."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator

from pitlogger.devices.contract import Chunk, Transport
from pitlogger.devices.tasks import end
from pitlogger.devices.transports.wrapping import WrappingTransport
from pitlogger.errors import SilentError


class AskingTransport(WrappingTransport):
    """Ask through another transport, and end when nothing answers.

    Args:
        inner: The way to the device.
        question: Bytes of the request.
        every_s: Pause between two questions, seconds.
        patience_s: How long an answer may take.
        first: Sent once after opening.
        after_silence: Sent after an unanswered question, before the next.
        tries: Unanswered questions in a row after which the device counts as lost.
    """

    def __init__(
        self,
        inner: Transport,
        question: bytes,
        every_s: float,
        *,
        patience_s: float = 2.0,
        first: bytes = b"",
        after_silence: bytes = b"",
        tries: int = 3,
    ) -> None:
        super().__init__(inner)
        self._question = question
        self._every_s = every_s
        self._patience_s = patience_s
        self._first = first
        self._after_silence = after_silence
        self._tries = tries

    async def chunks(self) -> AsyncIterator[Chunk]:
        """Yield answers.

        Raises:
            TransportError: The device is gone.
            SilentError: It left ``tries`` questions unanswered.
        """
        loop = asyncio.get_running_loop()
        source = aiter(self._inner.chunks())
        arriving: asyncio.Future[Chunk] = asyncio.ensure_future(anext(source))
        silent = 0
        try:
            if self._first:
                await self._inner.send(self._first)
            while True:
                asked_s = loop.time()
                await self._inner.send(self._question)
                answered = False
                until_s = asked_s + self._patience_s
                while (left_s := until_s - loop.time()) > 0:
                    await asyncio.wait({arriving}, timeout=left_s)
                    if not arriving.done():
                        break
                    answered = True
                    # Once something came, stay only for the pace: an answer may come in pieces.
                    until_s = asked_s + self._every_s
                    yield arriving.result()
                    arriving = asyncio.ensure_future(anext(source))
                silent = 0 if answered else silent + 1
                if silent:
                    await self._after_no_answer(silent)
        finally:
            await end(arriving)

    async def _after_no_answer(self, silent: int) -> None:
        if silent >= self._tries:
            raise SilentError(
                f"no answer to {silent} questions in a row ({self._question!r})",
                remedy="Check that the device is on, its baud rate, framing and address",
            )
        if self._after_silence:
            await self._inner.send(self._after_silence)
