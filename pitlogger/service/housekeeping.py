"""What is looked after beside the work: room on the disk, backups, old readings.

Backups are made while no cook runs: daily where ``[store] backups`` names a folder (a stick, a
share), weekly into the data folder otherwise, which helps against a damaged file and not
against a dead card.
"""

from __future__ import annotations

import asyncio
import logging
import shutil
from pathlib import Path

from pitlogger.clock import Clock
from pitlogger.config import Config
from pitlogger.errors import PitloggerError
from pitlogger.model.journal import TroubleChanged
from pitlogger.store.backup import backups_in
from pitlogger.store.store import Store

log = logging.getLogger(__name__)

LOOK_S = 600.0
DAY_MS = 86_400_000
KEPT = 7  # backups
NOTICES_KEPT_DAYS = 90  # ours: a season's questions of who was told when
LOW_BYTES = 200_000_000  # ours: weeks of logging at 15 MB an hour of cooking
LOW_PART = 0.03  # ours: file systems grow slow and cards wear when fuller


def disk_low(folder: Path) -> tuple[str, str] | None:
    """Return that a disk is nearly full and what to do; ``None`` while it is not."""
    total, _, free = shutil.disk_usage(folder)
    if free >= min(LOW_BYTES, LOW_PART * total):
        return None
    remedy = (
        f"Delete what is not needed, old backups in {folder / 'backups'} first; `pitlogger store"
        " compact` gives back what old cooks used"
    )
    return f"the disk with the record has {free / 1e6:.0f} MB left", remedy


class Housekeeper:
    """Looks after one node's store."""

    def __init__(self, config: Config, clock: Clock, store: Store) -> None:
        self._config = config
        self._clock = clock
        self._store = store
        self._is_low = False
        self._swept_ms: int | None = None

    def look_at_disk(self) -> TroubleChanged | None:
        """Return the change there is in the room on the disk, ``None`` where there is none."""
        try:
            found = disk_low(self._config.node.data)
        except OSError as fault:  # the store tells of it too, with a remedy
            log.error("the room on the disk is not known: %s", fault)
            return None
        if (found is not None) is self._is_low:
            return None
        self._is_low = found is not None
        return TroubleChanged("disk-low", "node", self._is_low, *(found or ("", "")))

    def backup_is_due(self) -> bool:
        """Return whether the newest backup is too old."""
        made = backups_in(self._config.backups)
        age_ms = self._clock.utc_ms() - made[0].stat().st_mtime * 1000 if made else None
        every_ms = DAY_MS if self._config.store.backups else 7 * DAY_MS
        return age_ms is None or age_ms >= every_ms

    async def sweep(self) -> None:
        """Back up and let go of old readings, where that is due; no cook may be running."""
        if self.backup_is_due():
            made = await asyncio.wrap_future(self._store.backup(self._config.backups, keep=KEPT))
            log.info("backup made: %s", made)
        now_ms = self._clock.utc_ms()
        if self._swept_ms is None or now_ms - self._swept_ms >= DAY_MS:
            self._swept_ms = now_ms
            await self._let_go(now_ms)

    async def _let_go(self, now_ms: int) -> None:
        oldest_ms = now_ms - NOTICES_KEPT_DAYS * DAY_MS
        await asyncio.wrap_future(self._store.forget_notices(oldest_ms))
        if days := self._config.store.keep_readings_days:
            dropped = await asyncio.wrap_future(self._store.thin_before(now_ms - days * DAY_MS))
            log.info("%d readings older than %d days were let go of", dropped, days)

    async def sweep_or_say(self) -> None:
        """As ``sweep``; what does not work is logged and tried again at the next look."""
        try:
            await self.sweep()
        except (PitloggerError, OSError) as fault:
            log.error("%s", fault)
