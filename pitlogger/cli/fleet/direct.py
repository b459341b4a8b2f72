"""The hub's questions, put to its database itself: for a hub that is no node."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import asdict
from typing import Any, Literal, TypeVar, cast

import click

from pitlogger.clock import utc_ms
from pitlogger.errors import UsageError

F = TypeVar("F", bound=Callable[..., Any])
DAY_MS = 86_400_000


def database_option(command: F) -> F:
    """Add the options that name a hub's database and the firm."""
    command = click.option(
        "--firm", default="own", show_default=True, envvar="PITLOGGER_HUB_FIRM",
        help="Which firm's records, on a hub by itself.",
    )(command)  # fmt: skip
    return click.option(
        "--database",
        envvar="PITLOGGER_HUB_DATABASE",
        metavar="ADDRESS",
        help="Of a hub by itself: postgresql://USER@HOST/NAME, or a file.",
    )(command)


class Direct:
    """Answers as the API of a node with a hub does (``web/fleet/api.py``)."""

    def __init__(self, database: str, firm: str) -> None:
        from pitlogger.hub.opening import open_sink

        self.database = open_sink(database).database
        self.firm = firm
        rows = self.database.ask("SELECT id FROM tenant WHERE name = ?", (firm,))
        if not rows:
            known = ", ".join(name for (name,) in self.database.ask("SELECT name FROM tenant"))
            raise UsageError(
                f"no firm '{firm}' in this hub; --firm names one of: {known or 'none'}"
            )
        self.tenant: int = rows[0][0]

    def get(self, path: str, **given: Any) -> Any:
        from pitlogger.hub import questions

        now, asked = utc_ms(), (self.database, self.tenant)
        if path == "/hub/nodes":
            return [asdict(row) for row in questions.nodes(*asked)]
        if path == "/hub/now":
            return [asdict(row) for row in questions.standing(*asked, now)]
        if path == "/hub/exceptions":
            from_ms = now - int(given["days"]) * DAY_MS
            return [asdict(row) for row in questions.exceptions(*asked, from_ms, now + DAY_MS)]
        rows = questions.site_yields(*asked)
        return {"rows": [asdict(row) for row in rows], "sentence": questions.sentence(rows)}

    def post(self, path: str, **given: Any) -> Any:
        if path == "/hub/invitations":
            return self._invite(given["site"])
        from pitlogger.hub.nodes import Nodes

        uid = path.rpartition("/")[2]
        state = cast("Literal['enrolled', 'retired', 'stolen']", given["state"])
        Nodes(self.database).set_state(uid, self.tenant, state, utc_ms(), "command line")
        return {"uid": uid, "state": state}

    def _invite(self, site: str) -> dict[str, Any]:
        from pitlogger.hub.invitations import GOOD_FOR_MS, invite

        ((address, authority),) = self.database.ask("SELECT address, authority FROM hub")
        if not address:
            raise UsageError("nobody could join yet: start 'pitlogger hub web' first")
        code = invite(self.database, authority.encode(), self.firm, site, utc_ms(), "command line")
        return {"code": code, "address": address, "site": site, "good_for_s": GOOD_FOR_MS // 1000}
