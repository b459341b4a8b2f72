"""The sounder of a node at work: what stands is heard, the button says "got it"."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Mapping
from functools import partial
from typing import TYPE_CHECKING

from pitlogger.config_notify import SounderTable
from pitlogger.errors import DeliveryError
from pitlogger.model.alerts import Priority

if TYPE_CHECKING:
    from pitlogger.notify.ways.sounder import Sounder

Report = Callable[[str, DeliveryError | None], None]
NAME = "sounder"


class AlarmBell:
    """Holds the pins while they are configured.

    Args:
        on_button: Called on the event loop.
        report: Told that the pins cannot be used, or ``None`` once they can.
    """

    def __init__(self, on_button: Callable[[], object], report: Report) -> None:
        self._on_button = on_button
        self._report = report
        self._table: SounderTable | None = None
        self._sounder: Sounder | None = None

    def configure(self, table: SounderTable | None) -> None:
        """Take the pins of a table and give others back; the same table changes nothing."""
        if table == self._table and (table is None or self._sounder is not None):
            return
        self.close()
        self._table = table
        if table is None:
            self._report(NAME, None)
            return
        from pitlogger.notify.ways.sounder import Sounder

        loop = asyncio.get_running_loop()
        try:
            self._sounder = Sounder(table, partial(loop.call_soon_threadsafe, self._on_button))
        except DeliveryError as fault:
            self._report(NAME, fault)
        else:
            self._report(NAME, None)

    def sound(self, gravest: Priority | None, well: bool, lit: Mapping[Priority, str]) -> None:
        """Sound as the gravest alert asks; light lamps; hold the relay while the node is well."""
        if self._sounder is not None:
            self._sounder.sound(gravest)
            self._sounder.light(lit)
            self._sounder.hold(well)

    async def try_out(self) -> str | None:
        """Sound briefly and return what should have been heard, ``None`` without a sounder."""
        if self._sounder is None:
            return None
        if self._sounder.is_sounding:
            return "it sounds an alarm now"
        return await asyncio.to_thread(self._sounder.try_out)

    def close(self) -> None:
        """Be silent and give the pins back; the relay falls off."""
        if self._sounder is not None:
            self._sounder.close()
        self._sounder = None
