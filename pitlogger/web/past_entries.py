"""The journal of each past cook as yields need it, with what was entered of its meal since."""

from __future__ import annotations

import json
from collections.abc import Iterator

from pitlogger.formats.journal_json import load_entry
from pitlogger.model.journal import Entry
from pitlogger.store.queries import Reader

# Entries that say what was weighed, of what, and what counts.
YIELD_KINDS = (
    "cook-started", "cook-finished", "piece-added", "piece-split", "pieces-merged", "stage-set",
    "weighed", "noted", "meal-told", "undone", "corrected", "learning-set",
)  # fmt: skip


def past_texts(reader: Reader) -> Iterator[tuple[str, list[str]]]:
    """Yield the id of each cook and the JSON texts of its entries, oldest cook first.

    A meal is entered when its cook is long finished, so it is kept beside the cook it names.
    """
    of_cook: dict[str, list[str]] = {}
    for cook, text in reader.entry_texts(YIELD_KINDS):
        if cook is not None:
            of_cook.setdefault(cook, []).append(text)
    for cook, text in _meals(reader):
        of_cook.setdefault(cook, []).append(text)
    for row in reversed(reader.cooks()):
        yield row.id, of_cook.get(row.id, [])


def _meals(reader: Reader) -> Iterator[tuple[str, str]]:
    """Yield what was entered of meals and what took it back, with the id of the cook."""
    cook_of: dict[tuple[str, int], str] = {}
    for kept_in, text in reader.entry_texts(("meal-told", "undone")):
        if kept_in is not None:
            continue
        said = json.loads(text)
        cook = said.get("cook") or cook_of.get((said.get("of_run"), said.get("of_seq")), "")
        if cook:
            cook_of[said["run"], said["seq"]] = cook
            yield cook, text


def meal_entries(reader: Reader, cook: str) -> list[Entry]:
    """Return what was entered of the meal of a cook since, and what took it back."""
    return [load_entry(json.loads(text)) for known, text in _meals(reader) if known == cook]


def meal_of(reader: Reader, entry: Entry) -> list[Entry]:
    """Return all that was entered of the meal that an entry is of, nothing where it is of none."""
    kept = [(cook, load_entry(json.loads(text))) for cook, text in _meals(reader)]
    cook = next((cook for cook, one in kept if one.id == entry.id), None)
    return [one for known, one in kept if known == cook]


def past_entries(reader: Reader) -> Iterator[tuple[str, list[Entry]]]:
    """Yield the id and the entries of each cook, oldest first."""
    for cook, texts in past_texts(reader):
        yield cook, [load_entry(json.loads(text)) for text in texts]


def journals_text(reader: Reader) -> str:
    """Return the journals as one JSON document, put together from the texts as stored."""
    rows = (
        f'{{"cook":{json.dumps(cook)},"entries":[{",".join(texts)}]}}'
        for cook, texts in past_texts(reader)
    )
    return f"[{','.join(rows)}]"
