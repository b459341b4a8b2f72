"""The composition root: the only place that joins parts."""

from __future__ import annotations

import hashlib
import json
import logging
import re
import sqlite3
from collections.abc import Callable, Iterable
from contextlib import suppress
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

from pitlogger.clock import Clock, SystemClock
from pitlogger.config import ChannelTable, Config
from pitlogger.devices.contract import Memory
from pitlogger.devices.registry import Registry, configure
from pitlogger.devices.supervisor import Device
from pitlogger.engine.buttons import PRESSES, Binding
from pitlogger.engine.forecasts.exchange import question, result
from pitlogger.engine.inputs import ForecastRequest, ForecastResult
from pitlogger.engine.replay import replay
from pitlogger.engine.restart import begin_run, catch_up, decisions
from pitlogger.engine.snapshot import load_state, snapshot_version
from pitlogger.engine.state import EngineState
from pitlogger.engine.step import Engine
from pitlogger.errors import ConfigError, unknown
from pitlogger.formats.capture import read_capture
from pitlogger.formats.cook_file import load_cook
from pitlogger.formats.journal_json import dump_body
from pitlogger.formats.paper_journal import PaperCook
from pitlogger.formats.policy_file import Source
from pitlogger.model.cooks import Channel, Cook
from pitlogger.model.journal import Body, CookStarted, Entry, RunStarted, TroubleChanged
from pitlogger.model.quantities import Quantity
from pitlogger.reports.replay_document import Gathered
from pitlogger.rules.messages import Units
from pitlogger.rules.policies import RulePolicy, Texts, build
from pitlogger.safety.policy import Policy as Safety
from pitlogger.safety.policy import parse_policy, shipped_policy
from pitlogger.service.timekeeping import PAPER, Start, how_ended, start_of_run, wall_is_known
from pitlogger.store.migrations import migrate
from pitlogger.store.queries import Reader
from pitlogger.store.rows import CookRow, JournalRow, RunRow
from pitlogger.store.store import Store
from pitlogger.store.troubles import is_damage

log = logging.getLogger(__name__)

REPLACED_S = 10.0  # for a damaged file to be replaced
CHECK_EVERY_MS = 30 * 86_400_000


def load_policy(
    own_alerts: Path | None = None,
    own_targets: Path | None = None,
    safety: Safety | None = None,
    own_timers: Path | None = None,
    own_kitchen: Path | None = None,
) -> RulePolicy:
    """Return the policy that comes with pitlogger, overlaid by a person's own files.

    Args:
        safety: Food-safety policy whose hot-holding limits the alarms go by.

    Raises:
        ConfigError: A file cannot be read, or holds an unknown key or a wrong value.
    """
    policy = build(Texts(*map(_own, (own_alerts, own_targets, own_timers, own_kitchen))))
    if safety is None:
        return policy
    limit_mc, near_mc = safety.hot_hold.mc, safety.hot_hold_warning.mc
    return replace(policy, hot_hold_limit_mc=limit_mc, hot_hold_near_mc=max(near_mc, limit_mc))


def _own(path: Path | None) -> Source | None:
    if path is None:
        return None
    try:
        return Source(path.read_text(encoding="utf-8"), str(path))
    except (OSError, UnicodeDecodeError) as fault:
        raise ConfigError(f"{path}: cannot be read: {fault}") from None


def policies_of(config: Config) -> tuple[RulePolicy, Safety]:
    """Return the rules and the food-safety policy that a configuration asks for."""
    own = _own(config.policy.file)
    safety = shipped_policy(config.policy.name) if own is None else parse_policy(own.text, own.name)
    table = config.policy
    files = (table.alerts, table.targets, safety, table.timers, table.kitchen)
    policy = load_policy(*files)
    return replace(policy, stage_from=table.stage_from, stage_chance=table.stage_chance), safety


def units_of(config: Config) -> Units:
    """Return the units that messages speak in."""
    return Units(config.units.temperature, config.units.mass)


# -- engines ------------------------------------------------------------------------------


def new_engine(
    run: str,
    units: Units | None = None,
    channels: Iterable[Channel] = (),
    policy: RulePolicy | None = None,
) -> Engine:
    """Return an engine that knows nothing yet."""
    return Engine(EngineState(run), policy or load_policy(), units, channels)


def replay_files(
    capture: Path, *cook_files: Path, forecasts: bool = True, infer: bool = False
) -> tuple[Gathered, Engine]:
    """Run a capture file through a new engine; return what it gave and the engine after it.

    Args:
        capture: What was recorded.
        cook_files: Cooks that it does not start itself, one or several at once.
        infer: Leave its stage marks out and recognise the stages instead.

    Raises:
        CaptureError: The capture cannot be read, with ``file:line``.
        CookFileError: The cook file cannot be read, with ``file:line``.
    """
    cooks = [load_cook(file) for file in cook_files]
    records = read_capture(capture)
    policy = replace(load_policy(), stage_from="taken") if infer else None
    engine = new_engine("replay", policy=policy)
    gathered = Gathered()
    answer = answer_now if forecasts else None
    gathered.take(replay(engine, records, cooks, answer, name=str(capture), infer=infer))
    return gathered, engine


def answer_now(engine: Engine, asked: ForecastRequest) -> ForecastResult:
    """Answer a forecast request at once."""
    return forecast_answer(engine, asked)()


def forecast_answer(engine: Engine, asked: ForecastRequest) -> Callable[[], ForecastResult]:
    """Return the computation of an answer; it shares nothing with the engine."""
    request = question(engine, asked)

    def answer() -> ForecastResult:
        from pitlogger.forecast.finish import forecast

        return result(asked, forecast(request))

    return answer


# -- devices ------------------------------------------------------------------------------


def configured_devices(
    config: Config, memories: dict[str, Memory] | None = None, registry: Registry | None = None
) -> list[Device]:
    """Return the devices of the configuration, each with its driver loaded and configured.

    Args:
        memories: What drivers keep over restarts, by device id; missing ones are added.
        registry: Where drivers are found; the installation's unless another is given.

    Raises:
        DriverError: No such driver, or one that will not load.
        ConfigError: A key of a driver is unknown, missing or wrong.
    """
    known = registry or Registry()
    kept = {} if memories is None else memories
    devices = []
    for table in config.device:
        driver = known.load(table.driver)
        own = configure(driver.info, table.own_keys(), f"device '{table.id}'")
        devices.append(Device(table.id, driver(kept.setdefault(table.id, {})), own))
    return devices


def channels_of(config: Config, devices: Iterable[Device]) -> list[Channel]:
    """Return the channels of the configuration with what their drivers declare.

    Raises:
        ConfigError: A channel by a name that its driver does not give.
    """
    tables = {table.id: table for table in config.device}
    return [
        _channel(device, channel) for device in devices for channel in tables[device.id].channel
    ]


def _channel(device: Device, table: ChannelTable) -> Channel:
    info = device.driver.info
    first = info.channels[0].name if info.channels else ""
    offered = info.offered(first if table.name is None else table.name)
    if table.name is not None and not offered:
        names = [one.name for one in info.channels]
        raise ConfigError(
            f"device '{device.id}', channel '{table.id}': "
            f"{unknown(f'channel of {info.name}', table.name, names)}"
        )
    quantities = {one.quantity for one in offered}
    return Channel(
        id=table.id,
        site=table.site,
        piece=table.piece,
        quantity=quantities.pop() if len(quantities) == 1 else None,
        offset=table.offset,
        interval_ms=round(device.interval_s * 1000),
        stale_after_ms=table.stale_after,
        scale_interval_mg=table.scale_interval,
        device=device.id,
        settled=any(one.settled for one in offered),
    )


def routes(config: Config) -> dict[tuple[str, str], str]:
    """Return the channel id for each (device, driver's channel name).

    A channel without a name, ``""``, takes whatever its device sends of its quantity.
    """
    return {
        (device.id, channel.name or ""): channel.id
        for device in config.device
        for channel in device.channel
    }


def buttons(config: Config) -> dict[tuple[str, str, int], Binding]:
    """Return what a press does, by device, the driver's name of the button and its code."""
    return {
        (device.id, table.name, code): Binding(act, table.piece, table.scale)
        for device in config.device
        for table in device.button
        for code, word in PRESSES.items()
        if (act := getattr(table, word)) is not None
    }


# -- starting anew ------------------------------------------------------------------------


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
    cannot be read at all is told, and the engine begins with what can: alarms run in any case.
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


def with_id(body: CookStarted, utc_ms: int) -> CookStarted:
    """Return the start of a cook with its id, where it has none yet."""
    cook = body.cook
    return body if cook.id else replace(body, cook=replace(cook, id=cook_id(cook.name, utc_ms)))


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


def cook_id(name: str, utc_ms: int) -> str:
    """Return the id of a cook: its day and its name."""
    day = datetime.fromtimestamp(utc_ms / 1000, UTC).strftime("%Y-%m-%d-%H%M%S")
    slug = re.sub(r"[^a-z0-9]+", "-", name.casefold()).strip("-") or "cook"
    return f"{day}-{slug[:40]}"


def past_run(cook: PaperCook, node: str) -> tuple[RunRow, list[JournalRow]]:
    """Return a cook from a paper log as a run of its own; the same log gives the same run."""
    said = [[t_ms, dump_body(body)] for t_ms, body in cook.bodies]
    for _, body in said:  # came later: what was imported before must not come a second time
        assert isinstance(body, dict)
        body.pop("timed", None)
    text = json.dumps(said, sort_keys=True)
    run = f"{PAPER}-{hashlib.sha256(f'{cook.name}{text}'.encode()).hexdigest()[:12]}"
    name = f"{cook_id(cook.name, cook.start_ms)}-{run[-4:]}"
    entries = [
        Entry(run, seq, t_ms, body, cook.by)
        for seq, (t_ms, body) in enumerate(cook.bodies, start=1)
    ]
    end_ms = max(entry.t_ms for entry in entries)
    row = RunRow(run, node, "", cook.start_ms, 0, PAPER, True, end_ms, batch=cook.batch)
    return row, [JournalRow.of(entry, name) for entry in entries]


def with_configured(cook: Cook, channels: Iterable[Channel]) -> Cook:
    """Return a cook with the channels of the configuration added to its own.

    A channel the cook names takes from the configuration what the cook does not say. The
    cook in the journal is then complete: its export replays without the configuration.
    """
    configured = {channel.id: channel for channel in channels}
    pieces = {piece.id for piece in cook.pieces}
    named = [_completed(channel, configured.pop(channel.id, channel)) for channel in cook.channels]
    added = [
        channel if channel.piece in pieces else replace(channel, piece=None)
        for channel in configured.values()
    ]
    return replace(cook, channels=(*named, *added))


def _completed(channel: Channel, known: Channel) -> Channel:
    """Return a channel with what it does not say itself taken from the configuration."""
    return replace(
        channel,
        quantity=channel.quantity or known.quantity,
        offset=channel.offset or known.offset,
        interval_ms=channel.interval_ms or known.interval_ms,
        stale_after_ms=channel.stale_after_ms or known.stale_after_ms,
        scale_interval_mg=channel.scale_interval_mg or known.scale_interval_mg,
        device=known.device,
    )
