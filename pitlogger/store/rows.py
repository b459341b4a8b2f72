"""What goes into the database and comes out of it, as frozen values.

Times named ``t_ms`` are engine milliseconds of the run named beside them; times named
``utc_ms`` are wall time. UTC = engine time + the offset of the run's clock row in force.
"""

from __future__ import annotations

import json
from dataclasses import dataclass, fields
from pathlib import Path
from typing import NamedTuple

from pitlogger.clock import Clock
from pitlogger.formats.journal_json import dump_entry
from pitlogger.model.journal import Entry
from pitlogger.model.readings import FOUND_BY_ENGINE, Quality, Reading

_BOOT_ID = Path("/proc/sys/kernel/random/boot_id")


@dataclass(frozen=True, slots=True)
class RunRow:
    """One process life.

    Attributes:
        run: Run id, unique for ever together with the node.
        node: Installation.
        boot_id: Kernel boot id; within one boot monotonic times of runs compare.
        start_ms: Engine time at the start, which is UTC as it was known then.
        start_monotonic_ms: Monotonic clock at the start; monotonic time of a record is
            ``t_ms - start_ms + start_monotonic_ms``.
        version: Of pitlogger.
        utc_trusted: Whether UTC was known to be right at the start.
        end_ms: Engine time of the last record; ``None`` for the run that writes.
        node_uid: The node's own id, which follows from its key; empty where it had none yet.
        batch: The import that the run came with; empty for a process life.
    """

    run: str
    node: str
    boot_id: str
    start_ms: int
    start_monotonic_ms: int
    version: str
    utc_trusted: bool = True
    end_ms: int | None = None
    node_uid: str = ""
    batch: str = ""

    @classmethod
    def begin(
        cls,
        run: str,
        node: str,
        clock: Clock,
        version: str,
        *,
        utc_trusted: bool = True,
        node_uid: str = "",
    ) -> RunRow:
        """Return the row of a run that starts now, with this host's boot id."""
        boot_id = _BOOT_ID.read_text(encoding="ascii").strip() if _BOOT_ID.exists() else ""
        return cls(
            run, node, boot_id, clock.engine_ms(), clock.monotonic_ms(), version, utc_trusted,
            node_uid=node_uid,
        )  # fmt: skip


class ClockRow(NamedTuple):
    """From ``from_ms`` of the run on, UTC is engine time plus ``offset_ms``."""

    run: str
    from_ms: int
    offset_ms: int
    trusted: bool = True


class JournalRow(NamedTuple):
    """A journal entry to be written: the entry, its JSON text, the cooks it belongs to.

    ``also`` are the cooks beside ``cook``: what concerns a pit that two of them share.
    """

    entry: Entry
    text: str
    cook: str | None = None
    also: tuple[str, ...] = ()

    @classmethod
    def of(cls, entry: Entry, *cooks: str | None) -> JournalRow:
        """Return the row of an entry, encoding it."""
        text = json.dumps(dump_entry(entry), ensure_ascii=False, separators=(",", ":"))
        known = [cook for cook in cooks if cook is not None]
        return cls(entry, text, known[0] if known else None, tuple(known[1:]))

    @property
    def cooks(self) -> tuple[str, ...]:
        """The ids of all cooks it belongs to."""
        return () if self.cook is None else (self.cook, *self.also)


class StoredReading(NamedTuple):
    """A reading as kept. ``raw`` is as delivered, ``value`` adjusted, both milli-units."""

    run: str
    channel: str
    t_ms: int
    raw: int | None
    value: int | None
    quality: Quality
    stable: bool | None = None

    def delivered(self) -> Reading:
        """Return it as it came, without what the engine found."""
        found = self.raw is not None and self.quality in FOUND_BY_ENGINE
        quality = Quality.GOOD if found else self.quality
        return Reading(self.channel, self.t_ms, self.raw, quality, self.stable)


@dataclass(frozen=True, slots=True)
class CookRow:
    """A cook for listing.

    ``started_ms`` is engine time of ``run``, ``finished_ms`` engine time of ``finished_run``;
    both are ``None`` while it goes on. ``readings_kept`` is false once retention has thinned
    its readings; ``entries`` counts its journal. ``withdrawn``: taken out of lists and
    learning by a person; ``batch`` is the import it came with; the offsets lead to UTC.
    """

    id: str
    name: str
    run: str
    started_ms: int
    finished_run: str | None = None
    finished_ms: int | None = None
    readings_kept: bool = True
    entries: int = 0
    withdrawn: bool = False
    batch: str = ""
    offset_ms: int = 0
    finished_offset_ms: int = 0

    @property
    def started_utc_ms(self) -> int:
        return self.started_ms + self.offset_ms

    @property
    def finished_utc_ms(self) -> int | None:
        return None if self.finished_ms is None else self.finished_ms + self.finished_offset_ms


@dataclass(frozen=True, slots=True)
class Snapshot:
    """The engine's state at an engine time, opaque to the store."""

    run: str
    t_ms: int
    version: str
    body: bytes


@dataclass(frozen=True, slots=True)
class Notice:
    """A notification that waits to be sent through one way (``channel``) of notifying.

    ``next_try_ms`` and ``created_ms`` are UTC milliseconds: an outbox outlives its run.
    """

    id: str
    alert: str
    channel: str
    body: str = ""
    created_ms: int = 0
    tries: int = 0
    next_try_ms: int = 0
    last_error: str = ""
    done: bool = False


@dataclass(frozen=True, slots=True)
class LostRow:
    """Readings that could not be kept, and why."""

    run: str
    from_ms: int
    to_ms: int
    readings: int
    reason: str


@dataclass(frozen=True, slots=True)
class ChartLine:
    """One channel in equal buckets; the lists are of equal length, empty buckets left out.

    ``at_ms`` is the start of each bucket on the time scale asked for, ``low``, ``high`` and
    ``mean`` are milli-units over the good readings, ``readings`` how many there were.
    """

    channel: str
    at_ms: list[int]
    low: list[int]
    high: list[int]
    mean: list[int]
    readings: list[int]


@dataclass(frozen=True, slots=True)
class Trouble:
    """The database cannot be written: what happened, what is kept, what to do."""

    message: str
    remedy: str
    waiting_entries: int = 0
    waiting_readings: int = 0
    lost_readings: int = 0


def columns(row: type[RunRow | Notice]) -> str:
    """Return the columns of the table that holds such rows: they are called as their fields."""
    return ", ".join(field.name for field in fields(row))
