"""The food log: sheets of rows, corrective action in four parts, review, and a hash chain.

A row is never changed: a correction is a new row, and the old one stays, struck out. Each
link of the chain holds the hash of the one before it, so that a row changed, removed,
added or moved shows; a sign-off holds the hash of the last row reviewed, so that rows cut
from the end show too.

Sources: 9 CFR 417.5(a)(3), (b), (c) and (d) (what a record holds); 9 CFR 417.3(a) (the
four parts of corrective action); 21 CFR 11.10(e) (a change never hides what was there).
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal

from pitlogger.clock import rfc3339
from pitlogger.errors import RefusedError

Sheet = Literal[
    "receiving", "cold-hold", "cook", "hot-hold", "time", "cooling-reheat", "waste", "thermometers"
]
SHEETS: dict[Sheet, str] = {
    "receiving": "Receiving",
    "cold-hold": "Cold hold",
    "cook": "Cook",
    "hot-hold": "Hot hold and transport",
    "time": "Held by time",
    "cooling-reheat": "Cooling and reheat",
    "waste": "Discards and waste",
    "thermometers": "Thermometer checks",
}
# Entries that a cook's log holds though they may stand beside its cook.
LOGGED_KINDS = ("signed-off", "corrective-taken", "check-made", "adjusted")
DISPOSITIONS = ("discarded", "reheated", "kept", "used", "cooked-again", "held-for-review",
                "returned")  # fmt: skip
NO_LIMIT = ("receiving", "waste", "thermometers")  # sheets whose rows may have none
GENESIS = "0" * 64


@dataclass(frozen=True, slots=True)
class ShownIn:
    """The kitchen's units: ``F`` or ``C``; ``lb-oz``, ``lb``, ``oz``, ``kg`` or ``g``."""

    temperature: str = "F"
    mass: str = "lb-oz"


@dataclass(frozen=True, slots=True, kw_only=True)
class CorrectiveAction:
    """What was done about a limit not met: four parts, and who."""

    cause: str
    control_restored: str
    prevention: str
    disposition: str
    by: str
    at_ms: int
    id: tuple[str, int] | None = None  # of its journal entry
    alert: str | None = None  # the alert it answers, where it names one
    reason: str = ""  # why food was kept

    def missing(self) -> list[str]:
        """Return the names of the parts that are empty."""
        parts = ("cause", "control_restored", "prevention", "disposition", "by")
        return [part for part in parts if not getattr(self, part).strip()]

    def document(self) -> dict[str, Any]:
        return {
            "cause": self.cause,
            "control_restored": self.control_restored,
            "prevention": self.prevention,
            "disposition": self.disposition,
            "by": self.by,
            "at": rfc3339(self.at_ms),
            "id": None if self.id is None else list(self.id),
            "alert": self.alert,
            "reason": self.reason,
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class LogRow:
    """One row of a sheet.

    Attributes:
        id: (run, seq) of the journal entry it comes from, ``None`` for a computed verdict.
        observed_ms: When the value was read.
        entered_ms: When it was written down; both stand in the log where they differ.
        product: Piece, with its lot where there is one.
        piece: Its id alone; empty for a place or an instrument.
        value: What was read, with its unit, as text; never a mere pass or fail.
        limit: The limit in force then, as text, by value and not by reference.
        met: True, false, or ``None`` where it is not shown or nothing is judged.
        struck_by: The entry that corrected or undid this one.
        is_timed: Whether its time is known; of a cook from a pad it may not be.
    """

    sheet: Sheet
    id: tuple[str, int] | None
    observed_ms: int
    entered_ms: int
    by: str
    product: str
    what: str
    value: str
    limit: str = ""
    met: bool | None = None
    instrument: str = ""
    note: str = ""
    corrective: CorrectiveAction | None = None
    struck_by: tuple[str, int] | None = None
    piece: str = ""
    is_timed: bool = True

    def document(self) -> dict[str, Any]:
        return {
            "sheet": self.sheet,
            "id": None if self.id is None else list(self.id),
            "observed_at": rfc3339(self.observed_ms) if self.is_timed else None,
            "entered_at": rfc3339(self.entered_ms),
            "by": self.by,
            "product": self.product,
            "piece": self.piece or None,
            "what": self.what,
            "value": self.value,
            "limit": self.limit,
            "met": self.met,
            "instrument": self.instrument,
            "note": self.note,
            "corrective": None if self.corrective is None else self.corrective.document(),
            "struck_by": None if self.struck_by is None else list(self.struck_by),
        }


def missing(row: LogRow) -> list[str]:
    """Return what a row lacks as a record, as fields of it.

    A computed verdict needs no initials: it is no entry of a person.
    """
    lacking = [name for name in ("product", "value") if not getattr(row, name).strip()]
    if row.id is not None and not row.by.strip():
        lacking.append("by")
    if row.sheet not in NO_LIMIT and not row.limit.strip():
        lacking.append("limit")
    if row.met is False and row.struck_by is None:
        if row.corrective is None:
            lacking.append("corrective")
        else:
            lacking += [f"corrective.{part}" for part in row.corrective.missing()]
    return lacking


@dataclass(frozen=True, slots=True)
class ChainLink:
    """One link of the chain: a payload, the hash before it and its own."""

    seq: int
    previous: str
    payload: Mapping[str, Any]
    hash: str


def link_hash(previous: str, payload: Mapping[str, Any]) -> str:
    """Return the hash of a payload after the hash before it.

    SHA-256 of the hash before, a line feed and the payload as JSON with sorted keys, no
    spaces and UTF-8 text: anyone can compute it again.
    """
    text = json.dumps(payload, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    return hashlib.sha256(f"{previous}\n{text}".encode()).hexdigest()


def chain(payloads: Iterable[Mapping[str, Any]], previous: str = GENESIS) -> list[ChainLink]:
    """Return payloads as linked rows, the first one after ``previous``."""
    links: list[ChainLink] = []
    for seq, payload in enumerate(payloads, start=1):
        made = link_hash(previous, payload)
        links.append(ChainLink(seq, previous, payload, made))
        previous = made
    return links


@dataclass(frozen=True, slots=True)
class SignOff:
    """A review of the record up to a link; ``head`` is that link's hash.

    Source: 9 CFR 417.5(c): reviewed before shipment, signed and dated, where practicable by
    another person than the one who made the entries (last clause from memory).
    """

    by: str
    at_ms: int
    seq: int
    head: str
    name: str = ""


def sign(links: Sequence[ChainLink], by: str, at_ms: int) -> SignOff:
    """Return the sign-off of a whole chain.

    Raises:
        RefusedError: No initials, nothing to sign, or a chain that does not hold.
    """
    if not by.strip():
        raise RefusedError("a review is signed: give the initials of who reviewed it (--by)")
    if not links:
        raise RefusedError("the record is empty: there is nothing to sign")
    if faults := verify(links):
        raise RefusedError(f"the record does not hold and is not signed: {faults[0]}")
    return SignOff(by, at_ms, links[-1].seq, links[-1].hash)


def verify(links: Sequence[ChainLink], signed: Iterable[SignOff] = ()) -> list[str]:
    """Return every fault of a chain, in words; an empty list where it holds."""
    faults: list[str] = []
    previous = links[0].previous if links else GENESIS
    if previous != GENESIS:
        faults.append("the first row is missing: the chain does not begin at its start")
    for position, held in enumerate(links, start=1):
        if held.seq != position:
            faults.append(f"row {position} is numbered {held.seq}: a row is missing or moved")
        if held.previous != previous:
            faults.append(f"row {held.seq} does not follow the row before it")
        if link_hash(held.previous, held.payload) != held.hash:
            faults.append(f"row {held.seq} was changed after it was written")
        previous = held.hash
    for review in signed:
        if review.seq > len(links):
            faults.append(
                f"rows up to {review.seq} were signed by {review.by} and "
                f"{review.seq - len(links)} of them are missing at the end"
            )
        elif links[review.seq - 1].hash != review.head:
            faults.append(f"row {review.seq} is not the one {review.by} signed")
    return faults


def unanswered(rows: Iterable[LogRow]) -> Iterator[str]:
    """Yield each limit that was not met and has no corrective action in four parts, in words."""
    for row in rows:
        if row.met is not False or row.struck_by is not None:
            continue
        if row.corrective is None:
            yield f"{row.product}, {row.what} ({row.value})"
        elif lacking := row.corrective.missing():
            parts = ", ".join(part.replace("_", " ") for part in lacking)
            yield f"{row.product}, {row.what} ({row.corrective.disposition}, without its {parts})"


def review_notes(rows: Sequence[LogRow], by: str) -> list[str]:
    """Return what a reviewer should know before signing: gaps, and rows of their own."""
    notes = [
        f"{row.product}, {row.what}: {', '.join(lacking)} missing"
        for row in rows
        if (lacking := missing(row))
    ]
    notes += [
        f"{row.product}, {row.what} is not shown"
        for row in rows
        if row.id is None and row.met is None
    ]
    if any(row.by == by for row in rows):
        notes.append(f"{by} made some of these entries: better another person")
    return notes
