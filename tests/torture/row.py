"""One row of the table: what was done how often, and what was wrong afterwards."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple


class Row(NamedTuple):
    """``faults`` is empty where the bar is met; the seed brings the same dice again."""

    id: str
    what: str
    times: int
    faults: Sequence[str]
    shown: str
    seed: int = 0
