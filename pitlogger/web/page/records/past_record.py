"""Questions to the record of past cooks."""

from __future__ import annotations

import asyncio
import json
from collections.abc import Callable
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path
from typing import TypeVar
from weakref import WeakKeyDictionary

from pitlogger.formats.journal_json import load_entry
from pitlogger.model.book import Book
from pitlogger.model.folding import fold
from pitlogger.planning.past import PastCooks
from pitlogger.store.queries import Reader
from pitlogger.uplink.offers import read_offer
from pitlogger.views.node import Node
from pitlogger.web.past_entries import past_entries, past_texts

Answer = TypeVar("Answer")


async def books(daemon: Node) -> list[Book]:
    """Return the book of each cook on record, oldest first."""

    def read(reader: Reader) -> list[Book]:
        return [fold(entries) for _, entries in past_entries(reader)]

    return await daemon.ask(read)


@dataclass(frozen=True, slots=True)
class _Read:
    """The record as it was read, by the digest of its texts, and what it teaches."""

    digest: bytes
    past: PastCooks


_READ: WeakKeyDictionary[Node, _Read] = WeakKeyDictionary()


async def past_of(daemon: Node) -> PastCooks:
    """Return what the node's record teaches; worked out again only where the record changed."""
    texts = await daemon.ask(lambda reader: list(past_texts(reader)))
    kept = _READ.get(daemon)
    read = await asyncio.to_thread(_read, texts, kept, daemon.config.node.data)
    _READ[daemon] = read
    return read.past


def _read(texts: list[tuple[str, list[str]]], kept: _Read | None, data: Path) -> _Read:
    offer = read_offer(data)
    digest = sha256(offer.model_dump_json().encode())
    for cook, entries in texts:
        digest.update("\x00".join((cook, *entries, "")).encode())
    if kept is not None and kept.digest == digest.digest():
        return kept
    known = [fold([load_entry(json.loads(text)) for text in entries]) for _, entries in texts]
    past = PastCooks.from_books(known, offer.priors())
    return _Read(digest.digest(), past)


async def from_record(daemon: Node, answer: Callable[[PastCooks], Answer]) -> Answer:
    """Return the answer to a question that learns from the node's record.

    Runs in a thread of its own: a plan takes a moment and must not hold up the logger.
    """
    past = await past_of(daemon)
    return await asyncio.to_thread(answer, past)
