"""A cook as a capture: SenML, one pack a line, that replays to the same journal and alerts.

Readings are written as delivered; what the engine made of them it makes again. Decisions are
written as ``journal`` records, so that who made them and when is kept.
"""

from __future__ import annotations

import heapq
import json
from collections.abc import Iterable, Iterator
from dataclasses import replace
from typing import Any

from pitlogger.engine.restart import as_inputs
from pitlogger.formats.journal_json import dump_entry
from pitlogger.model import journal
from pitlogger.model.cooks import Channel
from pitlogger.model.folding import last_ms_of
from pitlogger.model.quantities import Quantity
from pitlogger.model.readings import FOUND_BY_ENGINE, SENML_UNIT, Quality
from pitlogger.store.queries import Reader
from pitlogger.store.rows import StoredReading

RECORDS_A_PACK = 100
_NEVER_MS = 1 << 62
_HAS_VALUE = FOUND_BY_ENGINE | {Quality.GOOD}


def capture_lines(reader: Reader, cook: str) -> Iterator[str]:
    """Yield the lines of a cook's capture.

    Args:
        reader: Of the store, used from one thread.
        cook: Cook id.
    """
    entries = reader.entries(cook=cook)
    if not entries:
        return
    units = _units(entries)
    finished = any(isinstance(entry.body, journal.CookFinished) for entry in entries)
    first_ms, end_ms = entries[0].t_ms, last_ms_of(entries) + 1 if finished else _NEVER_MS
    runs = list(dict.fromkeys(entry.run for entry in entries))
    readings = (
        reading for run in runs for reading in reader.readings(None, first_ms, end_ms, run=run)
    )
    # Of one millisecond: what was wrong by then, the cook's start, what was read, then what was
    # decided upon it.
    told = (*_standing(reader, entries[0]), *entries)
    records = heapq.merge(
        (((entry.t_ms, _rank(entry)), record) for entry in told for record in _decision(entry)),
        (((reading.t_ms, 2), _reading(reading, units)) for reading in readings),
        key=lambda item: item[0],
    )
    yield from _packs(record for _, record in records)


def _standing(reader: Reader, first: journal.Entry) -> list[journal.Entry]:
    """Return what was wrong with node and devices when the cook began, as reported at its start.

    People act on it during the cook, so a replay has to know of it.
    """
    standing: dict[str, journal.Entry] = {}
    for entry in reader.entries(run=first.run, kinds=("trouble-changed", "device-changed")):
        if entry.seq >= first.seq:
            break
        body = entry.body
        if isinstance(body, journal.TroubleChanged):
            subject, is_wrong = f"{body.alert}/{body.subject}", body.active
        else:
            assert isinstance(body, journal.DeviceChanged)
            subject, is_wrong = f"device-lost/{body.device}", body.status == "lost"
        standing.pop(subject, None)
        if is_wrong:
            standing[subject] = replace(entry, t_ms=first.t_ms)
    return list(standing.values())


def _is_of_node(body: journal.Body) -> bool:
    """Return whether it is about overdue checks: they are reported once a node, in no replay."""
    if isinstance(body, journal.TroubleChanged):
        return body.alert == "check-overdue"
    return isinstance(body, journal.AlertActed) and body.alert.startswith("check-overdue/")


def _rank(entry: journal.Entry) -> int:
    if isinstance(entry.body, journal.CookStarted):
        return 1
    return 0 if isinstance(entry.body, journal.TroubleChanged | journal.DeviceChanged) else 3


def _packs(records: Iterable[dict[str, Any]]) -> Iterator[str]:
    pack: list[dict[str, Any]] = []
    for record in records:
        pack.append(record)
        if len(pack) == RECORDS_A_PACK:
            yield _line(pack)
            pack = []
    if pack:
        yield _line(pack)


def _line(pack: list[dict[str, Any]]) -> str:
    return json.dumps(pack, ensure_ascii=False, separators=(",", ":")) + "\n"


def _units(entries: Iterable[journal.Entry]) -> dict[str, tuple[str, int]]:
    """Return the SenML unit and scale of each channel that is no thermometer."""
    units = {}
    for entry in entries:
        if isinstance(entry.body, journal.CookStarted):
            named: tuple[Channel, ...] = entry.body.cook.channels
        elif (
            isinstance(entry.body, journal.ChannelAssigned)
            and entry.body.channel.quantity is not None
        ):
            named = (entry.body.channel,)
        else:
            continue
        for channel in named:
            quantity = channel.quantity or channel.site.usual_quantity
            units[channel.id] = SENML_UNIT.get(quantity, SENML_UNIT[Quantity.TEMPERATURE])
    return units


def _reading(reading: StoredReading, units: dict[str, tuple[str, int]]) -> dict[str, Any]:
    t_s = reading.t_ms / 1000
    if reading.raw is None or reading.quality not in _HAS_VALUE:
        return {"n": reading.channel, "vs": f"!{reading.quality.value}", "t": t_s}
    unit, milli = units.get(reading.channel, SENML_UNIT[Quantity.TEMPERATURE])
    return {"n": reading.channel, "u": unit, "v": reading.raw / milli, "t": t_s}


def _decision(entry: journal.Entry) -> list[dict[str, Any]]:
    """Return the record of an entry that was an input; what the engine concluded has none."""
    is_doubt = isinstance(entry.body, journal.ChannelDoubted)  # verdicts on the capture rest on it
    concluded = not is_doubt and not as_inputs([entry])
    if concluded or isinstance(entry.body, journal.ForecastMade) or _is_of_node(entry.body):
        return []
    text = json.dumps(dump_entry(entry), ensure_ascii=False, separators=(",", ":"))
    return [{"n": "journal", "vs": text, "t": entry.t_ms / 1000}]
