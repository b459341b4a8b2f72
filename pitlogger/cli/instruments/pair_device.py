"""``pitlogger devices pair``: pair with a device that answers only to a computer it knows."""

from __future__ import annotations

import asyncio
import re
import sys

import click

from pitlogger.cli.output import emit, json_option, say_alone
from pitlogger.errors import RefusedError

_ADDRESS = re.compile(r"[0-9A-Fa-f]{2}(:[0-9A-Fa-f]{2}){5}")


class _AtTerminal:
    """The person at the terminal; without one, the passkey given on the command line."""

    def __init__(self, given: str) -> None:
        self._given = int(given) if given else None
        self.missing = ""  # what could not be asked

    async def passkey(self) -> int | None:
        if self._given is not None:
            return self._given
        typed = await self._ask("The six digits that the device shows: ")
        return int(typed) if typed.isdecimal() and len(typed) <= 6 else None

    def show(self, passkey: int) -> None:
        click.echo(f"Type on the device: {passkey:06d}", err=True)

    async def same(self, passkey: int) -> bool:
        if self._given is not None:
            return self._given == passkey
        shown = f"Does the device show {passkey:06d}? yes or no: "
        return (await self._ask(shown)).casefold() in ("y", "yes")

    async def _ask(self, prompt: str) -> str:
        if not sys.stdin.isatty():
            self.missing = prompt.strip(": ")
            return ""
        return (await asyncio.to_thread(click.prompt, prompt, prompt_suffix="", err=True)).strip()


@click.command("pair")
@click.argument("device", metavar="ADDRESS|NAME")
@click.option("--anew", is_flag=True, help="Forget the pairing there is first.")
@click.option(
    "--passkey", default="", metavar="DIGITS", help="The six digits, where nobody can type."
)
@click.option("--adapter", default="", help="Such as hci1; the best placed where it is left out.")
@json_option
def pair_device(device: str, anew: bool, passkey: str, adapter: str, as_json: bool) -> None:
    """Pair with a Bluetooth device that answers only to a computer it knows.

    Make the device ready first: its manual says which button to hold. Some show six digits to
    type here, some want those typed that are shown here, most want neither. A device that
    lost its pairing, or was given a new battery, may need --anew. Most keep one or a few
    partners: a phone it is paired with may have to be forgotten first.

    \b
    Examples:
      pitlogger devices pair 02:00:00:00:00:10
      pitlogger devices pair tray --anew
    """
    from pitlogger.devices.transports.ble.pairing import pair
    from pitlogger.devices.transports.ble.settings import DeviceSettings
    from pitlogger.errors import TransportError, UsageError

    say_alone()
    if passkey and not (passkey.isdecimal() and len(passkey) <= 6):
        raise UsageError(f"--passkey '{passkey}': expected up to six digits, such as 012345")
    is_address = _ADDRESS.fullmatch(device) is not None
    settings = DeviceSettings(
        address=device if is_address else "", name="" if is_address else device, adapter=adapter
    )
    person = _AtTerminal(passkey)
    try:
        found = asyncio.run(pair(settings, person, anew=anew))
    except TransportError:
        if person.missing:
            raise RefusedError(
                f"nobody could be asked: {person.missing}. Give it: --passkey DIGITS"
            ) from None
        raise
    document = {"address": found.address, "name": found.name, "was_paired": found.was_paired}
    name = found.name or found.address
    said = f"{name} is paired; from now on its address is {found.address}"
    if found.was_paired:
        said = f"{name} was paired already. If it still refuses, pair it again with --anew"
    emit(document, as_json, said)
