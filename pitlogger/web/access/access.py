"""Everything about access that outlives a request: keys, codes, names, rates."""

from __future__ import annotations

from collections import Counter

from pitlogger.clock import monotonic_ms, utc_ms
from pitlogger.config import Config
from pitlogger.service.names import own_names
from pitlogger.web.access.codes import Codes
from pitlogger.web.access.door import Door
from pitlogger.web.access.keyring import Holder, Keyring, Kind
from pitlogger.web.access.rates import Rates
from pitlogger.web.access.roles import NOBODY, Role, Who

WRITES_PER_S, WRITES_BURST = 10.0, 20.0
READS_PER_S, READS_BURST = 50.0, 200.0
PAIRS_PER_S, PAIRS_BURST = 0.2, 5.0
REFUSALS_PER_S, REFUSALS_BURST = 2.0, 60.0
MOST_STREAMS, STREAMS_EACH = 40, 12
COOKIE_PLAIN = "pitlogger"
COOKIE_TLS = "__Host-pitlogger"  # browsers drop this name on plain http


class Access:
    """Who may do what on one node."""

    def __init__(self, config: Config) -> None:
        self.web = config.web
        self.keys = Keyring(config.node.data / "phones.json")
        self.codes = Codes()
        self.names = own_names(config.web.names)
        self.writes = Rates(WRITES_PER_S, WRITES_BURST)
        self.reads = Rates(READS_PER_S, READS_BURST)
        self.pairings = Rates(PAIRS_PER_S, PAIRS_BURST)
        self.refusals = Rates(REFUSALS_PER_S, REFUSALS_BURST)
        self.streams: Counter[str] = Counter()  # open ones, by who asked
        self.doors: list[Door] = []

    def invite(self, role: Role) -> str:
        """Return a code that pairs one phone within ten minutes."""
        return self.codes.make(role, monotonic_ms())

    def pair(self, code: str, name: str, initials: str) -> tuple[Holder, str] | None:
        """Return the phone that a code pairs and its key, ``None`` for a wrong or old code."""
        role = self.codes.take(code, monotonic_ms())
        if role is None:
            return None
        return self.keys.add("phone", name or "phone", initials, role, utc_ms())

    def admit(self, kind: Kind, name: str, role: Role) -> tuple[Holder, str]:
        """Return a new holder of a key and the key.

        Raises:
            UsageError: No name, or too many keys.
        """
        return self.keys.add(kind, name, "", role, utc_ms())

    def who(self, key: str) -> Who:
        """Return who holds a key."""
        held = self.keys.find(key, utc_ms()) if key else None
        if held is None:
            return NOBODY
        return Who(held.id, held.role, held.name, held.initials)
