"""The journal of each past cook as yields need it, with what was told of its meal since."""

from __future__ import annotations

from collections.abc import Iterator

from pitlogger.model.journal import Entry, MealTold
from pitlogger.store.queries import Reader

# Entries that say what was weighed, of what, and what counts.
YIELD_KINDS = (
    "cook-started", "cook-finished", "piece-added", "piece-split", "pieces-merged", "stage-set",
    "weighed", "noted", "meal-told", "undone", "corrected",
)  # fmt: skip


def past_entries(reader: Reader) -> Iterator[tuple[str, list[Entry]]]:
    """Yield the id and the entries of each cook, oldest first.

    A meal is told when its cook is long finished, so it is kept beside the cook it names.
    """
    told: dict[str, list[Entry]] = {}
    for entry in reader.entries(kinds=("meal-told",)):
        if isinstance(entry.body, MealTold) and entry.body.cook:
            told.setdefault(entry.body.cook, []).append(entry)
    for row in reversed(reader.cooks()):
        yield row.id, [*reader.entries(cook=row.id, kinds=YIELD_KINDS), *told.get(row.id, ())]
