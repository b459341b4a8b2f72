"""Reading the kernel's sensor files; a file that cannot be read gives its error's name."""

from __future__ import annotations

import errno
from collections.abc import Iterable
from pathlib import Path

_GONE = (errno.ENOENT, errno.ENODEV)


def read_text(path: Path) -> str:
    """Return a file's content without blanks around it, or ``<EIO>`` and the like.

    Blocks for as long as the kernel converts.

    Raises:
        OSError: The file, and with it the sensor, is gone.
    """
    try:
        return path.read_text("ascii", errors="replace").strip()
    except OSError as error:
        if error.errno in _GONE:
            raise
        return f"<{errno.errorcode.get(error.errno or 0, 'EIO')}>"


def read_pairs(folder: Path, names: Iterable[str]) -> dict[str, str]:
    """Return the content of files by name."""
    return {name: read_text(folder / name).replace(" ", "-") for name in names}


def words(pairs: dict[str, str]) -> bytes:
    """Return ``name=value`` words, as the decoders take them."""
    return " ".join(f"{name}={value}" for name, value in pairs.items()).encode("ascii", "replace")


def folder_named(root: Path, pattern: str, name: str) -> Path | None:
    """Return the folder whose file ``name`` holds that name; numbers move between boots."""
    for folder in sorted(root.glob(pattern)):
        try:
            found = (folder / "name").read_text("ascii", errors="replace").strip()
        except OSError:
            continue
        if found == name:
            return folder
    return None
