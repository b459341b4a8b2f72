"""What serves a running node to people and programs, found through entry points."""

from __future__ import annotations

from contextlib import AbstractAsyncContextManager
from importlib.metadata import entry_points
from typing import Any, Protocol

from pitlogger.config import Config
from pitlogger.errors import PitloggerError
from pitlogger.node.daemon import Daemon

GROUP = "pitlogger.fronts"


class Front(Protocol):
    """Made with the configuration."""

    def serving(self, daemon: Daemon) -> AbstractAsyncContextManager[str | None]:
        """Serve the daemon while the context is open; it gives the page's address, if any."""

    def needs_first_phone(self) -> bool:
        """Return whether no phone of the owner is paired and one is wanted."""

    def first_code(self, address: str) -> dict[str, Any]:
        """Return a new code that pairs the owner's first phone."""


def front(config: Config) -> Front:
    """Return the front that is installed.

    Raises:
        PitloggerError: None is.
    """
    for point in entry_points(group=GROUP):
        made: Front = point.load()(config)
        return made
    raise PitloggerError(f"nothing serves the node: no entry point '{GROUP}'; install again")
