"""What a received bundle puts into the tables: rows, plain values in the order of the columns."""

from __future__ import annotations

import json
from operator import attrgetter
from typing import Annotated, Any

from pydantic import BaseModel, Field, ValidationError

from pitlogger.clock import wall_ms
from pitlogger.errors import BundleError
from pitlogger.formats.bundle import ClockPart, EntryPart, LostPart, RunPart
from pitlogger.hub.receive import ReceivedBundle
from pitlogger.store.packing import packed_count

Row = tuple[Any, ...]

JOURNAL = ("tenant", "node", "run", "seq", "t_ms", "utc_ms", "kind", "initials", "request_key",
           "cook", "alert_kind", "alert_state", "entry")  # fmt: skip
SPAN = ("tenant", "node", "run", "channel", "quantity", "block_ms", "rev", "readings", "data",
        "n", "mean", "low", "high")  # fmt: skip
RUN = ("tenant", "node", "run", "boot_id", "start_ms", "start_monotonic_ms", "version",
       "utc_trusted", "end_ms", "name", "rev")  # fmt: skip
CLOCK = ("tenant", "node", "run", "from_ms", "offset_ms", "trusted", "rev")
LOST = ("tenant", "node", "run", "from_ms", "to_ms", "readings", "reason")
Time = Annotated[int, Field(strict=True, gt=-(1 << 44), lt=1 << 45)]
Degrees = Annotated[int, Field(strict=True, gt=-(1 << 31), lt=1 << 31)]


class _Piece(BaseModel):
    id: str
    stage: str
    core_mc: Degrees | None


class _Pit(BaseModel):
    mc: Degrees | None


class _Alert(BaseModel):
    kind: str
    subject: str
    since_ms: Time


class _Stands(BaseModel):
    """What the firm's page shows of a node; see ``uplink/now.py``."""

    pieces: list[_Piece]
    pits: list[_Pit]
    alerts: list[_Alert]


_OF_RUN, _OF_CLOCK, _OF_LOST = (
    attrgetter(*part.__dataclass_fields__) for part in (RunPart, ClockPart, LostPart)
)


def journal_rows(received: ReceivedBundle) -> list[Row]:
    """Return the rows of the entries.

    Raises:
        BundleError: The text of an entry is none, or says other than its columns.
    """
    return [_journal_row(received, entry) for entry in received.bundle.entries]


def _journal_row(received: ReceivedBundle, entry: EntryPart) -> Row:
    bundle = received.bundle
    try:
        said = json.loads(entry.text, parse_constant=_no_number)
        fits = type(said["seq"]) is type(said["t_ms"]) is int and (
            said["run"], said["seq"], said["t_ms"], said["kind"]
        ) == (bundle.run, entry.seq, entry.t_ms, entry.kind)  # fmt: skip
    except (ValueError, KeyError, TypeError, RecursionError):
        raise BundleError(f"entry {entry.seq}: its text is no journal entry") from None
    if not fits:
        raise BundleError(f"entry {entry.seq}: its text says other than its columns")
    is_alert = entry.kind == "alert-changed"
    return (
        received.node.tenant, received.node.id, bundle.run, entry.seq, entry.t_ms,
        wall_ms(bundle.clocks, entry.t_ms), entry.kind, entry.initials, entry.key, entry.cook,
        _word(said.get("alert_kind")) if is_alert else None,
        _word(said.get("now")) if is_alert else None, entry.text,
    )  # fmt: skip


def _no_number(text: str) -> None:
    raise ValueError(f"{text} is no JSON")


def standing_row(received: ReceivedBundle, at_ms: int) -> list[Row]:
    """Return the row of how things stand at a node, none where the bundle does not say.

    Raises:
        BundleError: What it says cannot be shown.
    """
    bundle, node, now = received.bundle, received.node, received.bundle.now
    if now is None:
        return []
    try:
        _Stands.model_validate_json(now.text)
    except ValidationError as fault:
        raise BundleError(f"now: {fault.errors()[0]['msg']}") from None
    return [(node.id, node.tenant, wall_ms(bundle.clocks, now.t_ms), at_ms, now.alarms, now.text,
             bundle.run, now.t_ms)]  # fmt: skip


def _word(said: object) -> str:
    """Return a word of an entry's text as a database can keep it."""
    return str(said).encode("utf-8", "replace").decode().replace("\0", "?")


def span_rows(received: ReceivedBundle) -> list[Row]:
    """Return the rows of the spans; minutes are ten each.

    Raises:
        BundleError: A span's data is no packed row, or of another number of readings.
    """
    rows = []
    for span in received.bundle.spans:
        count = packed_count(span.data)
        if count != span.readings:
            raise BundleError(f"span of {span.channel}: {count} readings, said {span.readings}")
        rows.append((
            received.node.tenant, received.node.id, received.bundle.run, span.channel,
            span.quantity, span.block_ms, span.rev, span.readings, span.data, span.n, span.mean,
            span.low, span.high,
        ))  # fmt: skip
    return rows


def run_row(received: ReceivedBundle) -> Row:
    """Return the row of the run."""
    head = (received.node.tenant, received.node.id, received.bundle.run)
    return (*head, *_OF_RUN(received.bundle.row))


def clock_rows(received: ReceivedBundle) -> list[Row]:
    """Return the rows of the clock."""
    head = (received.node.tenant, received.node.id, received.bundle.run)
    return [(*head, *_OF_CLOCK(clock)) for clock in received.bundle.clocks]


def lost_rows(received: ReceivedBundle) -> list[Row]:
    """Return the notes of readings that the node lost."""
    head = (received.node.tenant, received.node.id, received.bundle.run)
    return [(*head, *_OF_LOST(lost)) for lost in received.bundle.lost]
