"""The files of a device that was pointed at: its declaration, its table, what it sent."""

from __future__ import annotations

import io
import math
import os
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path
from typing import Any

from pitlogger.devices.contract import Chunk, Measurement
from pitlogger.devices.decoders import DecodeOptions, load
from pitlogger.devices.pointing.finding import Finding
from pitlogger.devices.pointing.places import Field, LineField
from pitlogger.devices.transports.recording import Header, TimedChunk, write_chunk, write_header
from pitlogger.errors import RefusedError
from pitlogger.formats.toml_text import toml_table
from pitlogger.model.quantities import Quantity

FOLDER = "devices.d"
_NO_NUMBER = r"[+-]?(?i:nan|inf)|--[-.]*"  # what is customarily printed in place of one
_STEPS_S = (1, 2, 3, 5, 10, 15, 30, 60, 120, 300, 600, 1800, 3600)


@dataclass(frozen=True, slots=True)
class Written:
    """The texts, each with its file: what a person is asked to agree to."""

    files: dict[Path, str]
    channels: tuple[str, ...]

    def put(self) -> None:
        """Write them all; each whole or not at all.

        Raises:
            RefusedError: One is there already, or the folder may not be written.
        """
        for path in self.files:
            if path.exists():
                raise RefusedError(f"{path} exists already: give the device another --name")
        try:
            for path, text in self.files.items():
                path.parent.mkdir(parents=True, exist_ok=True)
                fresh = path.with_suffix(".new")
                fresh.write_text(text, encoding="utf-8")
                os.replace(fresh, path)
        except PermissionError as error:
            raise RefusedError(
                f"{error.filename} may not be written by this user: do it as the service's own, "
                "sudo -u pitlogger pitlogger devices point ..., or name a folder with --folder"
            ) from None


def channels_of(finding: Finding, quantity: Quantity) -> tuple[str, ...]:
    """Return the names of the channels, the one that was pointed at first."""
    if quantity is Quantity.MASS:
        return ("mass", *(f"mass-{n}" for n in range(2, len(finding.probes) + 1)))
    return tuple(f"probe-{n}" for n in range(1, len(finding.probes) + 1))


def declaration(
    finding: Finding, name: str, source: Mapping[str, Any], gap_s: float, quantity: Quantity
) -> str:
    """Return the text of the declaration, with the doubts as comments."""
    best = finding.best
    head = [
        f"# Found by pointing at it; {100 * finding.confidence:.0f} % sure"
        + ("" if finding.is_sure else ", with doubts") + ".",
        *(f"# Doubt: {doubt}." for doubt in finding.doubts),
        *(f"# {note}." for note in finding.notes),
    ]  # fmt: skip
    keys = {**source, "interval_s": usual_interval_s(gap_s)}
    if isinstance(best.place, LineField):
        keys["line"] = _line(finding)
    parts = ["\n".join(head) + "\n" + toml_table("", {"name": name}), toml_table("[source]", keys)]
    if not isinstance(best.place, LineField):
        frame: dict[str, Any] = {"length": best.kind.length}
        if best.kind.prefix:
            frame["prefix"] = best.kind.prefix.hex()
        if finding.needs_exact_length:
            frame["exact"] = True
        parts.append(toml_table("[frame]", frame))
    for probe, channel in zip(finding.probes, channels_of(finding, quantity), strict=True):
        parts.append(_value(probe.candidate.place, finding, channel))
    return "\n".join(parts)


def _value(place: object, finding: Finding, channel: str) -> str:
    scale = finding.best.scale
    entries: dict[str, Any] = {"channel": channel}
    if isinstance(place, Field):
        entries |= {"at": place.at, "type": place.type, "order": place.order}
    elif isinstance(place, LineField):
        entries["group"] = f"f{place.field + 1}"
    entries |= {"unit": scale.unit, "scale": scale.scale}
    if scale.add != Decimal(0):
        entries["add"] = scale.add
    if finding.sentinels:
        entries["sentinels"] = list(finding.sentinels)
    return toml_table("[[value]]", entries)


def _line(finding: Finding) -> str:
    """Return the pattern of a line, with a group for each probe's field, number or none."""
    place = finding.best.place
    assert isinstance(place, LineField)
    wanted = {
        p.candidate.place.field for p in finding.probes if isinstance(p.candidate.place, LineField)
    }
    stuff = rf"[^{place.shape.separator}]*" if place.shape.separator else r"\S*"

    def taken(n: int) -> str:
        forms = (
            rf"{stuff}?(?P<f{n + 1}>{form}){stuff}" for form in (place.shape.number, _NO_NUMBER)
        )
        return f"(?:{'|'.join(forms)})"

    parts = [taken(n) if n in wanted else stuff for n in range(place.shape.fields)]
    between = {"": r"\s+", "\t": r"\t"}.get(place.shape.separator, place.shape.separator)
    return between.join(parts)


def device_table(
    name: str, declared: Path, keys: Mapping[str, str], channels: Sequence[str],
    sites: Mapping[str, str],
) -> str:  # fmt: skip
    """Return the ``[[device]]`` table with a table a channel."""
    device = {"id": name, "driver": "declared", "file": str(declared), **keys}
    parts = [toml_table("[[device]]", device)]
    for channel in channels:
        entries = {"id": f"{name}/{channel}", "name": channel}
        if channel in sites:
            entries["site"] = sites[channel]
        elif channel.startswith("mass"):
            entries["site"] = "bench"
        parts.append(toml_table("[[device.channel]]", entries))
    return "\n".join(parts)


def capture(name: str, config: Mapping[str, Any], timed: Sequence[tuple[float, Chunk]]) -> str:
    """Return what came as the text of a recording, to be kept as a fixture."""
    sink = io.StringIO()
    write_header(sink, Header("declared", name, config=dict(config), notes="kept by pointing"))
    began_s = timed[0][0] if timed else 0.0
    for at_s, chunk in timed:
        data = chunk.data + b"\n" if config.get("port") else chunk.data
        write_chunk(sink, TimedChunk(round((at_s - began_s) * 1000), Chunk(chunk.source, data)))
    return sink.getvalue()


def check(text: str, finding: Finding, channels: Sequence[str], chunks: Sequence[Chunk]) -> None:
    """Refuse a declaration that does not read what came.

    Raises:
        RefusedError: It gives no such value.
    """
    decoder = load("declared").build(DecodeOptions(declaration=text))
    for chunk in chunks:
        if not finding.best.kind.covers(chunk):
            continue
        data = chunk.data + b"\n" if finding.best.kind.is_line else chunk.data
        for found in decoder.feed(Chunk("", data)):
            if isinstance(found, Measurement) and found.channel == channels[0]:
                return
    raise RefusedError("the declaration would not read what came; nothing was written")


def usual_interval_s(gap_s: float) -> int:
    """Return a round interval that the longest pause seen stays within."""
    wanted_s = max(1, math.ceil(1.5 * gap_s))
    return next((step_s for step_s in _STEPS_S if step_s >= wanted_s), wanted_s)
