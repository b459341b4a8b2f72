"""HTTP/1.1 over one connection, with an end to everything that a client may draw out."""

from __future__ import annotations

import asyncio
from typing import Any

import h11
from uvicorn.protocols.http.h11_impl import H11Protocol

from pitlogger.web.access.door import Door, DoorLimits


class BoundedProtocol(H11Protocol):
    """uvicorn's protocol with deadlines for the head and for what is not read.

    A body is counted and timed by the gate, which reads it before the application sees it.
    """

    def __init__(self, *args: Any, door: Door, limits: DoorLimits, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self._door = door
        self._limits = limits
        self._head_due: asyncio.TimerHandle | None = None
        self._read_due: asyncio.TimerHandle | None = None

    @property
    def has_asked(self) -> bool:
        """Whether a whole request has come and is being answered."""
        return self._is_busy and not self.cycle.more_body

    @property
    def _is_busy(self) -> bool:
        return self.cycle is not None and not self.cycle.response_complete

    def throw_out(self) -> None:
        """End the connection at once, whatever is still to be sent."""
        self.transport.abort()

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        super().connection_made(transport)
        self._door.came(self, transport.get_extra_info("peername"))
        self._await_head()

    def connection_lost(self, exc: Exception | None) -> None:
        self._door.went(self)
        self._drop_deadlines()
        super().connection_lost(exc)

    def data_received(self, data: bytes) -> None:
        if self._head_due is None and not self._is_busy:
            self._await_head()
        super().data_received(data)
        if self._is_busy:
            _cancel(self._head_due)
            self._head_due = None

    def pause_writing(self) -> None:
        super().pause_writing()
        if self._read_due is None:
            self._read_due = self.loop.call_later(self._limits.unread_s, self.throw_out)

    def resume_writing(self) -> None:
        super().resume_writing()
        _cancel(self._read_due)
        self._read_due = None

    def send_400_response(self, msg: str) -> None:
        if self.conn.our_state in (h11.IDLE, h11.SEND_RESPONSE):
            super().send_400_response(msg)
        else:
            self.throw_out()
        if self._is_busy:  # whoever answers the request has nobody to answer any more
            self.cycle.disconnected = True
            self.cycle.message_event.set()

    def _unsupported_upgrade_warning(self) -> None:
        self.logger.warning("A client asked for another protocol; this node speaks HTTP/1.1 alone.")

    def _await_head(self) -> None:
        self._head_due = self.loop.call_later(self._limits.head_s, self.throw_out)

    def _drop_deadlines(self) -> None:
        _cancel(self._head_due)
        _cancel(self._read_due)


def _cancel(timer: asyncio.TimerHandle | None) -> None:
    if timer is not None:
        timer.cancel()
