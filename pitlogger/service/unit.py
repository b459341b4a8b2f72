"""The texts that are put in place: systemd's unit and udev's rules."""

from __future__ import annotations

import grp
from importlib.resources import files
from pathlib import Path

PROGRAM = "/opt/pitlogger/bin/pitlogger"
# Groups that give a user serial ports, Bluetooth, the board's pins; those the host has are used,
# since systemd refuses to start a service that names another.
GROUPS = ("dialout", "bluetooth", "gpio", "i2c")
UNIT_NAME = "pitlogger.service"
RULES_NAME = "99-pitlogger.rules"


def text(name: str) -> str:
    """Return a text that comes with pitlogger, as it is kept."""
    return (files("pitlogger.texts") / name).read_text(encoding="utf-8")


def unit(program: str = PROGRAM, groups: tuple[str, ...] = ("dialout",)) -> str:
    """Return the unit for a program at a path and the groups of a host."""
    filled = text(UNIT_NAME).replace("@PROGRAM@", program)
    line = f"SupplementaryGroups={' '.join(groups)}\n" if groups else ""
    return filled.replace("SupplementaryGroups=@GROUPS@\n", line)


def groups_here() -> tuple[str, ...]:
    """Return those of ``GROUPS`` that this host has."""
    known = {entry.gr_name for entry in grp.getgrall()}
    return tuple(name for name in GROUPS if name in known)


def rules() -> str:
    """Return the udev rules."""
    return text(RULES_NAME)


def places(root: Path = Path("/")) -> dict[str, Path]:
    """Return where each text belongs on a host, by its name."""
    return {
        UNIT_NAME: root / "etc/systemd/system" / UNIT_NAME,
        RULES_NAME: root / "etc/udev/rules.d" / RULES_NAME,
    }


def is_installed(root: Path = Path("/")) -> bool:
    """Tell whether the unit is in place, put there by a package or by ``service install``."""
    folders = ("etc/systemd/system", "usr/lib/systemd/system", "lib/systemd/system")
    return any((root / folder / UNIT_NAME).exists() for folder in folders)
