"""A flag for inspected plants: cooked weight of barbecued meat against fresh.

Source: 9 CFR 319.80 (barbecued meats: weight not above 70 % of the fresh uncooked meat).
"""

from __future__ import annotations

from dataclasses import dataclass

from pitlogger.yields.ledger import Account

LIMIT_PCT = 70.0
SOURCE = "9 CFR 319.80"


@dataclass(frozen=True, slots=True)
class CookedShare:
    """Cooked over fresh uncooked mass, %; ``met`` is ``None`` where it was not weighed."""

    pct: float | None
    met: bool | None
    reason: str


def barbecue_limit(one: Account) -> CookedShare:
    """Judge a piece: cooked as it came off (else rested) over trimmed (else purchased)."""
    masses = one.record.masses
    fresh = next((c for c in ("trimmed", "thawed", "purchased") if c in masses), None)
    cooked = next((c for c in ("off-pit", "unwrapped", "rested") if c in masses), None)
    if fresh is None or cooked is None:
        return CookedShare(None, None, "not shown: fresh or cooked mass was not weighed")
    pct = 100.0 * (masses[cooked] / masses[fresh]).value
    return CookedShare(pct, pct <= LIMIT_PCT, f"{cooked} of {fresh}")
