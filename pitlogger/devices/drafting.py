"""A configuration from what is in reach: a table a device, its channels as they were heard."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from pitlogger.devices.contract import ChannelInfo, DriverInfo, Measurement
from pitlogger.devices.reach import Find
from pitlogger.formats.toml_text import toml_table
from pitlogger.model.quantities import Quantity

_SITES = "pit core surface hold transport line cold room"
# Sensors that say how a device fares, not what is measured; they need no place.
_OWN = frozenset((Quantity.BATTERY, Quantity.SIGNAL, Quantity.VOLTAGE))
_HEAD = """\
# Written from what was in reach. Say where each probe sits (site) and in which piece, take out
# what is not yours, and check it: pitlogger config check FILE. `pitlogger devices try` shows
# which probe is being warmed in the hand.
"""


_BUTTON = """
# [[device.button]]
# name = "{name}"
# press = "keep-weight"    # or next-stage, acknowledge; also double, triple, long
"""


@dataclass(frozen=True, slots=True)
class Tried:
    """A find with the driver chosen for it and what it said.

    Attributes:
        others: Further drivers that may suit.
        said: One measurement a channel, as heard; empty where it was not tried or silent.
        refused: Why bytes were no reading, or why it could not be opened; often empty.
    """

    find: Find
    driver: DriverInfo
    others: tuple[str, ...] = ()
    said: tuple[Measurement, ...] = ()
    refused: str = ""


def draft(node: str, tried: Sequence[Tried], strangers: Iterable[Find] = ()) -> str:
    """Return the text of a configuration.

    Args:
        strangers: Devices in reach that no driver is known for.
    """
    parts = [_HEAD, toml_table("[node]", {"name": node}), *_tables(tried)]
    unknown = [
        f"#   {dict(find.keys).get('address', '')} {find.name}".rstrip()
        for find in strangers
        if find.name
    ]  # fmt: skip
    if unknown:
        parts.append(
            "# Heard, and no driver is known for it. One that is yours can be pointed at:\n"
            "# pitlogger devices point --address ADDRESS (or --device-name NAME)\n"
            + "\n".join(unknown) + "\n"
        )  # fmt: skip
    return "\n".join(parts)


def device_tables(tried: Iterable[Tried]) -> str:
    """Return the tables of devices; the computer's own sensors are left out."""
    return "\n".join(_tables(one for one in tried if not is_the_boards_own(one.find)))


def _tables(tried: Iterable[Tried]) -> list[str]:
    names: set[str] = set()
    return [_device(one, _unique(_name(one), names)) for one in tried]


def _device(tried: Tried, name: str) -> str:
    find = tried.find
    lines = [f"# {_in_words(find)}"]
    if tried.others:
        lines.append(f"# Other drivers that may suit: {', '.join(tried.others)}.")
    if tried.refused:
        lines.append(f"# {tried.refused}")
    keys = {"id": name, "driver": tried.driver.name, **dict(find.keys)}
    tables = [toml_table("[[device]]", keys)]
    if "key" in tried.refused and "key" in tried.driver.config.model_fields:
        tables[0] += (
            '# key = "..."      # 32 hex digits; its label, its box or its settings have it\n'
        )
    tables += [_channel(name, channel) for channel in _channels(tried)]
    text = "\n".join(tables)
    for found in tried.said:
        if found.quantity is Quantity.BUTTON:
            text += _BUTTON.format(name=found.channel)
    if is_the_boards_own(find):
        lines.append("# Most such sensors tell the heat of the board itself: uncomment a probe.")
        text = "".join(f"# {line}\n" if line else "#\n" for line in text.splitlines())
    return "\n".join(lines) + "\n" + text


def is_the_boards_own(find: Find) -> bool:
    """Tell whether a find is rather the computer's own health than a probe."""
    return find.way == "hwmon"


def _channel(device: str, channel: ChannelInfo) -> str:
    entries = {"id": f"{device}/{channel.name}", "name": channel.name}
    if channel.quantity is Quantity.MASS:
        return toml_table("[[device.channel]]", {**entries, "site": "bench"})
    text = toml_table("[[device.channel]]", entries)
    if channel.quantity is Quantity.TEMPERATURE:
        text += f'# site = "core"      # {_SITES}\n# piece = "brisket-1"\n'
    return text


def _channels(tried: Tried) -> Iterator[ChannelInfo]:
    """Yield the channels heard; of a silent device those its driver names without a star."""
    if tried.said:
        for found in sorted(tried.said, key=lambda one: (one.quantity in _OWN, one.channel)):
            if found.quantity not in (Quantity.BUTTON, Quantity.CODE):
                yield ChannelInfo(found.channel, found.quantity, found.unit)
        return
    yield from (one for one in tried.driver.channels if not one.name.endswith("*"))


def _in_words(find: Find) -> str:
    strength = "" if find.signal_dbm is None else f", {find.signal_dbm} dBm"
    note = f"; {find.note}" if find.note else ""
    shown = f" ({find.name})" if find.name and find.name not in find.address else ""
    return f"{find.way} {find.address}{shown}{strength}{note}"


def _name(tried: Tried) -> str:
    find = tried.find
    if find.way == "serial":
        return tried.driver.name
    return re.sub(r"[^a-z0-9]+", "-", (find.name or tried.driver.name).casefold()).strip("-")


def _unique(name: str, taken: set[str]) -> str:
    """Return a name that is not taken yet, and take it."""
    wanted, count = name or "device", 1
    while wanted in taken:
        count += 1
        wanted = f"{name}-{count}"
    taken.add(wanted)
    return wanted
