"""Other services, through the optional package apprise in a child of its own.

It takes seconds and some 60 MB to load, so it lives only as long as one message. Addresses,
which hold secrets, go over standard input and never onto a command line.
"""

from __future__ import annotations

import asyncio
import json
import sys
from importlib.util import find_spec

from pitlogger.config_notify import AppriseTable
from pitlogger.errors import DeliveryError
from pitlogger.notify.message import Message
from pitlogger.notify.ways.child import run_child
from pitlogger.notify.ways.way import read_secret

TIMEOUT_S = 20.0
_CHILD = """
import apprise, json, sys
given = json.load(sys.stdin)
sender = apprise.Apprise()
bad = [number for number, url in enumerate(given["urls"], 1) if not sender.add(url)]
if bad:
    print("lines that are no address:", *bad)
    sys.exit(78)
sys.exit(0 if sender.notify(title=given["title"], body=given["text"]) else 75)
"""
_ONE_AT_A_TIME = asyncio.Lock()


class Apprise:
    """Addresses in a file, one a line."""

    def __init__(self, table: AppriseTable) -> None:
        self._urls_file = table.urls_file

    async def send(self, message: Message) -> str:
        """Send to every address; all of them again if one fails."""
        if find_spec("apprise") is None:
            raise DeliveryError(
                "the package apprise is not installed",
                remedy="Install it: uv tool install 'pitlogger[apprise]'",
                for_good=True,
            )
        lines = read_secret(self._urls_file).splitlines()
        urls = [line.strip() for line in lines if line.strip() and not line.startswith("#")]
        given = json.dumps({"urls": urls, "title": message.title, "text": message.text})
        async with _ONE_AT_A_TIME:
            try:
                argv = (sys.executable, "-c", _CHILD)
                code, said = await run_child(argv, given.encode(), TIMEOUT_S)
            except TimeoutError:
                raise DeliveryError(f"no answer within {TIMEOUT_S:.0f} s") from None
        if code:
            raise DeliveryError(
                f"apprise could not send it ({said or f'code {code}'})",
                remedy=f"Check the addresses in {self._urls_file}",
                for_good=code == 78,
            )
        return f"sent to {len(urls)} address{'es' if len(urls) != 1 else ''}"
