"""Small files of our own: written whole or not at all, set aside where they cannot be read."""

from __future__ import annotations

import errno
import logging
import os
import stat
import time
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from pathlib import Path

log = logging.getLogger(__name__)

_later: dict[Path, str] = {}
_thread = ThreadPoolExecutor(1, thread_name_prefix="pitlogger-files")


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
    sync(path.parent)


def text_of(path: Path) -> str:
    """Return the text of a file without the space around it, empty where it cannot be read."""
    try:
        return path.read_text("utf-8", errors="replace").strip()
    except OSError:
        return ""


def append_line(path: Path, line: str) -> None:
    """Append a line and have the disk take it; one torn by a power cut is ended first.

    Raises:
        OSError: It cannot be written.
    """
    with path.open("ab+") as file:
        file.seek(0, os.SEEK_END)
        torn = file.tell() and (file.seek(-1, os.SEEK_END), file.read(1))[1] != b"\n"
        file.write(f"{chr(10) if torn else ''}{line}\n".encode())
        file.flush()
        os.fsync(file.fileno())


def write_soon(path: Path, text: str, mode: int = 0o600) -> None:
    """Write a file whole, without waiting for the disk: an event loop must not.

    Of several texts for one file the last one counts. What the disk refuses is logged.
    """
    is_waiting = path in _later
    _later[path] = text
    if not is_waiting:
        _thread.submit(_write_latest, path, mode)


def _write_latest(path: Path, mode: int) -> None:
    text = _later.pop(path)
    try:
        write_whole(path, text, mode)
    except OSError as fault:
        log.warning("%s was not kept: %s", path, fault)


def settle_files(within_s: float) -> None:
    """Wait until what was to be written soon is written, but not for ever."""
    with suppress(TimeoutError):
        _thread.submit(lambda: None).result(within_s)


def sync(path: Path) -> None:
    """Have the disk take a file, or the names in a folder."""
    handle = os.open(path, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def refuse_device(path: Path) -> None:
    """Refuse to read a device as a file: it may have no end, and fill all memory.

    Raises:
        OSError: It is one, or it is not there.
    """
    mode = path.stat().st_mode
    if stat.S_ISCHR(mode) or stat.S_ISBLK(mode):
        raise OSError(errno.EINVAL, "it is a device, and no file", str(path))


def set_aside(path: Path) -> Path:
    """Rename a file that cannot be read, so that a new one can take its place.

    Raises:
        OSError: The folder cannot be written.
    """
    aside = path.with_name(f"{path.name}.broken-{time.time_ns()}")
    path.rename(aside)
    return aside
