"""The composition root: the only place that joins parts."""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from importlib.resources import files
from pathlib import Path

from pitlogger.clock import Clock, SystemClock
from pitlogger.config import ChannelTable, Config, DeviceTable
from pitlogger.devices.contract import DriverInfo, Memory
from pitlogger.devices.registry import Registry, configure
from pitlogger.devices.supervisor import Device
from pitlogger.engine.forecasting import question, result
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
from pitlogger.model.journal import Entry
from pitlogger.model.quantities import Quantity
from pitlogger.model.readings import Reading
from pitlogger.reports.replay_document import Gathered
from pitlogger.rules.messages import Units
from pitlogger.rules.policies import Policy, build
from pitlogger.safety.policy import Policy as Safety
from pitlogger.safety.policy import parse_policy, shipped_policy
from pitlogger.store.queries import Reader
from pitlogger.store.rows import JournalRow, RunRow

TRUSTED_AFTER_MS = 1_735_689_600_000  # 2025-01-01: an earlier wall clock was never set


def load_policy(
    own_alerts: Path | None = None, own_targets: Path | None = None, safety: Safety | None = None
) -> Policy:
    """Return the policy that comes with pitlogger, overlaid by a person's own files.

    Args:
        safety: Food-safety policy whose hot-holding limits the alarms go by.

    Raises:
        ConfigError: A file cannot be read, or holds an unknown key or a wrong value.
    """
    texts = files("pitlogger.rules") / "policy"
    alerts, targets = (
        Source((texts / name).read_text(encoding="utf-8"), name)
        for name in ("alerts.toml", "targets.toml")
    )
    policy = build(alerts, targets, _own(own_alerts), _own(own_targets))
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


def policies_of(config: Config) -> tuple[Policy, Safety]:
    """Return the rules and the food-safety policy that a configuration asks for."""
    own = _own(config.policy.file)
    safety = shipped_policy(config.policy.name) if own is None else parse_policy(own.text, own.name)
    return load_policy(config.policy.alerts, config.policy.targets, safety), safety


def units_of(config: Config) -> Units:
    """Return the units that messages speak in."""
    return Units(config.units.temperature, config.units.mass)


# -- engines ------------------------------------------------------------------------------


def new_engine(
    run: str,
    units: Units | None = None,
    channels: Iterable[Channel] = (),
    policy: Policy | None = None,
) -> Engine:
    """Return an engine that knows nothing yet."""
    return Engine(EngineState(run), policy or load_policy(), units, channels)


def replay_files(
    capture: Path, cook_file: Path | None, forecasts: bool = True
) -> tuple[Gathered, Engine]:
    """Run a capture file through a new engine; return what it gave and the engine after it.

    Raises:
        CaptureError: The capture cannot be read, with ``file:line``.
        CookFileError: The cook file cannot be read, with ``file:line``.
    """
    cook = None if cook_file is None else load_cook(cook_file)
    records = read_capture(capture)
    engine = new_engine("replay")
    gathered = Gathered()
    answer = answer_now if forecasts else None
    gathered.take(replay(engine, records, cook, answer, name=str(capture)))
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
    """Return the channels of the configuration with what their drivers declare."""
    tables = {table.id: table for table in config.device}
    return [
        Channel(
            id=channel.id,
            site=channel.site,
            piece=channel.piece,
            quantity=_quantity(tables[device.id], channel, device.driver.info),
            offset=channel.offset,
            interval_ms=round(device.interval_s * 1000),
            stale_after_ms=channel.stale_after,
            scale_interval_mg=channel.scale_interval,
            device=device.id,
        )
        for device in devices
        for channel in tables[device.id].channel
    ]


def _quantity(device: DeviceTable, channel: ChannelTable, info: DriverInfo) -> Quantity | None:
    """Return what a channel measures, by the driver's own list of channels."""
    if channel.name is None:
        return info.channels[0].quantity if info.channels else None
    for offered in info.channels:
        if offered.covers(channel.name):
            return None if offered.name == "*" else offered.quantity
    names = [offered.name for offered in info.channels]
    raise ConfigError(
        f"device '{device.id}', channel '{channel.id}': "
        f"{unknown(f'channel of {info.name}', channel.name, names)}"
    )


def routes(config: Config) -> dict[tuple[str, str], str]:
    """Return the channel id for each (device, driver's channel name).

    A channel without a name takes whatever its device sends.
    """
    return {
        (device.id, channel.name or ""): channel.id
        for device in config.device
        for channel in device.channel
    }


# -- starting anew ------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Start:
    """When a run begins in engine time, and what is known of the time since the last one."""

    start_ms: int
    utc_trusted: bool
    gap_ms: int | None


def start_of_run(last: RunRow | None, last_ms: int, boot: str, clock: Clock) -> Start:
    """Return when a run begins, given how the last one ended.

    Within one boot elapsed time is monotonic. Across boots it is the wall gap where the wall
    clock was trusted on both sides; where it was not, the gap is unknown and engine time goes
    on from the last record.

    Args:
        last: The last run, ``None`` for the first ever.
        last_ms: Engine time of its last record.
        boot: This boot's id.
        clock: This host's clocks.
    """
    utc_ms = clock.utc_ms()
    trusted = utc_ms >= TRUSTED_AFTER_MS
    if last is None:
        return Start(utc_ms, trusted, 0)
    if boot and boot == last.boot_id:
        elapsed_ms = clock.monotonic_ms() - last.start_monotonic_ms
        start_ms = max(last_ms, last.start_ms + elapsed_ms)
        return Start(start_ms, trusted, start_ms - last_ms)
    if trusted and last.utc_trusted and utc_ms >= last_ms:
        return Start(utc_ms, True, utc_ms - last_ms)
    return Start(last_ms, False, None)


def boot_id() -> str:
    """Return the kernel's id of this boot, empty where it gives none."""
    path = Path("/proc/sys/kernel/random/boot_id")
    return path.read_text(encoding="ascii").strip() if path.exists() else ""


def system_clock(reader: Reader | None, boot: str) -> tuple[Clock, Start]:
    """Return the system's clock, begun where the record of the last run says."""
    clock = SystemClock()
    last, last_ms = None, 0
    lived = [] if reader is None else [row for row in reader.runs() if row.version != PAPER]
    if lived:
        last = lived[-1]
        last_ms = last.end_ms or last.start_ms
    start = start_of_run(last, last_ms, boot, clock)
    return SystemClock(start.start_ms), start


def restore(
    reader: Reader,
    run: str,
    start_ms: int,
    made: Callable[[EngineState], Engine],
) -> tuple[Engine, str | None]:
    """Return an engine as it was when the last run ended, and the id of the cook that is open.

    From the newest snapshot where its shape is still ours, else from the start of the cook.
    ``made`` makes an engine of a state.
    """
    cook = reader.open_cook()
    kept = reader.snapshot(snapshot_version())
    last_runs = [row for row in reader.runs() if row.run != run and row.version != PAPER]
    if kept is not None and last_runs and kept.run == last_runs[-1].run:
        state = load_state(kept.body)
        since_ms = kept.t_ms
        entries = [e for e in reader.entries(run=kept.run) if e.seq > state.seq]
    elif cook is not None:
        state, since_ms = EngineState(cook.run), cook.started_ms
        entries = reader.entries(cook=cook.id)
    else:
        return made(EngineState(run)), None
    engine = made(state)
    last_run = last_runs[-1].run
    readings = (
        Reading(kept.channel, kept.t_ms, kept.raw, kept.quality, kept.stable)
        for kept in reader.readings(None, since_ms + 1, start_ms + 1, run=last_run)
    )
    catch_up(engine, entries, readings)
    if cook is not None:
        state.entries = decisions(reader.entries(cook=cook.id))
    begin_run(engine, run, start_ms)
    return made(state), None if cook is None else cook.id


def cook_id(name: str, utc_ms: int) -> str:
    """Return the id of a cook: its day and its name."""
    day = datetime.fromtimestamp(utc_ms / 1000, UTC).strftime("%Y-%m-%d-%H%M%S")
    slug = re.sub(r"[^a-z0-9]+", "-", name.casefold()).strip("-") or "cook"
    return f"{day}-{slug[:40]}"


PAPER = "paper"  # version of a run that was imported and never lived


def past_run(cook: PaperCook, node: str) -> tuple[RunRow, list[JournalRow]]:
    """Return a cook from a paper log as a run of its own; the same log gives the same run."""
    text = json.dumps([[t_ms, dump_body(body)] for t_ms, body in cook.bodies], sort_keys=True)
    run = f"{PAPER}-{hashlib.sha256(f'{cook.name}{text}'.encode()).hexdigest()[:12]}"
    name = f"{cook_id(cook.name, cook.start_ms)}-{run[-4:]}"
    entries = [Entry(run, seq, t_ms, body) for seq, (t_ms, body) in enumerate(cook.bodies, start=1)]
    end_ms = max(entry.t_ms for entry in entries)
    row = RunRow(run, node, "", cook.start_ms, 0, PAPER, True, end_ms)
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
