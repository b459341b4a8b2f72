"""A device that was pointed at, on its way into files: what was found, in words and texts."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pitlogger.devices.pointing import block
from pitlogger.devices.pointing.evidence import Evidence
from pitlogger.devices.pointing.finding import Finding
from pitlogger.devices.pointing.watching import Tape
from pitlogger.devices.pointing.way import DeviceAccess
from pitlogger.errors import UsageError


@dataclass(frozen=True, slots=True)
class JoinedDevice:
    """A device that was pointed at; ``sites`` by channel, ``folder`` where its files go."""

    way: DeviceAccess
    tape: Tape
    evidence: Evidence
    finding: Finding
    name: str
    sites: dict[str, str]
    folder: Path

    @property
    def own(self) -> str:
        """Its id."""
        return slug(self.name or self.way.name) or "device"

    @property
    def channels(self) -> tuple[str, ...]:
        """Its channels."""
        return block.channels_of(self.finding, self.evidence.quantity)

    def written(self) -> block.Written:
        """Return its files, tried on what came.

        Raises:
            UsageError: A site is given to a channel that it does not have.
        """
        unknown = sorted(set(self.sites) - set(self.channels))
        if unknown:
            raise UsageError(f"site of {unknown[0]}: its channels are {', '.join(self.channels)}")
        own, way = self.own, self.way
        sender = self.finding.best.kind.source
        declared = self.folder / "declared" / f"{own}.toml"
        source, gap_s = way.source(sender), self.tape.gap_s(sender)
        text = block.declaration(self.finding, own, source, gap_s, self.evidence.quantity)
        block.check(text, self.finding, self.channels, tuple(self.evidence.all()))
        table = block.device_table(own, declared, way.keys(), self.channels, self.sites)
        recorded = block.capture(own, {"file": str(declared), **way.keys()}, self.tape.timed)
        captured = self.folder / "captures" / f"{own}.jsonl"
        files = {declared: text, captured: recorded, self.folder / f"{own}.toml": table}
        return block.Written(files, self.channels)

    def document(self, written: block.Written) -> dict[str, Any]:
        """Return what was found, for other programs."""
        finding = self.finding
        scale = finding.best.scale
        return {
            "device": self.own,
            "channels": list(self.channels),
            "place": str(finding.best.place),
            "unit": scale.unit,
            "scale": float(scale.scale),
            "add": float(scale.add),
            "sentinels": list(finding.sentinels),
            "confidence": round(finding.confidence, 3),
            "sure": finding.is_sure,
            "doubts": list(finding.doubts),
            "notes": list(finding.notes),
            "files": [str(path) for path in written.files],
        }

    def in_words(self) -> list[str]:
        """Return what was found, and what cannot be determined, a line each."""
        finding, lines = self.finding, []
        for probe, channel in zip(finding.probes, self.channels, strict=True):
            doubt = "" if probe.is_sure else "  (perhaps)"
            lines.append(f"{channel}: {probe.candidate.place}{doubt}")
        scale = finding.best.scale
        add = f" {scale.add:+f}" if scale.add else ""
        lines.append(
            f"raw x {scale.scale:f}{add} {scale.unit}; {100 * finding.confidence:.0f} % sure"
        )
        if finding.sentinels:
            lines.append(f"no probe: {', '.join(str(raw) for raw in finding.sentinels)}")
        lines += [f"doubt: {doubt}" for doubt in finding.doubts]
        return [*lines, *finding.notes]


def slug(name: str) -> str:
    """Return a name as declarations have them."""
    word = "".join(char if char.isascii() and char.isalnum() else "-" for char in name.casefold())
    return word.strip("-")[:32]
