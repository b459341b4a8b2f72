"""``pitlogger devices``: list, find, try, record, join and command devices, ask the doctor."""

from __future__ import annotations

import asyncio
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from pitlogger.cli.files import FILE, PATH
from pitlogger.cli.instruments.device_acts import forget, send
from pitlogger.cli.instruments.doctor import doctor
from pitlogger.cli.instruments.line_settings import can_be_searched, settings_for
from pitlogger.cli.instruments.pair_device import pair_device
from pitlogger.cli.instruments.point import point
from pitlogger.cli.output import emit, json_option, say_alone, table
from pitlogger.errors import TransportError, UsageError

if TYPE_CHECKING:
    from pitlogger.devices.contract import DriverInfo
    from pitlogger.devices.line_search import LineSearch
    from pitlogger.devices.reach import Find
    from pitlogger.devices.runner import Device
    from pitlogger.devices.trial import Trial

_seconds = click.option(
    "--seconds", type=click.FloatRange(min=0.1), default=30.0, show_default=True,
    help="How long.",
)  # fmt: skip
_config = click.option("--config", "config_file", type=PATH, help="Configuration with DEVICE.")


@click.group()
def devices() -> None:
    """List drivers; find, try, record, join and command devices; ask the doctor."""
    say_alone()


@devices.command("list")
@json_option
def list_drivers(as_json: bool) -> None:
    """List the drivers: what each reads, and the keys of its configuration."""
    from pitlogger.devices.registry import Registry

    infos, broken = Registry().descriptions()
    document = {"drivers": [_about(info) for info in infos], "broken": broken}
    rows = [[info.name, info.transport, info.summary] for info in infos]
    text = table(rows, ["driver", "way", "reads"])
    for fault in broken:
        text += f"\n{fault}"
    emit(document, as_json, text)


def _about(info: DriverInfo) -> dict[str, Any]:
    return {
        "name": info.name,
        "summary": info.summary,
        "transport": info.transport,
        "interval_s": info.interval_s,
        "channels": [
            {"name": c.name, "quantity": str(c.quantity), "unit": c.unit} for c in info.channels
        ],
        "keys": {
            name: {"required": field.is_required(), "about": field.description or ""}
            for name, field in info.config.model_fields.items()
        },
        "decoders": list(info.decoders),
        "commands": list(info.commands),
    }


@devices.command()
@click.option("--seconds", type=click.FloatRange(min=0.1), default=8.0, show_default=True,
              help="How long to listen for Bluetooth devices.")  # fmt: skip
@click.option("--no-bluetooth", is_flag=True, help="Look at wires alone.")
@json_option
def scan(seconds: float, no_bluetooth: bool, as_json: bool) -> None:
    """Show what is in reach, how strong it is heard, and which drivers may suit it."""
    from pitlogger.devices.reach import heard, suiting, wired
    from pitlogger.devices.registry import Registry

    finds: list[Find] = list(wired())
    notes: list[str] = []
    if not no_bluetooth:
        try:
            finds += asyncio.run(heard(seconds))
        except TransportError as fault:
            notes.append(str(fault))
    infos, broken = Registry().descriptions()
    rows = [(find, suiting(find, infos)) for find in finds]
    document = {
        "devices": [
            {
                "way": find.way,
                "address": find.address,
                "name": find.name,
                "signal_dbm": find.signal_dbm,
                "drivers": drivers,
                "keys": dict(find.keys),
                "note": find.note,
            }
            for find, drivers in rows
        ],
        "notes": notes + broken,
    }
    emit(document, as_json, "\n".join([_reach_text(rows), *notes, *broken]))


def _reach_text(rows: list[tuple[Find, list[str]]]) -> str:
    if not rows:
        return "nothing is in reach; 'pitlogger devices doctor' may tell why"
    lines = [
        [
            find.address,
            find.name,
            "" if find.signal_dbm is None else f"{find.signal_dbm} dBm",
            ", ".join(drivers) or "none known",
            find.note,
        ]
        for find, drivers in rows
    ]
    return table(lines, ["device", "name", "signal", "drivers", ""])


@devices.command("try")
@click.argument("driver")
@click.argument("keys", nargs=-1, metavar="[KEY=VALUE]...")
@_config
@_seconds
@click.option("--write", is_flag=True, help="Try its question at other rates, where it has one.")
@json_option
def try_device(
    driver: str,
    keys: tuple[str, ...],
    config_file: Path | None,
    seconds: float,
    write: bool,
    as_json: bool,
) -> None:
    """Show live readings of a device, and which probe is being warmed in the hand.

    DRIVER is a driver's name with its KEY=VALUE pairs or, with --config, the id of a device. A
    serial device that cannot be read is tried at the customary rates and framings.

    \b
    Examples:
      pitlogger devices try serial-scale port=/dev/serial/by-id/usb-scale
      pitlogger devices try environmental-sensing address=02:00:00:00:00:20 --seconds 60
    """
    from pitlogger.devices.trial import Trial

    device = _device(driver, keys, config_file)
    say = (lambda _line: None) if as_json else click.echo
    trial = Trial(device, say)
    asyncio.run(trial.run(seconds))
    searched = None
    if not _has_value(trial) and trial.was_up and can_be_searched(device, write):
        searched = settings_for(device, say)
    _show_trial(trial, searched, as_json)


def _has_value(trial: Trial) -> bool:
    return any(found.value is not None for found in trial.latest.values())


def _show_trial(trial: Trial, searched: LineSearch | None, as_json: bool) -> None:
    from pitlogger.devices.checks import CheckState
    from pitlogger.devices.configured import verdict, was_read

    document: dict[str, Any] = {
        "device": trial.device.id,
        "driver": trial.device.driver.info.name,
        "facts": trial.facts,
        "readings": [
            {
                "channel": found.channel,
                "quantity": str(found.quantity),
                "value": found.value,
                "unit": found.unit,
                "quality": str(found.quality),
                "stable": found.stable,
            }
            for found in trial.latest.values()
        ],
        "refused": [refused.reason for refused in trial.refused],
        "warmed": trial.warmth.warmed(),
        "bytes": trial.bytes_heard,
        "settings": None,
    }
    found = searched.found if searched is not None else None
    if found is not None:
        document["settings"] = {"baud": found.baud, "framing": found.framing}
    if as_json:
        emit(document, True, "")
    if searched is not None and found is not None:
        from pitlogger.devices.line_search import in_words

        raise TransportError(
            f"no reading came with these settings: {in_words(searched)}",
            remedy=f'Write baud = {found.baud} and framing = "{found.framing}"',
        )
    check, *_ = verdict(trial)
    if not trial.latest or (check.state is CheckState.TROUBLE and not was_read(trial)):
        raise TransportError(f"no reading came: {check.found}", remedy=check.remedy)


@devices.command()
@click.argument("driver")
@click.argument("keys", nargs=-1, metavar="[KEY=VALUE]...")
@click.option("--out", type=FILE, required=True, help="File to write; it must not exist.")
@click.option("--notes", default="", help="Device, firmware, conditions, who.")
@_config
@_seconds
@json_option
def record(
    driver: str,
    keys: tuple[str, ...],
    out: Path,
    notes: str,
    config_file: Path | None,
    seconds: float,
    as_json: bool,
) -> None:
    """Write what a device sends, byte for byte, with times: for a replay or a fault report."""
    from pitlogger.devices.trial import write_recording

    device = _device(driver, keys, config_file)
    if out.exists():
        raise UsageError(f"{out} exists already: name another file, or remove it first")
    given = dict(_pair(key) for key in keys) or device.config.model_dump(
        mode="json", exclude_defaults=True
    )
    chunks = asyncio.run(write_recording(device, out, given, notes, seconds))
    document = {"file": str(out), "driver": device.driver.info.name, "chunks": chunks}
    emit(document, as_json, f"{out}: {chunks} chunks of {device.driver.info.name}")


def _device(driver: str, keys: tuple[str, ...], config_file: Path | None) -> Device:
    """Return the device a person means: a driver with keys, or one of a configuration."""
    from pitlogger.devices.registry import Registry, configure
    from pitlogger.devices.runner import Device

    if config_file is None:
        found = Registry().load(driver)
        given = dict(_pair(key) for key in keys)
        return Device(driver, found({}), configure(found.info, given, "command line"))
    from pitlogger.config import load_config
    from pitlogger.errors import unknown

    tables = {one.id: one for one in load_config(config_file).device}
    if driver not in tables:
        raise UsageError(f"{config_file}: {unknown('device', driver, tables)}")
    if keys:
        raise UsageError("give KEY=VALUE pairs or --config, not both")
    chosen = tables[driver]
    found = Registry().load(chosen.driver)
    own = configure(found.info, chosen.own_keys(), f"{config_file}: device '{driver}'")
    return Device(driver, found({}), own)


def _pair(text: str) -> tuple[str, str]:
    key, equals, value = text.partition("=")
    if not (key and equals):
        raise UsageError(f"'{text}' is no KEY=VALUE pair, such as port=/dev/ttyUSB0")
    return key, value


devices.add_command(doctor)
devices.add_command(pair_device)
devices.add_command(point)
devices.add_command(point, "declare")  # what it was called
devices.add_command(send)
devices.add_command(forget)
