"""``pitlogger devices declare``: find out how an unbranded device writes its values."""

from __future__ import annotations

import asyncio
import sys
import threading
from contextlib import suppress
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from pitlogger.cli.files import FILE
from pitlogger.cli.instruments.line_settings import refuse_framing, settings_of_port
from pitlogger.cli.output import emit, json_option
from pitlogger.errors import UsageError

if TYPE_CHECKING:
    from pitlogger.devices.pointing.way import DeviceAccess


@click.command()
@click.option("--port", default="", help="Serial device: its port, by its /dev/serial/by-id name.")
@click.option("--baud", type=click.IntRange(50, 4_000_000),
              help="Found by trying where it is left out.")  # fmt: skip
@click.option("--framing", default="", help="Such as 8N1; found by trying where it is left out.")
@click.option("--address", default="", help="Bluetooth device: its address.")
@click.option("--advertised", is_flag=True, help="Read what it advertises; do not connect.")
@click.option("--poll", default="", help="What to send to be answered: text, or hex for Bluetooth.")
@click.option("--poll-at", default="", help="Characteristic that --poll is written to.")
@click.option("--channel", default="", help="Name of the value; default probe, or mass.")
@click.option("--within", default="", help="How far a value may lie off: 2C, 20 g.")
@click.option("--out", type=FILE, required=True, help="TOML file to write.")
@click.option("--add", is_flag=True, help="Add a further value to the file.")
@json_option
def declare(
    port: str,
    baud: int | None,
    framing: str,
    address: str,
    advertised: bool,
    poll: str,
    poll_at: str,
    channel: str,
    within: str,
    out: Path,
    add: bool,
    as_json: bool,
) -> None:
    """Watch an unbranded device beside a reference and write its declaration.

    Put the probe beside a thermometer you trust, or a known mass on the scale. Whenever the
    reference is steady, type what it shows. Five moments, up and down in no order, tell best.

    \b
    Examples:
      pitlogger devices declare --port /dev/serial/by-id/usb-board --baud 115200 --out board.toml
      pitlogger devices declare --address 02:00:00:00:00:10 --out tray.toml
      pitlogger devices declare --address 02:00:00:00:00:10 --channel pit --add --out tray.toml
    """
    from pitlogger.devices.declaring.conclude import conclude
    from pitlogger.devices.declaring.session import Seen, Session, UnknownDevice
    from pitlogger.devices.declaring.written import place_in_words, scale_of

    refuse_framing(framing)
    way = _way(port, baud or 9600, framing or "8N1", address, advertised, poll, poll_at)
    if out.exists() is not add:
        hint = "name the file to add to" if add else "name another file, or give --add"
        raise UsageError(f"{out} {'does not exist' if add else 'exists already'}: {hint}")
    span = _within(within)
    say = (lambda line: click.echo(line, err=True)) if as_json else click.echo
    if port and baud is None:
        question = poll.encode().decode("unicode_escape").encode("latin-1")
        baud, framing = settings_of_port(port, question, say)
        way = replace(way, baud=baud, framing=framing)
    seen = Seen(sends_lines=way.sends_lines)
    session = Session(seen, _ask_person(), say, span)
    asyncio.run(session.run(UnknownDevice(seen, way.open)))
    before = out.read_text(encoding="utf-8") if add else None
    found = conclude(session, seen, out.stem, channel, way.source, before)
    out.write_text(found.text, encoding="utf-8")
    document = {
        "file": str(out),
        "place": place_in_words(found.proposal),
        "unit": scale_of(found.proposal).unit,
        "moments": found.proposal.moments,
        "worst": round(scale_of(found.proposal).worst, 3),
        "doubts": list(found.proposal.doubts),
        "bytes": found.moves,
        "declaration": found.text,
    }
    emit(document, as_json, f"{found.text}\n{_next_step(way, out)}")


def _way(
    port: str, baud: int, framing: str, address: str, advertised: bool, poll: str, poll_at: str
) -> DeviceAccess:
    if bool(port) is bool(address):
        raise UsageError("give either --port or --address; find them: pitlogger devices scan")
    if advertised and (port or poll):
        raise UsageError("a device that advertises has an --address and is never asked anything")
    if poll and address:
        try:
            bytes.fromhex(poll)
        except ValueError:
            raise UsageError(f"--poll '{poll}' is not hexadecimal, as in a501") from None
        if not poll_at:
            raise UsageError("--poll needs --poll-at, the characteristic it is written to")
    from pitlogger.devices.pointing.way import DeviceAccess

    return DeviceAccess(port, baud, framing, address, advertised, poll, poll_at)


def _within(text: str) -> float | None:
    from pitlogger.model.quantities import parse_mass_mg, parse_temperature_step_mc

    if not text:
        return None
    is_step = text.strip().casefold().endswith(("c", "f"))
    milli = parse_temperature_step_mc(text) if is_step else parse_mass_mg(text)
    if milli <= 0:
        raise UsageError(f"--within '{text}': expected more than nothing, such as 2C or 20 g")
    return milli / 1000


def _ask_person() -> Any:
    """Return what asks on the terminal without holding up the event loop.

    A thread of its own reads, since one that waits for a person must not keep the process.
    """
    prompts: asyncio.Queue[str | None] = asyncio.Queue()

    def read(loop: asyncio.AbstractEventLoop) -> None:
        with suppress(RuntimeError):  # the loop has ended, and nobody waits any more
            for line in sys.stdin:
                loop.call_soon_threadsafe(prompts.put_nowait, line)
            loop.call_soon_threadsafe(prompts.put_nowait, None)

    started = False

    async def ask(prompt: str) -> str | None:
        nonlocal started
        if not started:
            started = True
            loop = asyncio.get_running_loop()
            threading.Thread(target=read, args=(loop,), daemon=True).start()
        click.echo(prompt, nl=False, err=True)
        return await prompts.get()

    return ask


def _next_step(way: DeviceAccess, out: Path) -> str:
    place = f"port={way.port}" if way.port else f"address={way.address}"
    return f"{out} is written. Try it: pitlogger devices try declared file={out} {place}"
