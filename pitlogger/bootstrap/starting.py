"""How a run begins: its clock, the engine as the last run left it, its first entries."""

from __future__ import annotations

import logging
import sqlite3
from collections.abc import Callable, Iterable
from contextlib import suppress
from dataclasses import replace
from pathlib import Path

from pitlogger.clock import Clock, SystemClock
from pitlogger.engine.restart import begin_run, catch_up, decisions
from pitlogger.engine.snapshot import load_state, snapshot_version
from pitlogger.engine.state import EngineState
from pitlogger.engine.step import Engine
from pitlogger.model.cooks import Channel
from pitlogger.model.journal import Body, CookStarted, Entry, RunStarted, TroubleChanged
from pitlogger.model.quantities import Quantity
from pitlogger.service.timekeeping import PAPER, Start, how_ended, start_of_run, wall_is_known
from pitlogger.store.migrations import migrate
from pitlogger.store.queries import Reader
from pitlogger.store.rows import CookRow, RunRow
from pitlogger.store.store import Store
from pitlogger.store.troubles import is_damage

REPLACED_S = 10.0  # for a damaged file to be replaced
CHECK_EVERY_MS = 30 * 86_400_000
log = logging.getLogger(__name__)


def boot_id() -> str:
    """Return the kernel's id of this boot, empty where it gives none."""
    path = Path("/proc/sys/kernel/random/boot_id")
    return path.read_text(encoding="ascii").strip() if path.exists() else ""


def system_clock(path: Path, backups: Path, boot: str) -> tuple[Clock, Start]:
    """Return the system's clock, begun where the record of the last run says."""
    clock = SystemClock()
    ended = None
    if path.exists():
        with suppress(Exception):  # whatever damage makes of it: opening the store tells
            migrate(path, backups)
            with Reader.open(path) as reader:
                ended = how_ended(reader)
    start = start_of_run(ended, boot, clock, wall_is_known(clock.utc_ms()))
    return SystemClock(start.start_ms), start


def restore(
    store: Store,
    run: str,
    start: Start,
    made: Callable[[EngineState], Engine],
    tell: Callable[[str], None],
) -> Engine:
    """Return an engine as it was when the last run ended.

    From the newest snapshot where its shape is still ours, else from the start of the cooks.
    ``made`` makes an engine of a state. A database that shows itself as damaged is replaced. What
    cannot be read at all is reported, and the engine begins with what can: alarms run in any case.
    """
    for uses_snapshot in (True, True, False):
        try:
            with store.reader() as reader:
                return _restored(reader, run, start, made, uses_snapshot)
        except Exception as error:  # whatever a damaged record makes of our reading it
            log.exception("the last run cannot be taken up%s", "" if uses_snapshot else " at all")
            if isinstance(error, sqlite3.Error) and is_damage(error):
                with suppress(Exception):
                    store.replace_damaged(error).result(REPLACED_S)
    tell("what the last run knew cannot be read: start the cook again, and set its stages")
    return made(EngineState(run))


def _restored(
    reader: Reader,
    run: str,
    start: Start,
    made: Callable[[EngineState], Engine],
    uses_snapshot: bool = True,
) -> Engine:
    cooks = reader.open_cooks()
    kept = reader.snapshot(snapshot_version()) if uses_snapshot else None
    runs = reader.runs()
    written = _entries(reader, cooks, [row.run for row in runs])
    lived = [row.run for row in runs if row.run != run and row.version != PAPER]
    if kept is not None and kept.run in lived:
        state, since_ms = load_state(kept.body), kept.t_ms
        since = lived[lived.index(kept.run) :]  # runs that were killed at once kept no snapshot
        later = reader.entries(after=(kept.run, state.seq))
        entries = [entry for entry in later if entry.run in since]
    elif cooks:
        state, since_ms = EngineState(cooks[0].run), cooks[0].started_ms
        since = lived[lived.index(cooks[0].run) :]
        entries = written
    else:
        return made(EngineState(run))
    engine = made(state)
    readings = (
        row.delivered()
        for of in since
        for row in reader.readings(None, since_ms + 1, start.start_ms + 1, run=of)
    )
    catch_up(engine, entries, readings)
    if cooks:
        state.entries = decisions(written)
    begin_run(engine, run, start.start_ms, start.gap_ms is not None)
    return made(state)


def _entries(reader: Reader, cooks: list[CookRow], runs: list[str]) -> list[Entry]:
    """Return the entries of some cooks, as written; each once, each start with the cook's id."""
    found: dict[tuple[int, int], Entry] = {}
    for row in cooks:
        for entry in reader.entries(cook=row.id):
            found[runs.index(entry.run), entry.seq] = _with_cook_id(entry, row.id)
    return [found[place] for place in sorted(found)]


def _with_cook_id(entry: Entry, cook: str) -> Entry:
    """Return the start of a cook, as an earlier version wrote it, with the cook's id."""
    body = entry.body
    if not isinstance(body, CookStarted) or body.cook.id:
        return entry
    return replace(entry, body=replace(body, cook=replace(body.cook, id=cook)))


def opening(
    reader: Reader | None, run: RunRow, start: Start, channels: Iterable[Channel]
) -> list[Body]:
    """Return what is journalled first: that the run began, and what is not in order.

    A node without a thermometer of its own has none to check; without a reader nothing is known
    of checks.
    """
    bodies: list[Body] = [RunStarted(run.boot_id, run.version, start.utc_trusted, start.gap_ms)]
    is_measured = any(channel.quantity is Quantity.TEMPERATURE for channel in channels)
    if reader is None or not is_measured:
        return bodies
    checks = reader.entries(kinds=("check-made",))
    if not checks or start.start_ms - checks[-1].t_ms > CHECK_EVERY_MS:
        words = "no thermometer check is on record" + (" for 30 days" if checks else " yet")
        bodies.append(TroubleChanged("check-overdue", "node", True, words))
    return bodies
