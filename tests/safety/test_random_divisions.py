"""Nothing is met that truly was not: pieces cut in two, watched by halves, marked wrong first."""

from __future__ import annotations

import os

from tests.safety.independent.divided import wrong

RECORDS = int(os.environ.get("PITLOGGER_RECORDS", "100"))
FROM = int(os.environ.get("PITLOGGER_FIRST", "0"))


def test_what_is_met_truly_was() -> None:
    found = [one for seed in range(FROM, FROM + RECORDS) for one in wrong(seed)]
    assert [one for one in found if one is not None] == []
    assert len(found) > RECORDS  # there is something to judge
