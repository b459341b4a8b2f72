"""Freeze what this release writes, as samples a later one must read: run once a release.

    python -m tests.kept.freeze tests/kept/v0.1

Only ever into a new folder: what was frozen stays as it is.
"""

from __future__ import annotations

import asyncio
import json
import sqlite3
import sys
from contextlib import closing
from pathlib import Path
from tempfile import TemporaryDirectory

from click.testing import CliRunner

from pitlogger.cli.installation.config import text
from pitlogger.cli.records.export import export
from pitlogger.store import Reader
from tests.fleet.made import key_and_uid, make_store, messages
from tests.kept.promises import promises
from tests.web.conftest import make_node


def freeze(to: Path) -> None:
    """Write the samples into a new folder."""
    to.mkdir(parents=True)
    (to / "config.toml").write_text(text("example"), encoding="utf-8")
    key, uid = key_and_uid(7)
    with TemporaryDirectory() as folder:
        path = Path(folder) / "pitlogger.db"
        make_store(path, seconds=120).close()
        with Reader.open(path) as reader:
            sent = [message.hex() for message in messages(reader, key, uid)]
        (to / "bundles.json").write_text(json.dumps(sent), encoding="utf-8")
        config = Path(folder) / "pitlogger.toml"
        config.write_text(f'[node]\ndata = "{folder}"\n', encoding="utf-8")
        given = ["--config", str(config), "--out", str(to / "cook.senml")]
        CliRunner().invoke(export, given, catch_exceptions=False)
        with closing(sqlite3.connect(path)) as connection:
            lines = list(connection.iterdump())
            for name in ("application_id", "user_version"):
                (value,) = connection.execute(f"PRAGMA {name}").fetchone()
                lines.append(f"PRAGMA {name}={value};")
        (to / "record.sql").write_text("\n".join([*lines, ""]), encoding="utf-8")
    (to / "api.txt").write_text(asyncio.run(api()), encoding="utf-8")


async def api() -> str:
    """Return what the API promises."""
    with TemporaryDirectory() as folder:
        async with make_node(Path(folder)) as node:
            document = (await node.local.get("/api/v1/openapi.json")).json()
    return "".join(f"{line}\n" for line in promises(document))


if __name__ == "__main__":
    freeze(Path(sys.argv[1]))
