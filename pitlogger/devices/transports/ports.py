"""The serial ports of this host, each by the name that stays with it longest.

A USB adapter with a serial number is named by it (``/dev/serial/by-id``). Twins without one
share that name, which then leads to either of them: they are named by their plug
(``/dev/serial/by-path``). A board's own port is ``/dev/serial0`` where the system calls it so.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from pathlib import Path

from pitlogger.files import text_of

DEV = Path("/dev")
SYS = Path("/sys/class/tty")
_USB = ("ttyUSB*", "ttyACM*")
_BUILT_IN = ("ttyAMA*", "ttyS*")
_UNKNOWN = "0"  # the kernel's type of a port that no chip answers for (serial_core.h)


@dataclass(frozen=True, slots=True)
class Port:
    """A port: the name to configure, the node behind it, and what to mind; often nothing."""

    name: str
    node: str
    note: str = ""


def known_ports() -> list[str]:
    """Return the names of all ports."""
    return [port.name for port in ports()]


def ports(dev: Path = DEV, sys: Path = SYS) -> list[Port]:
    """Return all ports of a host, those on USB first."""
    by_id, by_path = _links(dev / "serial/by-id"), _links(dev / "serial/by-path")
    usb = [node for pattern in _USB for node in sorted(dev.glob(pattern))]
    makes = {node: _make(sys / node.name) for node in usb}
    counts = Counter(makes.values())
    found = []
    for node in usb:
        has_twin = makes[node] is not None and counts[makes[node]] > 1
        found.append(_on_usb(node, by_id.get(node.name), by_path.get(node.name), has_twin))
    return found + _built_in(dev, sys)


def _on_usb(node: Path, by_id: Path | None, by_path: Path | None, has_twin: bool) -> Port:
    if has_twin and by_path is not None:
        note = "a second adapter of its make has no serial number either: named by its plug"
        return Port(str(by_path), str(node), note)
    if by_id is not None:
        note = "a second adapter of its make bears the same name: take one off" if has_twin else ""
        return Port(str(by_id), str(node), note)
    if by_path is not None:
        return Port(str(by_path), str(node), "named by its plug: leave it in this one")
    return Port(str(node), str(node), "this name may change with every plug")


def _built_in(dev: Path, sys: Path) -> list[Port]:
    """Return the board's own ports that a chip answers for; each once."""
    aliases = _links(dev, "serial[0-9]*")
    found = []
    for pattern in _BUILT_IN:
        for node in sorted(dev.glob(pattern)):
            if pattern == "ttyS*" and text_of(sys / node.name / "type") in ("", _UNKNOWN):
                continue
            alias = aliases.get(node.name)
            found.append(Port(str(alias or node), str(node)))
    return found


def _links(folder: Path, pattern: str = "*") -> dict[str, Path]:
    """Return the links of a folder by the name of the node each leads to."""
    return {link.resolve().name: link for link in sorted(folder.glob(pattern)) if link.is_symlink()}


def _make(tty: Path) -> tuple[str, str, str] | None:
    """Return vendor, product and serial number of the USB device behind a port, and its channel.

    Two ports of one device are no twins: they differ in the interface, and so in by-id.
    """
    place = (tty / "device").resolve()
    interface = ""
    for folder in (place, *place.parents):
        interface = interface or text_of(folder / "bInterfaceNumber")
        vendor = text_of(folder / "idVendor")
        if vendor:
            product, serial = text_of(folder / "idProduct"), text_of(folder / "serial")
            return f"{vendor}:{product}", serial, interface
    return None
