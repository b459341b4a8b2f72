"""One row of the table of budgets."""

from __future__ import annotations

from typing import NamedTuple


class Row(NamedTuple):
    """A measured figure, and what it is held against where the budget is a ratio."""

    id: str
    value: float
    unit: str
    yardstick: str = ""
    ratio: float | None = None
