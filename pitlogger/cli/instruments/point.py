"""``pitlogger devices point``: join an unbranded device by warming a probe, typing two values."""

from __future__ import annotations

import asyncio
import sys
import threading
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from pitlogger.cli.files import FOLDER
from pitlogger.cli.instruments.line_settings import refuse_framing, settings_of_port
from pitlogger.cli.live_lines import LiveLines
from pitlogger.cli.output import emit, json_option, say_alone
from pitlogger.errors import RefusedError, UsageError
from pitlogger.model.quantities import Quantity
from pitlogger.model.readings import Site

if TYPE_CHECKING:
    from pitlogger.devices.pointing.way import DeviceAccess


@click.command()
@click.option("--port", default="", help="Serial device: its port.")
@click.option("--baud", type=click.IntRange(50, 4_000_000), help="Found by trying if left out.")
@click.option("--framing", default="", help="Such as 8N1; found by trying if left out.")
@click.option("--address", default="", help="Bluetooth device: its address.")
@click.option("--device-name", default="", help="Bluetooth device: the name it advertises.")
@click.option("--advertised", is_flag=True, help="Read what it advertises; do not connect.")
@click.option("--hid", default="", metavar="PAGE:USAGE", help="USB HID device, such as 8d:20.")
@click.option("--start", multiple=True, metavar="CHARACTERISTIC=HEX[@SECONDS]",
              help="Write once after connecting, then wait; may be repeated.")  # fmt: skip
@click.option("--poll", default="", help="What to send to be answered: text, or hex for Bluetooth.")
@click.option("--poll-at", default="", help="Characteristic that --poll is written to.")
@click.option("--mass", is_flag=True, help="It is a scale: known masses in place of ice water.")
@click.option("--name", default="", help="What to call it; else as it calls itself.")
@click.option("--site", "sites", multiple=True, metavar="CHANNEL=SITE",
              help="Where a probe sits, such as probe-1=pit.")  # fmt: skip
@click.option("--folder", type=FOLDER,
              help="Where to write; devices.d beside the record if left out.")  # fmt: skip
@click.option("--yes", is_flag=True, help="Write without asking.")
@json_option
def point(as_json: bool, **given: Any) -> None:
    """Join an unbranded device: warm one probe in your hand, type two true values, unplug it.

    You need a glass of ice water and something warm. The field that moves is found, its
    neighbours are offered as further probes, and the configuration is shown before anything
    is written. What cannot be told is said, in numbers.

    \b
    Examples:
      pitlogger devices point --address 02:00:00:00:00:10
      pitlogger devices point --device-name tray --advertised --site probe-1=pit
      pitlogger devices point --port /dev/serial/by-id/usb-board
    """
    from pitlogger.devices.pointing.finding import find
    from pitlogger.devices.pointing.joined import JoinedDevice
    from pitlogger.devices.pointing.session import Pointing
    from pitlogger.devices.pointing.watching import Tape, UnknownDevice

    say_alone()
    say = (lambda line: click.echo(line, err=True)) if as_json else click.echo
    way = _way(given, say)
    sites = dict(_site(text) for text in given["sites"])
    tape = Tape(sends_lines=way.sends_lines)
    live = LiveLines(sys.stderr) if sys.stderr.isatty() else None
    ask = _ask_person(live)
    quantity = Quantity.MASS if given["mass"] else Quantity.TEMPERATURE
    steps = Pointing(tape, ask, say, quantity, live=live)
    evidence = asyncio.run(steps.run(UnknownDevice(tape, way.open)))
    finding = find(evidence)
    if finding is None:
        raise RefusedError(
            "no field follows what you did: warm the probe longer, wait till it is steady before "
            "you type, and let the two true values lie far apart"
        )
    place = given["folder"] or _folder()
    joined = JoinedDevice(way, tape, evidence, finding, given["name"], sites, place)
    for line in joined.in_words():
        say(line)
    written = joined.written()
    say("\n" + "\n".join(text for path, text in written.files.items() if path.suffix == ".toml"))
    if not (given["yes"] or click.confirm(f"Write this to {place}?", default=False, err=True)):
        raise RefusedError("nothing was written")
    written.put()
    done = f"written to {place}. Let the daemon read it: sudo systemctl reload pitlogger"
    emit(joined.document(written), as_json, done)


def _way(given: dict[str, Any], say: Any) -> DeviceAccess:
    port, baud, framing = given["port"], given["baud"], given["framing"]
    hid, start, poll = given["hid"], given["start"], given["poll"]
    refuse_framing(framing)
    if sum(map(bool, (port, given["address"] or given["device_name"], hid))) != 1:
        raise UsageError(
            "give one of --port, --address or --device-name, --hid; "
            "find them: pitlogger devices scan"
        )
    if given["advertised"] and (port or hid or start or poll):
        raise UsageError("--advertised is for a Bluetooth device that nothing is written to")
    if poll and not port:
        _refuse_poll(poll, given["poll_at"])
    if port and baud is None:
        question = poll.encode().decode("unicode_escape").encode("latin-1")
        baud, framing = settings_of_port(port, question, say)
    from pitlogger.devices.pointing.way import DeviceAccess, usage_of

    return DeviceAccess(
        port,
        baud or 9600,
        framing or "8N1",
        given["address"],
        given["advertised"],
        poll,
        given["poll_at"],
        device_name=given["device_name"],
        hid=usage_of(hid) if hid else None,
        start=tuple(_write(text) for text in start),
    )


def _refuse_poll(poll: str, at: str) -> None:
    try:
        bytes.fromhex(poll)
    except ValueError:
        raise UsageError(f"--poll '{poll}' is not hexadecimal, as in a501") from None
    if not at:
        raise UsageError("--poll needs --poll-at, the characteristic it is written to")


def _write(text: str) -> tuple[str, bytes, float]:
    uuid, _, rest = text.partition("=")
    data, _, wait = rest.partition("@")
    try:
        return uuid, bytes.fromhex(data), float(wait or 0)
    except ValueError:
        raise UsageError(
            f"--start '{text}': expected CHARACTERISTIC=HEX@SECONDS, as in fff2=01@0.5"
        ) from None


def _site(text: str) -> tuple[str, str]:
    channel, _, site = text.partition("=")
    known = [one.value for one in Site]
    if site not in known:
        raise UsageError(f"--site '{text}': expected CHANNEL=SITE with one of {', '.join(known)}")
    return channel, site


def _folder() -> Path:
    from pitlogger.cli.installation.configuration import configuration
    from pitlogger.devices.pointing.block import FOLDER

    return configuration(None).node.data / FOLDER


def _ask_person(live: LiveLines | None) -> Any:
    """Return what asks on the terminal without holding up the event loop.

    A thread for each question reads one line, since one that waits for a person must not keep
    the process, and none may be left that takes the answer to the next question away.
    """

    async def ask(prompt: str) -> str | None:
        loop = asyncio.get_running_loop()
        answer: asyncio.Future[str] = loop.create_future()

        def take(line: str) -> None:
            if not answer.done():
                answer.set_result(line)

        def read() -> None:
            line = sys.stdin.readline()
            with suppress(RuntimeError):  # the loop has ended, and nobody waits any more
                loop.call_soon_threadsafe(take, line)

        threading.Thread(target=read, daemon=True).start()
        if live is None:
            click.echo(prompt, nl=False, err=True)
            return await answer or None
        live.ask(prompt)
        said = await answer
        live.end()
        return said or None

    return ask
