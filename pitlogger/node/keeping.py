"""What is kept beside the journal: readings, the engine's state, what drivers remember."""

from __future__ import annotations

import time
from pathlib import Path

from pitlogger.devices.contract import Memory
from pitlogger.devices.memory import load_memories, save_memories
from pitlogger.engine.snapshot import dump_state, snapshot_version
from pitlogger.model.readings import Tagged
from pitlogger.store.rows import Snapshot
from pitlogger.views.node import Node

SNAPSHOT_EVERY_MS = 5 * 60_000
MEMORY_EVERY_S = 60.0  # after a crash no older message than that can be played again
SNAPSHOT_LEAST_S = 10.0  # of real time, where a simulator's runs faster


class Keeping:
    """Hands to the store what it is to keep, as it falls due."""

    def __init__(self, node: Node) -> None:
        self._node = node
        self._tagged: list[Tagged] = []
        self._snapshot_ms = 0
        self._snapshot_s = 0.0
        self._memory_s = 0.0
        self.memories: dict[str, Memory] = {}  # what drivers remember, by device id

    @property
    def _memory_file(self) -> Path:
        return self._node.config.node.data / "drivers.json"

    def load_memories(self) -> None:
        """Take up what drivers remembered when the last run ended."""
        self.memories = load_memories(self._memory_file)

    def take(self, reading: Tagged) -> None:
        """Keep a reading with the next batch."""
        self._tagged.append(reading)

    def tick(self, now_ms: int) -> None:
        """Hand over the readings, and a snapshot where one is due."""
        self._hand_over()
        if time.monotonic() - self._memory_s >= MEMORY_EVERY_S:
            self._save_memories()
        is_old = now_ms - self._snapshot_ms >= SNAPSHOT_EVERY_MS
        if is_old and time.monotonic() - self._snapshot_s >= SNAPSHOT_LEAST_S:
            self.save_all()

    def save_all(self) -> None:
        """Hand over readings, the engine's state and what drivers remember."""
        state = self._node.engine.state
        self._snapshot_ms, self._snapshot_s = state.t_ms, time.monotonic()
        self._hand_over()
        self._save_memories()
        self._node.store.save_snapshot(
            Snapshot(self._node.run, state.t_ms, snapshot_version(), dump_state(state))
        )

    def forget(self, device: str) -> None:
        """Let a driver forget what it remembers of a device, on disk too."""
        self.memories[device].clear()
        self._save_memories()

    def _save_memories(self) -> None:
        self._memory_s = time.monotonic()
        save_memories(self._memory_file, self.memories)

    def _hand_over(self) -> None:
        if self._tagged:
            self._node.store.add_readings(self._tagged)
            self._tagged = []
