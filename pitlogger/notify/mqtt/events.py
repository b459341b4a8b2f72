"""Journal entries to the broker: all of them, in order, over every outage and restart.

The journal itself is the queue. What was published last is remembered in a small file; what
came since is read from the store after each connect.
"""

from __future__ import annotations

import json
import time
from dataclasses import dataclass
from pathlib import Path

import aiomqtt

from pitlogger.files import write_soon
from pitlogger.formats.journal_json import load_entry
from pitlogger.formats.json_text import parse_json
from pitlogger.model.journal import Entry
from pitlogger.notify.mqtt.tree import StateTree
from pitlogger.notify.mqtt.wire import tell
from pitlogger.store.queries import Reader
from pitlogger.views.fanout import Happening
from pitlogger.views.node import Node

AT_ONCE = 500
SAVE_EVERY_S = 5.0
_OURS = frozenset({"utc_ms", "on_disk", "id", "of_cook"})


@dataclass(frozen=True, slots=True)
class PublishedEntry:
    """The journal entry that was published last."""

    run: str
    seq: int

    @staticmethod
    def load(path: Path) -> PublishedEntry | None:
        """Return what a file remembers, ``None`` where it is missing or unreadable."""
        try:
            given = parse_json(path.read_bytes())
            return PublishedEntry(str(given["run"]), int(given["seq"]))
        except (OSError, ValueError, KeyError, TypeError, OverflowError):
            return None

    def save(self, path: Path) -> None:
        """Write it, whole or not at all; a full disk is no reason to stop publishing."""
        write_soon(path, json.dumps({"run": self.run, "seq": self.seq}))


class Events:
    """Publishes entries and remembers how far it came."""

    def __init__(self, node: Node, tree: StateTree) -> None:
        self._node = node
        self._tree = tree
        self._path = node.config.node.data / "mqtt-position.json"
        self._saved_s = 0.0
        self.position = PublishedEntry.load(self._path)

    def begin(self) -> None:
        """Publish from here on, at the very first; else from where it was left."""
        if self.position is None:
            self.position = PublishedEntry(self._node.run, self._node.engine.state.seq)
            self.save()

    async def catch_up(self, client: aiomqtt.Client) -> None:
        """Publish what the store holds after the position."""
        while entries := await self._node.ask(self._following):
            for entry, cook in entries:
                await self._publish(client, entry, cook, on_disk=True)

    def _following(self, reader: Reader) -> list[tuple[Entry, str | None]]:
        at = self.position
        assert at is not None
        if all(row.run != at.run for row in reader.runs()):
            return reader.entries_with_cook(run=self._node.run, limit=AT_ONCE)  # another database
        return reader.entries_with_cook(after=(at.run, at.seq), limit=AT_ONCE)

    async def take(self, client: aiomqtt.Client, happening: Happening) -> None:
        """Publish an entry that was just made, after any that was missed before it."""
        known = {key: value for key, value in happening.data.items() if key not in _OURS}
        entry = load_entry(known)
        on_disk = bool(happening.data["on_disk"])
        at = self.position
        assert at is not None
        if on_disk and at.run == entry.run and entry.seq <= at.seq:
            return
        if on_disk and (at.run, at.seq + 1) != (entry.run, entry.seq):
            await self.catch_up(client)
            return
        await self._publish(client, entry, happening.data["of_cook"], on_disk)

    async def _publish(
        self, client: aiomqtt.Client, entry: Entry, cook: str | None, on_disk: bool
    ) -> None:
        topic, payload = self._tree.event(entry, on_disk, cook)
        await tell(client, topic, payload)
        if on_disk:
            self.position = PublishedEntry(entry.run, entry.seq)
            if time.monotonic() - self._saved_s >= SAVE_EVERY_S:
                self.save()

    def save(self) -> None:
        """Remember the position over a restart."""
        if self.position is not None:
            self._saved_s = time.monotonic()
            self.position.save(self._path)
