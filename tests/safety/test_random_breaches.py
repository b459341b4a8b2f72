"""No breach is found in a record that rang nothing while it happened: random records.

``PITLOGGER_RECORDS=1000`` runs that many; ``python -m tests.safety.independent.rung 1000`` counts.
"""

from __future__ import annotations

import os

from tests.safety.independent.rung import breaches

RECORDS = int(os.environ.get("PITLOGGER_RECORDS", "8"))
MET_BEFORE = (131037, 131063, 131128)  # a stuck neighbour, two of them; a dead one


def test_each_breach_of_a_record_had_rung() -> None:
    found = list(breaches((*range(131000, 131000 + RECORDS), *MET_BEFORE)))
    assert len(found) >= 3
    assert [breach for breach in found if not breach.rang] == []
