"""A crash leaves a report without secrets: what failed and where, never what was held.

Of the error's message and its chain only what is no secret stays: the contents of secret files,
what an address carries besides server and path, and long tokens are blotted out.
"""

from __future__ import annotations

import os
import platform
import re
import sqlite3
import tempfile
import traceback
from collections.abc import Iterable
from contextlib import suppress
from datetime import UTC, datetime
from pathlib import Path

from pitlogger import __version__

KEPT = 5  # reports
_BLOT = "[blotted out]"
_USER_OR_QUERY = re.compile(r"(\w+://)[^\s/@]+@|(?<=\w)\?[^\s'\"]+")
_TOKEN = re.compile(r"\b[A-Za-z0-9_-]{24,}\b")
_NAME = re.compile(r"[a-z]+([_-][a-z]+)*|\d{8}t\d{6}.*", re.IGNORECASE)  # words, no token


def blotted(text: str, secrets: Iterable[str] = ()) -> str:
    """Return a text with secrets blotted out."""
    for secret in sorted(secrets, key=len, reverse=True):
        if secret:
            text = text.replace(secret, _BLOT)
    text = _USER_OR_QUERY.sub(lambda found: (found[1] or "") + _BLOT, text)
    return _TOKEN.sub(lambda found: found[0] if _NAME.fullmatch(found[0]) else _BLOT, text)


def report(error: BaseException, secrets: Iterable[str] = ()) -> str:
    """Return what a maintainer needs to know of a crash."""
    lines = traceback.format_exception(error, limit=30)
    head = (
        f"pitlogger {__version__}, Python {platform.python_version()},"
        f" SQLite {sqlite3.sqlite_version}, {platform.system()} {platform.machine()}\n"
    )
    return head + blotted("".join(lines), secrets)


def contents(files: Iterable[Path]) -> list[str]:
    """Return what stands in secret files, as far as they can be read."""
    found = []
    for path in files:
        with suppress(OSError, UnicodeDecodeError):
            found += [line.strip() for line in path.read_text(encoding="utf-8").splitlines()]
    return [line for line in found if line]


def state_folder() -> Path:
    """Return where a command of this user leaves what it has to leave."""
    home = os.environ.get("XDG_STATE_HOME") or Path.home() / ".local" / "state"
    return Path(home) / "pitlogger"


def leave_anywhere(
    error: BaseException, secrets: Iterable[str] = (), *first: Path, kind: str = "crash"
) -> Path | None:
    """Write a report into the first folder that takes it: those given, the user's, the common."""
    try:
        own: tuple[Path, ...] = (state_folder(),)
    except RuntimeError:  # a user without a home
        own = ()
    for folder in (*first, *own, Path(tempfile.gettempdir())):
        left = leave(folder, error, secrets, kind)
        if left is not None:
            return left
    return None


def leave(
    folder: Path, error: BaseException, secrets: Iterable[str] = (), kind: str = "crash"
) -> Path | None:
    """Write a report into ``folder``, readable by the owner; return it, ``None`` if impossible."""
    stamp = datetime.now(UTC).strftime("%Y%m%dT%H%M%S")
    path = folder / f"{kind}-{stamp}.txt"
    with suppress(OSError):
        folder.mkdir(parents=True, exist_ok=True)
        path.touch(mode=0o600)
        path.write_text(report(error, secrets), encoding="utf-8")
        for old in sorted(folder.glob(f"{kind}-*.txt"))[:-KEPT]:
            old.unlink(missing_ok=True)
        return path
    return None
