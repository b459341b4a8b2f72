"""Live devices for ``pitlogger run``: a scenario whose people work on their own.

They look at the meat and at the scale's display, since no pitlogger tells them anything.
"""

from __future__ import annotations

import asyncio
import signal
import tempfile
from collections.abc import Callable, Iterable
from pathlib import Path

import click

from pitlogger_simulators.clock import SimulatedClock
from pitlogger_simulators.faults import HOST_KINDS
from pitlogger_simulators.people.kitchen import Kitchen
from pitlogger_simulators.play import Play, stage
from pitlogger_simulators.scenarios.scenario import Scenario, load
from pitlogger_simulators.stand import BEAT_S, Stand


def run_devices(name: str, changes: Iterable[str], seed: int | None, rate: float) -> None:
    """Run the devices of a scenario until it ends or somebody presses Ctrl-C.

    Args:
        rate: Simulated seconds in a real one.

    Raises:
        UsageError: No such scenario.
    """
    scenario = load(name, changes)
    with tempfile.TemporaryDirectory(prefix="pitlogger-devices-") as folder:
        asyncio.run(_run(scenario, seed, rate, Path(folder)))


async def _run(scenario: Scenario, seed: int | None, rate: float, folder: Path) -> None:
    stopping = asyncio.Event()
    loop = asyncio.get_running_loop()
    for number in (signal.SIGINT, signal.SIGTERM):
        loop.add_signal_handler(number, stopping.set)
    kitchens: list[Kitchen] = []
    play = stage(scenario, lambda channel: _display_mg(kitchens[0], channel), seed)
    kitchens.append(play.kitchen)
    clock = SimulatedClock(scenario.start_ms, rate)
    async with Stand(play, folder) as stand:
        config, cook = folder / "config.toml", folder / "cook.toml"
        config.write_text(stand.config_text(rate), encoding="utf-8")
        cook.write_text(scenario.cook_text, encoding="utf-8")
        click.echo(where(stand, config, cook))
        while play.now_ms < scenario.end_ms and not play.crew.is_done and not stopping.is_set():
            await asyncio.sleep(BEAT_S)
            play.advance_to(min(clock.pump(), scenario.end_ms))
            play.crew.tick(play.now_ms, ())
            stand.beat()
            _tell(play, click.echo)


def _tell(play: Play, echo: Callable[[str], None]) -> None:
    for person in play.crew.people:
        person.hand.outbox.clear()
        for told in person.hand.done:
            echo(f"{told.by or 'nature'}: {f'{told.piece} ' if told.piece else ''}{told.text}")
        person.hand.done.clear()


def _display_mg(kitchen: Kitchen, channel: str) -> int:
    scale = kitchen.scales[channel]
    return round((scale.felt_g - scale.tare_g) * 1000)


def where(stand: Stand, config: Path, cook: Path) -> str:
    """Return where everything is, and what to do next."""
    lines = [f"configuration  {config}", f"cook file      {cook}"]
    for device in stand.devices:
        at = ", ".join(f"{key} {value}" for key, value in device.keys().items())
        lines.append(f"{device.table.id:14} {device.driver}, {at}")
    run = f"pitlogger run --config {config}"
    if stand.bus_address:
        lines.append(f"Bluetooth      DBUS_SYSTEM_BUS_ADDRESS={stand.bus_address}")
        run = f"DBUS_SYSTEM_BUS_ADDRESS={stand.bus_address} {run}"
    elif not stand.has_bluetooth:
        lines.append("dbus-daemon is missing: Bluetooth devices run as serial boards instead")
    if any(fault.kind in HOST_KINDS for fault in stand.play.scenario.faults):
        name = stand.play.scenario.name
        lines.append(
            "this host keeps its own clock and power: a stepped clock runs in"
            f" 'pitlogger demo --scenario {name}', a power cut in a capture"
        )
    lines.append(f"then           {run}")
    return "\n".join(lines)
