"""The decoders by name: found through entry points, so the core knows no driver.

A package adds a decoder with one line in the group ``pitlogger.decoders``, a name and the
place of its ``DecoderInfo``. A TOML file that declares a device is named by its path, or by
its stem when it lies in one of ``declaration_folders``.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from dataclasses import dataclass
from importlib.metadata import EntryPoint, entry_points
from pathlib import Path

from pitlogger.devices.contract import Decoder
from pitlogger.errors import ConfigError, DriverError, unknown

GROUP = "pitlogger.decoders"
DECLARED = "declared"  # the decoder that reads a declaration; not listed by itself


@dataclass(frozen=True, slots=True)
class DecodeOptions:
    """What a person can give a decoder beside the bytes."""

    key: bytes | None = None  # encryption key, 16 bytes
    address: str = ""  # Bluetooth address of the sender, as printed
    map: str = ""  # what stands in which register or column
    declaration: str = ""  # TOML text of a declared device


@dataclass(frozen=True, slots=True)
class DecoderInfo:
    """One decoder: what it is, how to try it, how to make it.

    Attributes:
        name: Name in the group.
        summary: One line for a person.
        example: Arguments after ``pitlogger decode NAME`` that give a reading.
        build: Makes a fresh decoder.
        options: Names of the ``DecodeOptions`` it uses.
    """

    name: str
    summary: str
    example: str
    build: Callable[[DecodeOptions], Decoder]
    options: tuple[str, ...] = ()


def names() -> list[str]:
    """Return the names of the decoders, declared devices last."""
    built_in = [point.name for point in entry_points(group=GROUP) if point.name != DECLARED]
    return [*sorted(set(built_in)), *sorted(_declarations())]


def load(name: str) -> DecoderInfo:
    """Return the decoder of that name.

    Raises:
        DriverError: No such decoder, two of one name, or one that will not load.
    """
    points = [point for point in entry_points(group=GROUP) if point.name == name]
    if not points:
        raise DriverError(unknown("decoder", name, names()))
    places = {point.value for point in points}
    if len(places) > 1:
        raise DriverError(
            f"decoder '{name}' is given {len(places)} times ({', '.join(sorted(places))}): "
            "remove all packages but one"
        )
    return _load_point(points[0])


def _load_point(point: EntryPoint) -> DecoderInfo:
    try:
        info = point.load()
    except Exception as error:  # whatever a foreign package does on import is its fault
        raise DriverError(
            f"decoder '{point.name}' of {point.value} will not load: "
            f"{type(error).__name__}: {error}"
        ) from error
    if not isinstance(info, DecoderInfo):
        raise DriverError(f"decoder '{point.name}': {point.value} is not a DecoderInfo")
    return info


def declaration_folders() -> tuple[Path, ...]:
    """Return the folders in which declared devices are looked for by name."""
    home = os.environ.get("XDG_CONFIG_HOME") or Path.home() / ".config"
    return (Path(home) / "pitlogger" / "devices", Path("/etc/pitlogger/devices"))


def _declarations() -> dict[str, Path]:
    found: dict[str, Path] = {}
    for folder in reversed(declaration_folders()):
        found |= {path.stem: path for path in folder.glob("*.toml")}
    return found


def declaration_text(name: str) -> str | None:
    """Return the TOML text of a declared device, given its path or name; else ``None``.

    Raises:
        ConfigError: A path that cannot be read.
    """
    path = Path(name) if name.endswith(".toml") else _declarations().get(name)
    if path is None:
        return None
    try:
        return path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise ConfigError(f"declaration '{path}' cannot be read: {error}") from None
