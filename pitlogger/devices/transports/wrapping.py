"""A transport around another one: it opens, closes, sends and waits as that one does."""

from __future__ import annotations

import asyncio
from typing import Self

from pitlogger.devices.contract import Announced, Transport


class WrappingTransport:
    """What wraps a transport and changes only what comes through it."""

    def __init__(self, inner: Transport) -> None:
        self._inner = inner

    async def __aenter__(self) -> Self:
        await self._inner.__aenter__()
        return self

    async def __aexit__(self, *exc: object) -> None:
        await self._inner.__aexit__(*exc)

    async def send(self, data: bytes) -> None:
        """Pass bytes on."""
        await self._inner.send(data)

    async def appears(self) -> None:
        """Return when a missing device is there; never where that cannot be known."""
        if isinstance(self._inner, Announced):
            await self._inner.appears()
        else:
            await asyncio.Event().wait()
