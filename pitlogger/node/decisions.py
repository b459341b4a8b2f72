"""Decisions of people and programs: each entered once, and answered by the entry it became.

A request carries a key. Whoever asks again with it, at the same time or after a kill, in whatever
order, is answered with the first entry. What was decided of late is known here, the rest is
found in the record, by its key.
"""

from __future__ import annotations

import asyncio
import json
from collections.abc import Iterable
from concurrent.futures import Future
from contextlib import suppress

from pitlogger.engine.inputs import Command
from pitlogger.errors import RefusedError, StoreError
from pitlogger.formats.journal_json import dump_body
from pitlogger.model.journal import Body, Entry
from pitlogger.service.on_disk import on_disk
from pitlogger.views.node import Node

KEPT = 1000  # decisions of late; while the disk refuses, all of them
_MOMENTS = frozenset({"at_ms", "until_ms"})
READ_S = 1.0  # for a look into the record; a disk that hangs must not hold an answer back


def fingerprint(body: Body, by: str, past: str = "") -> str:
    """Return what was said, by whom and of which finished cook, whenever it was said."""
    document = {name: value for name, value in dump_body(body).items() if name not in _MOMENTS}
    return json.dumps([by, past, document], sort_keys=True)


class Decisions:
    """Enters decisions and remembers what became of them."""

    def __init__(self, node: Node) -> None:
        self._node = node
        self._by_key: dict[str, Entry] = {}
        self._unwritten: set[tuple[str, int]] = set()
        self._waiting: dict[str, Entry] = {}  # by what was said, while the disk refuses

    def is_on_disk(self, entry: Entry) -> bool:
        """Return whether the disk has taken an entry."""
        return (entry.run, entry.seq) not in self._unwritten

    def handed_to_disk(self, entries: Iterable[Entry], done: Future[None]) -> None:
        """Take that entries are on their way to the disk until ``done``."""
        names = [(entry.run, entry.seq) for entry in entries]
        self._unwritten.update(names)
        loop = asyncio.get_running_loop()

        def written(done: Future[None]) -> None:
            if not done.cancelled() and done.exception() is None:
                with suppress(RuntimeError):  # the loop has ended meanwhile
                    loop.call_soon_threadsafe(self._unwritten.difference_update, names)

        done.add_done_callback(written)

    async def earlier(self, key: str) -> Entry | None:
        """Return what a request with this key became, ``None`` for a new one.

        Raises:
            RefusedError: It was carried out, and what it became can no longer be read.
        """
        if not key:
            return None
        if key not in self._by_key:
            found = await self._on_record(key)
        if (entered := self._by_key.get(key)) is not None:  # by another request, meanwhile
            await self._settle()
            return entered
        return found

    async def _on_record(self, key: str) -> Entry | None:
        try:
            async with asyncio.timeout(READ_S):
                found = await self._node.ask(lambda reader: reader.entry_by_key(key))
        except (StoreError, TimeoutError):
            found = None
        if found is None and key not in self._by_key and key in self._node.engine.state.keys:
            found = next((one for one in self._node.engine.state.entries if one.key == key), None)
            if found is None:
                raise RefusedError(
                    f"the request '{key}' was carried out before; its entry cannot be read now."
                    " Nothing was entered twice"
                )
        return found

    async def enter(self, body: Body, by: str = "", key: str = "", past: str = "") -> Entry:
        """Enter a decision; return its entry once it is on disk, or after two seconds.

        ``is_on_disk`` tells which. The same key again returns the first entry.

        Raises:
            UsageError: It cannot be used; nothing was changed.
            RefusedError: It is refused as things stand; nothing was changed.
        """
        if (known := await self.earlier(key)) is not None:
            return known
        words = fingerprint(body, by, past)
        if not key and (said := self._waiting.get(words)) is not None and not self.is_on_disk(said):
            await self._settle()  # said again while the disk refuses: it is the same one
            return said
        command = Command(self._node.clock.engine_ms(), body, by, key, past=past)
        entry = next(  # what fell due before it stands first
            one
            for one in self._node.feed(command)
            if type(one.body) is type(body) and one.t_ms == command.t_ms
        )
        if key:
            self._remember(key, entry)
        await self._settle()
        self._waiting = {of: one for of, one in self._waiting.items() if not self.is_on_disk(one)}
        if not self.is_on_disk(entry):
            self._waiting[words] = entry
        return entry

    def _remember(self, key: str, entry: Entry) -> None:
        self._by_key[key] = entry
        while len(self._by_key) > KEPT:
            oldest = next(iter(self._by_key))
            if not self.is_on_disk(self._by_key[oldest]):
                return
            del self._by_key[oldest]

    async def _settle(self) -> None:
        if self._unwritten:
            await on_disk(self._node.store.flush(), self._node.stopping)
