"""What the daemon does not load before somebody needs it."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

# Drawing, other programs' tables, radios, and what speaks to a hub or over HTTP to others.
HEAVY = (
    "numpy", "matplotlib", "segno", "pitlogger.reports.cook_report", "bleak", "dbus_fast",
    "httpx", "cryptography", "cbor2", "apprise", "openpyxl", "pandas",
)  # fmt: skip
RUN = """
import asyncio, sys
from pathlib import Path
from pitlogger.config import parse_config
from pitlogger.node.daemon import Daemon
from pitlogger.node.identity import node_uid
from pitlogger.web.front import WebFront

async def main(config):
    async with Daemon(config) as daemon, WebFront(config).serving(daemon):
        pass

data = sys.argv[1]
if len(sys.argv) > 2:
    node_uid(Path(data))
    sys.exit()
config = parse_config(f'[node]\\ndata = "{data}"\\n[web]\\nhost = "127.0.0.1"\\nport = 0\\n')
asyncio.run(main(config))
print(" ".join(sys.modules))
"""


def test_a_node_without_a_radio_or_a_hub_loads_nothing_for_them(tmp_path: Path) -> None:
    run = [sys.executable, "-c", RUN, str(tmp_path)]
    subprocess.run([*run, "makes the key"], check=True, timeout=120)  # the first start alone does
    found = subprocess.run(run, capture_output=True, text=True, check=True, timeout=120)
    loaded = set(found.stdout.split())
    assert "pitlogger.web.serve" in loaded
    assert sorted(loaded & set(HEAVY)) == []
