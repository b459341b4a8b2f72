"""The web as ``pitlogger run`` starts it: found through the entry points ``pitlogger.fronts``."""

from __future__ import annotations

from contextlib import AbstractAsyncContextManager
from typing import Any

from pitlogger.config import Config
from pitlogger.node.daemon import Daemon
from pitlogger.web.access.access import Access
from pitlogger.web.access.codes import GOOD_FOR_MS, spoken
from pitlogger.web.access.roles import Role
from pitlogger.web.serve import serving


class WebFront:
    """Page and API of one daemon."""

    def __init__(self, config: Config, access: Access | None = None) -> None:
        self._config = config
        self._access = access or Access(config)

    def serving(self, daemon: Daemon) -> AbstractAsyncContextManager[str | None]:
        """Serve the daemon while the context is open; it gives the page's address, if any."""
        return serving(daemon, self._access)

    def needs_first_phone(self) -> bool:
        """Return whether no phone of the owner is paired and one is wanted."""
        return not (self._access.keys.has_owner() or self._config.web.one_time_link)

    def first_code(self, address: str) -> dict[str, Any]:
        """Return a new code that pairs the owner's first phone."""
        code = self._access.invite(Role.OWNER)
        return {
            "code": spoken(code),
            "role": Role.OWNER.label,
            "good_for_s": GOOD_FOR_MS // 1000,
            "link": f"{address}pair#{code}",
        }
