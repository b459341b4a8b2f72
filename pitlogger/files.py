"""Small files of our own: written whole or not at all, set aside where they cannot be read."""

from __future__ import annotations

import os
import time
from pathlib import Path


def write_whole(path: Path, text: str, mode: int = 0o600) -> None:
    """Write a file beside its place, have the disk take it, then put it in its place.

    Whoever reads it, after a kill or a power cut too, finds the old text or the new one.

    Raises:
        OSError: It cannot be written; the old one stays.
    """
    part = path.with_name(path.name + ".part")
    part.unlink(missing_ok=True)
    handle = os.open(part, os.O_WRONLY | os.O_CREAT | os.O_EXCL, mode)
    with os.fdopen(handle, "w", encoding="utf-8") as file:
        file.write(text)
        file.flush()
        os.fsync(file.fileno())
    part.replace(path)
    sync_folder(path.parent)


def sync_folder(folder: Path) -> None:
    """Have the disk take the names in a folder."""
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def set_aside(path: Path) -> Path:
    """Rename a file that cannot be read, so that a new one can take its place.

    Raises:
        OSError: The folder cannot be written.
    """
    aside = path.with_name(f"{path.name}.broken-{time.time_ns()}")
    path.rename(aside)
    return aside
