"""Bundles: what a node sends of its record to a hub, as CBOR.

    v        1              version; a hub takes its own and the one before, once there is one
    node     text           id of the node
    n        integer        number of the bundle in this life of the node, from 1
    run      text           the run all of it belongs to
    row      map            the run's row, under the names of its fields
    clock    [[from_ms, offset_ms, trusted, rev]]
    s        [[channel, quantity, block_ms, rev, readings, data, n, mean, low, high]]
    j        [[seq, t_ms, kind, initials, key, cook, text]]
    lost     [[from_ms, to_ms, readings, reason]]
    now      [t_ms, alarms, text]   how things stand, JSON; or null
    held     [[run, seq, entries, from_ms, to_ms, spans]]   what was confirmed; now and then

``data`` is a packed span as the store keeps it (``store/packing.py``), n, mean, low and high its
ten minutes; minutes without good readings are null. The text of an entry is what the node wrote, to
the byte. ``held`` asks whether the hub still has what it confirmed: so many entries of a run up
to ``seq``, so many spans of blocks from ``from_ms`` to before ``to_ms``. Further keys are passed
over, so that a newer node may say more.
"""

from __future__ import annotations

from array import array
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any, TypeVar

import cbor2

from pitlogger.errors import BundleError, HubFullError
from pitlogger.formats.cose import read_cbor

VERSION = 1
VERSIONS = (VERSION,)
MOST_BYTES = 256 * 1024
MINUTES = 10
_FOUR_OF_MINUTES = [MINUTES] * 4
_INTEGER = 1 << 62
_COUNT = 1 << 31
# ms from 1970, years 1413 to 3084: with an offset as long a date can still be written
_EARLIEST, _LATEST = -(1 << 44), 1 << 45
MOST_HELD = 200
_COUNTS = frozenset({"rev", "readings", "alarms"})
Part = TypeVar("Part")
Fits = Callable[[Sequence[Any]], bool]  # of the values of one field, one or more


@dataclass(frozen=True, slots=True)
class RunPart:
    """The row of a run; see ``store/rows.py``."""

    boot_id: str
    start_ms: int
    start_monotonic_ms: int
    version: str
    utc_trusted: bool
    end_ms: int | None
    name: str
    rev: int = 0


@dataclass(frozen=True, slots=True)
class ClockPart:
    """From ``from_ms`` on, UTC is engine time plus ``offset_ms``."""

    from_ms: int
    offset_ms: int
    trusted: bool
    rev: int


@dataclass(frozen=True, slots=True)
class SpanPart:
    """Ten minutes of one channel. Minutes: lists of ten, milli-units; null where none was good."""

    channel: str
    quantity: str | None
    block_ms: int
    rev: int
    readings: int
    data: bytes
    n: tuple[int | None, ...]
    mean: tuple[int | None, ...]
    low: tuple[int | None, ...]
    high: tuple[int | None, ...]


@dataclass(frozen=True, slots=True)
class EntryPart:
    """A journal entry; ``text`` is its JSON as the node keeps it."""

    seq: int
    t_ms: int
    kind: str
    initials: str
    key: str | None
    cook: str | None
    text: str


@dataclass(frozen=True, slots=True)
class LostPart:
    """Readings that the node could not keep."""

    from_ms: int
    to_ms: int
    readings: int
    reason: str


@dataclass(frozen=True, slots=True)
class NowPart:
    """How things stand at a node: when, how many alarms stand, the rest as JSON."""

    t_ms: int
    alarms: int
    text: str


@dataclass(frozen=True, slots=True)
class HeldPart:
    """What was confirmed of a run: ``entries`` up to ``seq``, and ``spans`` of some blocks."""

    run: str
    seq: int
    entries: int
    from_ms: int
    to_ms: int
    spans: int


@dataclass(frozen=True, slots=True)
class Bundle:
    """Records of one run of one node."""

    node: str
    number: int
    run: str
    row: RunPart
    clocks: tuple[ClockPart, ...] = ()
    spans: tuple[SpanPart, ...] = ()
    entries: tuple[EntryPart, ...] = ()
    lost: tuple[LostPart, ...] = ()
    now: NowPart | None = None
    held: tuple[HeldPart, ...] = ()

    def __len__(self) -> int:
        return len(self.spans) + len(self.entries) + len(self.lost)


def dump_bundle(bundle: Bundle) -> bytes:
    """Return a bundle as CBOR."""
    row = bundle.row
    return cbor2.dumps({
        "v": VERSION, "node": bundle.node, "n": bundle.number, "run": bundle.run,
        "row": {name: getattr(row, name) for name in RunPart.__dataclass_fields__},
        "clock": [_items(part) for part in bundle.clocks],
        "s": [_items(part) for part in bundle.spans],
        "j": [_items(part) for part in bundle.entries],
        "lost": [_items(part) for part in bundle.lost],
        "now": None if bundle.now is None else _items(bundle.now),
        "held": [_items(part) for part in bundle.held],
    })  # fmt: skip


def load_bundle(payload: bytes) -> Bundle:
    """Return the bundle that a payload holds.

    Raises:
        BundleError: Too long, not CBOR, another version, or a part that does not fit its field.
        HubFullError: Of a newer version: to be kept by its node until this hub is upgraded.
    """
    if len(payload) > MOST_BYTES:
        raise BundleError(f"{len(payload)} bytes; a bundle has {MOST_BYTES} at most")
    given = read_cbor(payload)
    if not isinstance(given, dict):
        raise BundleError("not a map")
    version = given.get("v")
    if type(version) is int and version > VERSION:
        raise HubFullError(
            f"this hub reads bundles up to version {VERSION}, the node sends {version}:"
            " upgrade the hub; the node keeps its records until then"
        )
    if type(version) is not int or version not in VERSIONS:
        raise BundleError(f"version {version!a}; versions {VERSIONS} are read here")
    row, now = given.get("row"), given.get("now")
    if not isinstance(row, dict):
        raise BundleError("row: expected a map")
    bundle = Bundle(
        node=_text(given.get("node"), "node"),
        number=_whole(given.get("n"), "n"),
        run=_text(given.get("run"), "run"),
        row=_record(RunPart, [row.get(name) for name in RunPart.__dataclass_fields__], "row"),
        clocks=_records(ClockPart, given.get("clock"), "clock"),
        spans=tuple([_checked(span) for span in _records(SpanPart, given.get("s"), "s")]),
        entries=_records(EntryPart, given.get("j"), "j"),
        lost=_records(LostPart, given.get("lost"), "lost"),
        now=None if now is None else _record(NowPart, now, "now"),
        held=_records(HeldPart, given.get("held", ()), "held"),
    )
    held = [span.data for span in bundle.spans], [one.text for one in bundle.entries]
    if sum(len(one) for some in held for one in some) > len(payload):
        raise BundleError("holds more than its own bytes: by references to what stands once")
    if len(bundle.held) > MOST_HELD:
        raise BundleError(f"held: {len(bundle.held)} runs; {MOST_HELD} at most are looked for")
    return bundle


def _items(part: Any) -> list[Any]:
    return [getattr(part, name) for name in part.__dataclass_fields__]


def _records(kind: type[Part], given: Any, where: str) -> tuple[Part, ...]:
    if not isinstance(given, list | tuple):
        raise BundleError(f"{where}: expected a list")
    if _fit(kind, given):
        return tuple([_part(kind, row) for row in given])
    return tuple(_record(kind, row, where) for row in given)  # finds the one that does not fit


def _fit(kind: type, rows: Sequence[Any]) -> bool:
    """Return whether all rows fit; a column at a time this takes a third of the time."""
    fields = _fields(kind)
    if not all(type(row) is list and len(row) == len(fields) for row in rows):
        return False
    columns = zip(*rows, strict=True)
    return all(fits(column) for (_, fits, _), column in zip(fields, columns, strict=False))


def _record(kind: type[Part], given: Any, where: str) -> Part:
    fields = _fields(kind)  # type: ignore[arg-type]
    if not isinstance(given, list | tuple) or len(given) != len(fields):
        names = ", ".join(name for name, _, _ in fields)
        raise BundleError(f"{where}: expected {len(fields)} items: {names}")
    for (name, fits, expected), value in zip(fields, given, strict=True):
        if not fits((value,)):
            raise BundleError(f"{where}.{name}: expected {expected}, got {type(value).__name__}")
    return _part(kind, given)


def _part(kind: type[Part], given: Sequence[Any]) -> Part:
    if kind is not SpanPart:
        return kind(*given)
    return kind(*given[:-4], *map(tuple, given[-4:]))


@cache
def _fields(kind: type) -> tuple[tuple[str, Fits, str], ...]:
    """Return name, check and what is expected of each field of a part."""
    fields = kind.__dataclass_fields__  # type: ignore[attr-defined]
    return tuple(
        (name, *_KINDS["count" if name in _COUNTS else _kind_of(name, field.type)])
        for name, field in fields.items()
    )


def _kind_of(name: str, annotation: str) -> str:
    return annotation.replace("int", "time") if name.endswith("_ms") else annotation


def _checked(span: SpanPart) -> SpanPart:
    minutes = (span.n, span.mean, span.low, span.high)
    if list(map(len, minutes)) != _FOUR_OF_MINUTES:
        raise BundleError(f"s: a span has {MINUTES} minutes")
    if span.readings < 1 or not span.data:
        raise BundleError("s: a span has readings and their data")
    return span


def _all_of(kind: type) -> Fits:
    kinds = {kind}
    return lambda column: set(map(type, column)) == kinds


def _are_texts(column: Sequence[Any]) -> bool:
    return set(map(type, column)) == {str} and "\0" not in "".join(column)


def _are_whole(column: Sequence[Any]) -> bool:
    is_int = set(map(type, column)) == {int}
    return is_int and min(column) > -_INTEGER and max(column) < _INTEGER


def _are_counts(column: Sequence[Any]) -> bool:
    return set(map(type, column)) == {int} and min(column) >= 0 and max(column) < _COUNT


def _are_times(column: Sequence[Any]) -> bool:
    return set(map(type, column)) == {int} and min(column) > _EARLIEST and max(column) < _LATEST


def _are_lists(column: Sequence[Any]) -> bool:
    if not set(map(type, column)) <= {list, tuple}:
        return False
    for item in column:
        try:
            array("q", item)  # by far the fastest way to look at all of them
        except (TypeError, OverflowError):
            some = [value for value in item if value is not None]
            if some and not _are_whole(some):
                return False
    return True


def _or_none(fits: Fits) -> Fits:
    def fit(column: Sequence[Any]) -> bool:
        some = [value for value in column if value is not None]
        return not some or fits(some)

    return fit


def _text(value: Any, where: str) -> str:
    if not _are_texts((value,)):
        raise BundleError(f"{where}: expected {_TEXT}, got {type(value).__name__}")
    return str(value)


def _whole(value: Any, where: str) -> int:
    if not _are_whole((value,)):
        raise BundleError(f"{where}: expected {_WHOLE}, got {type(value).__name__}")
    return int(value)


_TEXT, _WHOLE = "text without a zero byte", "a whole number below 2^62"
# How a column of each type is checked; annotations are text here, see the import above.
_KINDS: dict[str, tuple[Fits, str]] = {
    "str": (_are_texts, _TEXT),
    "int": (_are_whole, _WHOLE),
    "count": (_are_counts, "a count below 2^31"),
    "time": (_are_times, "a time of the years 1413 to 3084"),
    "time | None": (_or_none(_are_times), "a time of the years 1413 to 3084, or nothing"),
    "bool": (_all_of(bool), "true or false"),
    "bytes": (_all_of(bytes), "bytes"),
    "str | None": (_or_none(_are_texts), f"{_TEXT}, or nothing"),
    "int | None": (_or_none(_are_whole), f"{_WHOLE}, or nothing"),
    "tuple[int | None, ...]": (_are_lists, "a list of whole numbers"),
}
