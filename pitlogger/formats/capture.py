"""Capture files: readings and decisions as SenML, one pack a line.

Source: RFC 8428, Sensor Measurement Lists, sections 4 (fields and their resolution), 4.4
(version), 12.1 (units). A reading without a value carries its quality, ``"vs": "!open"``.
A decision's name ends in ``/stage``, ``/checkpoint/NAME``, ``/spot`` or ``/split``, or is
``journal`` with one JSON entry. Times are kept as given: a file has no "now" for small
ones to be relative to.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterable, Iterator, Sequence
from itertools import pairwise
from pathlib import Path
from typing import Any, NamedTuple, NoReturn

from pitlogger.clock import rfc3339
from pitlogger.errors import CaptureError, PitloggerError, unknown
from pitlogger.files import refuse_device
from pitlogger.formats.journal_json import load_body
from pitlogger.model.cooks import STAGE_ALIASES, WEIGHABLE, Piece, Stage
from pitlogger.model.journal import Body, PieceSplit, SpotRead, StageSet, Weighed
from pitlogger.model.quantities import Quantity
from pitlogger.model.readings import SENML_UNIT, Quality, Reading

_DAY_MS = 86_400_000
LONGEST_GAP_MS = 31 * _DAY_MS  # dry brining and ageing are weeks, no cook pauses a month
LONGEST_SPAN_MS = 100 * _DAY_MS  # of all together; each second of it is replayed
MOST_BYTES = 512 * 1024 * 1024  # three days of 16 channels each second are 250 MB
_LAST_MS = 253_402_300_799_000  # the end of the year 9999, the last that RFC 3339 can write


class Decision(NamedTuple):
    """A decision read from a capture; ``origin`` is the (run, seq) it once had."""

    t_ms: int
    body: Body
    by: str = ""
    key: str = ""
    origin: tuple[str, int] | None = None
    line: int = 0


Record = Reading | Decision

_BASE = frozenset({"bn", "bt", "bu", "bv", "bs", "bver"})
_VERSION = 10  # RFC 8428 section 4.4
_FACTOR: dict[str, tuple[Quantity, float, float]] = {
    unit: (quantity, float(milli), 0.0) for quantity, (unit, milli) in SENML_UNIT.items()
} | {"K": (Quantity.TEMPERATURE, 1000.0, -273.15), "g": (Quantity.MASS, 1000.0, 0.0)}
_QUALITIES = {f"!{quality.value}": quality for quality in Quality}


class Resolved(NamedTuple):
    """A record after its base fields are resolved (RFC 8428 section 4.6)."""

    name: str
    unit: str | None
    value: float | bool | str | None
    sum: float | None
    time_s: float


def resolve(pack: object) -> Iterator[Resolved]:
    """Yield the resolved records of one pack.

    Raises:
        ValueError: Not a pack, a newer version, a must-understand field, a wrong type.
    """
    if isinstance(pack, dict):
        pack = [pack]  # one bare record: a pack of one
    if not isinstance(pack, list):
        raise ValueError("expected a SenML pack, that is a JSON array of records")
    base: dict[str, Any] = {"bn": "", "bt": 0, "bu": None, "bv": 0, "bs": 0}
    for record in pack:
        if not isinstance(record, dict):
            raise ValueError(f"expected a record (a JSON object), got {json.dumps(record)[:40]}")
        if not _BASE.isdisjoint(record):
            _rebase(base, record)
        for field in record:
            if field.endswith("_"):
                raise ValueError(f"field '{field}' must be understood and is not known here")
        yield _resolved(record, base)


def _rebase(base: dict[str, Any], record: dict[str, Any]) -> None:
    for field in _BASE & record.keys():
        wanted = (str,) if field in ("bn", "bu") else (int, float)
        if not isinstance(record[field], wanted) or isinstance(record[field], bool):
            raise ValueError(f"'{field}' has the wrong type: {json.dumps(record[field])[:40]}")
        base[field] = record[field]
    if base.get("bver", _VERSION) > _VERSION:
        raise ValueError(
            f"SenML version {base['bver']} is newer than {_VERSION}, the one known here"
        )


def _resolved(record: dict[str, Any], base: dict[str, Any]) -> Resolved:
    name = base["bn"] + _typed(record, "n", str, "")
    if not name:
        raise ValueError("a record has no name: give 'n' or 'bn'")
    values = [field for field in ("v", "vs", "vb", "vd") if field in record]
    if len(values) > 1:
        raise ValueError(f"'{name}' has several values: {', '.join(values)}")
    if not values and "s" not in record and "bv" not in record and not base["bv"]:
        raise ValueError(f"'{name}' has no value: give one of v, vs, vb, vd or s")
    value: float | bool | str | None
    if "v" in record or (not values and base["bv"]):
        value = _number(record, "v", 0.0) + base["bv"]
    elif values:
        value = _typed(record, values[0], bool if values[0] == "vb" else str, None)
    else:
        value = None
    total = _number(record, "s", 0.0) + base["bs"] if "s" in record or base["bs"] else None
    return Resolved(
        name, _typed(record, "u", str, base["bu"]), value, total,
        _number(record, "t", 0.0) + base["bt"],
    )  # fmt: skip


def _typed(record: dict[str, Any], field: str, wanted: type, default: Any) -> Any:
    value = record.get(field, default)
    if field in record and not isinstance(value, wanted):
        raise ValueError(f"'{field}' has the wrong type: {json.dumps(value)[:40]}")
    return value


def _number(record: dict[str, Any], field: str, default: float) -> float:
    value = record.get(field, default)
    if isinstance(value, bool) or not isinstance(value, (int, float)) or not math.isfinite(value):
        raise ValueError(f"'{field}' is not a finite number: {str(value)[:40]}")
    return value


def read_capture(path: Path) -> list[Record]:
    """Return the readings and decisions of a capture file in order of time.

    Raises:
        CaptureError: With ``file:line``: the file or a line cannot be read.
    """
    try:
        refuse_device(path)
        with path.open("rb") as file:
            if (size := path.stat().st_size) > MOST_BYTES:
                raise CaptureError(
                    f"{path}: {size / 1e6:.0f} MB, expected at most {MOST_BYTES / 1e6:.0f} MB:"
                    " cut it into several files"
                )
            return parse_capture(file, str(path))
    except OSError as fault:
        raise CaptureError(f"{path}: cannot be read: {fault.strerror}") from None


def parse_capture(lines: Iterable[bytes], name: str = "capture") -> list[Record]:
    """Return the records of SenML lines in order of time; equal times keep their order."""
    records: list[Record] = []
    known: dict[tuple[Any, Any], tuple[str, float, float]] = {}
    loads = json.JSONDecoder(parse_constant=_no_constant).decode
    for number, line in enumerate(lines, start=1):
        if not line.strip():
            continue
        try:
            pack = loads(line.decode("utf-8"))
            if b"\\u" in line:  # the only way of what cannot be printed into JSON
                _refuse_unprintable(pack)
            # Most records of a long capture are plain: name, unit, value and time alone.
            if type(pack) is list and all(map(_is_plain, pack)):
                records.extend([_plain(record, known) for record in pack])
            else:
                records.extend(_record(resolved, number) for resolved in resolve(pack))
        except PitloggerError as fault:
            raise CaptureError(f"{name}:{number}: {fault}") from None
        except json.JSONDecodeError:
            raise CaptureError(f"{name}:{number}: not a SenML pack: it is no JSON") from None
        except (ValueError, OverflowError) as fault:
            raise CaptureError(f"{name}:{number}: not a SenML pack: {fault}") from None
        except RecursionError:
            raise CaptureError(f"{name}:{number}: not a SenML pack: nested too deeply") from None
    records.sort(key=_time)
    for record in (records[0], records[-1]) if records else ():
        if abs(_time(record)) > _LAST_MS:
            raise CaptureError(f"{name}: a time of {_time(record) / 1000:g} s is not in our era")
    _refuse_long_gap(records, name)
    return records


def _refuse_long_gap(records: Sequence[Record], name: str) -> None:
    """Refuse a pause that no cook has: a clock was wrong, or two captures are in one file."""
    span_ms = _time(records[-1]) - _time(records[0]) if records else 0
    if span_ms > LONGEST_GAP_MS:
        for before, after in pairwise(records):
            gap_ms = _time(after) - _time(before)
            if gap_ms > LONGEST_GAP_MS:
                raise CaptureError(
                    f"{name}: nothing for {gap_ms / _DAY_MS:.0f} days after"
                    f" {rfc3339(_time(before))}; expected at most {LONGEST_GAP_MS // _DAY_MS}: mend"
                    " the times, or cut the file there"
                )
    if span_ms > LONGEST_SPAN_MS:
        raise CaptureError(
            f"{name}: {span_ms / _DAY_MS:.0f} days in one file; expected at most"
            f" {LONGEST_SPAN_MS // _DAY_MS}: cut it between two cooks"
        )


def _refuse_unprintable(pack: object) -> None:
    """Refuse names and words that would steer a terminal or cannot be written at all.

    Raises:
        ValueError: A control character or half a character (RFC 8428 4.5.1 allows neither in
            a name).
    """
    for record in pack if isinstance(pack, list) else [pack]:
        for text in record.values() if isinstance(record, dict) else ():
            if isinstance(text, str) and not text.replace("\n", " ").isprintable():
                raise ValueError(f"there is a character that cannot be printed in {text!a:.40}")


def _time(record: Record) -> int:
    return record.t_ms


def _no_constant(word: str) -> NoReturn:
    raise ValueError(f"{word} is not a number in JSON")


_PLAIN = frozenset({"n", "u", "v", "t"})


def _is_plain(record: object) -> bool:
    return type(record) is dict and record.keys() == _PLAIN


def _plain(
    record: dict[str, Any], known: dict[tuple[Any, Any], tuple[str, float, float]]
) -> Record:
    key = (record["n"], record["u"])
    try:
        found = known.get(key)
    except TypeError:
        found = None
    value, time_s = record["v"], record["t"]
    if found is None or type(value) not in (int, float) or type(time_s) not in (int, float):
        resolved = next(resolve([record]))
        made = _record(resolved, 0)
        if isinstance(made, Reading):
            _, factor, offset = _FACTOR[str(resolved.unit)]
            known[key] = (made.channel, factor, offset)
        return made
    channel, factor, offset = found
    return Reading(channel, round(time_s * 1000), round((value + offset) * factor))


def _record(resolved: Resolved, line: int) -> Record:
    name = resolved.name
    t_ms = round(resolved.time_s * 1000)
    if name == "journal":
        return _journal(resolved, t_ms, line)
    subject, _, word = name.rpartition("/")
    if subject:
        if word == "stage":
            return Decision(t_ms, StageSet(subject, stage_of(_words(resolved)), t_ms), line=line)
        if word == "spot":
            value_mc = _milli(resolved, Quantity.TEMPERATURE)
            return Decision(t_ms, SpotRead(value_mc, t_ms, piece=subject), line=line)
        if word == "split":
            children = tuple(Piece(child.strip()) for child in _words(resolved).split(","))
            return Decision(t_ms, PieceSplit(subject, children), line=line)
        subject, _, checkpoint = subject.rpartition("/")
        if subject and checkpoint == "checkpoint":
            if word not in WEIGHABLE:
                raise ValueError(unknown("checkpoint", word, WEIGHABLE))
            mass_mg = _milli(resolved, Quantity.MASS)
            if mass_mg < 0:
                raise ValueError(f"'{name}' is below zero: a mass is zero or more")
            return Decision(t_ms, Weighed(subject, word, mass_mg, 0, t_ms), line=line)
    return _reading(resolved, t_ms)


def _reading(resolved: Resolved, t_ms: int) -> Reading:
    name, value = resolved.name, resolved.value
    if isinstance(value, str):
        quality = _QUALITIES.get(value)
        if quality is None:
            raise ValueError(
                f"'{name}' has the text value '{value[:40]}': a reading without a value carries "
                f"its quality, one of {', '.join(_QUALITIES)}"
            )
        return Reading(name, t_ms, None, quality)
    if not isinstance(value, (int, float)) or isinstance(value, bool):
        raise ValueError(f"'{name}' has no number as its value")
    return Reading(name, t_ms, _milli(resolved, None))


def _milli(resolved: Resolved, wanted: Quantity | None) -> int:
    """Return a record's value in milli-units, refusing units of another quantity."""
    if resolved.unit is None:
        raise ValueError(f"'{resolved.name}' has no unit: give 'u', one of {', '.join(_FACTOR)}")
    found = _FACTOR.get(resolved.unit)
    if found is None:
        raise ValueError(f"'{resolved.name}': {unknown('unit', resolved.unit, _FACTOR)}")
    quantity, factor, offset = found
    if wanted is not None and quantity is not wanted:
        raise ValueError(f"'{resolved.name}' is a {wanted} and cannot be in {resolved.unit}")
    if not isinstance(resolved.value, (int, float)) or isinstance(resolved.value, bool):
        raise ValueError(f"'{resolved.name}' has no number as its value")
    return round((resolved.value + offset) * factor)


def _words(resolved: Resolved) -> str:
    if not isinstance(resolved.value, str) or not resolved.value:
        raise ValueError(f"'{resolved.name}' needs its value as text in 'vs'")
    return resolved.value


def stage_of(word: str) -> Stage:
    """Return the stage a word names; aliases such as ``sliced`` included."""
    if word in STAGE_ALIASES:
        return STAGE_ALIASES[word]
    try:
        return Stage(word)
    except ValueError:
        raise ValueError(unknown("stage", word, [*Stage, *STAGE_ALIASES])) from None


def _journal(resolved: Resolved, t_ms: int, line: int) -> Decision:
    document = json.loads(_words(resolved))
    if not isinstance(document, dict):
        raise ValueError("'journal' needs one JSON object in 'vs'")
    envelope = {field: document.pop(field, None) for field in ("run", "seq", "t_ms", "by", "key")}
    origin = None
    if isinstance(envelope["run"], str) and isinstance(envelope["seq"], int):
        origin = (envelope["run"], envelope["seq"])
    body = load_body(document)
    return Decision(t_ms, body, envelope["by"] or "", envelope["key"] or "", origin, line)
