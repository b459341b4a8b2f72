"""What a maintainer needs to know of an installation, without what is nobody's business.

Nothing is taken because it looks harmless: each line is of a kind that cannot hold a token, a
name, initials, an address, a path, a note or a weight.
"""

from __future__ import annotations

import json
import platform
import re
import sqlite3
from contextlib import closing, suppress
from datetime import UTC, datetime
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import Any

from pitlogger import __version__
from pitlogger.config import Config
from pitlogger.store.connection import connect_reader

LIBRARIES = ("aiomqtt", "bleak", "fastapi", "httpx", "numpy", "pydantic", "pyserial", "uvicorn")
HIDDEN = "(set)"
# Keys whose text is a choice out of a list that the program itself knows.
_CHOICES = frozenset(
    {
        "driver",
        "kind",
        "site",
        "temperature",
        "mass",
        "format",
        "contact",
        "from_priority",
        "security",
    }
)
_CRASHES = 5
_FRAME = re.compile(r'File "[^"]*?((?:pitlogger|site-packages)[^"]*)", line (\d+), in (\w+)')
_ERROR = re.compile(r"^([A-Za-z_][\w.]*(?:Error|Exception|Interrupt))\b", re.MULTILINE)


def gathered(config: Config) -> str:
    """Return what is to be sent, as text."""
    parts = (
        ("program", _program()),
        ("configuration", _redacted(config.model_dump(mode="json", exclude_unset=True))),
        ("record", _record(config.database)),
        ("crashes", _crashes(config.node.data)),
    )
    return "\n\n".join(f"{name}\n{json.dumps(what, indent=1)}" for name, what in parts)


def _program() -> dict[str, str]:
    found = {"pitlogger": __version__, "python": platform.python_version()}
    found |= {"sqlite": sqlite3.sqlite_version, "machine": platform.machine()}
    found |= {"system": platform.system(), "kernel": platform.release()}
    for name in LIBRARIES:
        with suppress(PackageNotFoundError):
            found[name] = version(name)
    return found


def _redacted(value: Any, key: str = "") -> Any:
    """Return a configuration with every text hidden that is no choice of a list."""
    if isinstance(value, dict):
        return {name: _redacted(each, name) for name, each in value.items()}
    if isinstance(value, list):
        return [_redacted(each, key) for each in value]
    if isinstance(value, str):
        return value if key in _CHOICES else HIDDEN
    return value


def _record(database: Path) -> dict[str, Any]:
    """Return counts of the record: kinds of entries and of alerts, nothing of what they say."""
    found: dict[str, Any] = {"bytes": database.stat().st_size if database.exists() else None}
    questions = {
        "entries": "SELECT kind, count(*) FROM journal GROUP BY kind ORDER BY kind",
        "alerts": "SELECT entry ->> 'alert_kind', count(*) FROM journal"
        " WHERE kind = 'alert-changed' GROUP BY 1 ORDER BY 1",
        "runs": "SELECT version, count(*) FROM run GROUP BY version ORDER BY version",
        "lost_readings": "SELECT reason, sum(readings) FROM lost GROUP BY reason",
        "check": "PRAGMA quick_check(5)",
    }
    try:
        with closing(connect_reader(database)) as connection:
            for name, statement in questions.items():
                rows = connection.execute(statement).fetchall()
                found[name] = [" ".join(map(str, row)) for row in rows]
    except sqlite3.Error as fault:
        found["fault"] = type(fault).__name__
    return found


def _crashes(data: Path) -> list[dict[str, Any]]:
    """Return where the last crashes were: kinds of errors and places in the code."""
    found = []
    for path in sorted(data.glob("crash-*.txt"))[-_CRASHES:]:
        with suppress(OSError):
            text = path.read_text(encoding="utf-8", errors="replace")
            made = datetime.fromtimestamp(path.stat().st_mtime, UTC)
            found.append(
                {
                    "at": f"{made:%Y-%m-%d %H:%M}",
                    "errors": _ERROR.findall(text),
                    "places": [":".join(place) for place in _FRAME.findall(text)],
                }
            )
    return found
