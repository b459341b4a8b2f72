"""A proposal as the TOML file of a declared device."""

from __future__ import annotations

import math
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from pitlogger.devices.contract import Chunk
from pitlogger.devices.declaring.frames import FrameProposal
from pitlogger.devices.declaring.lines import LineProposal
from pitlogger.devices.declaring.moments import BASE_UNIT
from pitlogger.devices.declaring.scales import LinearScale
from pitlogger.errors import RefusedError
from pitlogger.formats.toml_text import toml_table
from pitlogger.model.quantities import Quantity

Proposal = FrameProposal | LineProposal
_WHICH = frozenset(("kind", "characteristic", "company", "service"))
_STEPS_S = (1, 2, 3, 5, 10, 15, 30, 60, 120, 300, 600, 1800, 3600)


@dataclass(frozen=True, slots=True)
class Described:
    """What the file says beside the proposal.

    Attributes:
        source: Keys of ``[source]``: kind, and how the device is identified.
        gap_s: Longest pause seen between two values, seconds.
    """

    name: str
    channel: str
    source: Mapping[str, Any]
    gap_s: float


def declaration(proposal: Proposal, quantity: Quantity, described: Described) -> str:
    """Return the text of the file, with fit and doubts as comments."""
    source = {**described.source, "interval_s": usual_interval_s(described.gap_s)}
    if isinstance(proposal, LineProposal):
        source["line"] = proposal.pattern
    parts = [
        comments(proposal, quantity) + toml_table("", {"name": described.name}),
        toml_table("[source]", source),
    ]
    if isinstance(proposal, FrameProposal):
        kind = proposal.match.kind
        prefix = {"prefix": kind.prefix.hex()} if kind.prefix else {}
        parts.append(toml_table("[frame]", {"length": kind.length, **prefix}))
    parts.append(value_table(proposal, described.channel))
    return "\n".join(parts)


def value_table(proposal: Proposal, channel: str) -> str:
    """Return the ``[[value]]`` table alone, to add to a file."""
    if isinstance(proposal, LineProposal):
        place: dict[str, Any] = {"group": proposal.group}
    else:
        layout = proposal.match.layout
        place = {"at": layout.at, "type": layout.type, "order": layout.order}
    scale = scale_of(proposal)
    entries = {"channel": channel, **place, "unit": scale.unit, "scale": scale.scale}
    if scale.add:
        entries["add"] = scale.add
    if proposal.sentinels:
        entries["sentinels"] = list(proposal.sentinels)
    return toml_table("[[value]]", entries)


def with_value(before: str, proposal: Proposal, quantity: Quantity, described: Described) -> str:
    """Return the text of a file with one value more.

    Raises:
        RefusedError: The file is about another characteristic, advertisement or port.
    """
    source = tomllib.loads(before).get("source", {})
    for key, wanted in described.source.items():
        if source.get(key) != wanted and key in _WHICH:
            raise RefusedError(
                f"the file says {key} = {source.get(key)!r}, and the value comes from {wanted!r}: "
                "write it into a file of its own"
            )
    told = comments(proposal, quantity)
    return f"{before.rstrip()}\n\n{told}{value_table(proposal, described.channel)}"


def sender_of(proposal: Proposal) -> str:
    """Return the source the value comes from; empty for lines."""
    return "" if isinstance(proposal, LineProposal) else proposal.match.kind.source


def frames_of(proposal: Proposal, chunks: Sequence[Chunk]) -> list[bytes]:
    """Return the frames or lines that the proposal is about, each line with its end."""
    if isinstance(proposal, LineProposal):
        return [chunk.data + b"\n" for chunk in chunks]
    return [chunk.data for chunk in chunks if proposal.match.kind.covers(chunk)]


def scale_of(proposal: Proposal) -> LinearScale:
    """Return unit, scale and offset."""
    return proposal.scale if isinstance(proposal, LineProposal) else proposal.match.scale


def comments(proposal: Proposal, quantity: Quantity) -> str:
    """Return fit and doubts as comment lines."""
    return "".join(f"# {line}\n" for line in (fit_in_words(proposal, quantity), *doubts(proposal)))


def fit_in_words(proposal: Proposal, quantity: Quantity) -> str:
    """Return how well the proposal meets the references."""
    worst = scale_of(proposal).worst
    return (
        f"Proposed from {proposal.moments} moments; largest difference from the reference "
        f"{worst:.2g} {BASE_UNIT[quantity]}."
    )


def doubts(proposal: Proposal) -> Sequence[str]:
    """Return the doubts, each marked as one."""
    return [f"Doubt: {doubt}." for doubt in proposal.doubts]


def place_in_words(proposal: Proposal) -> str:
    """Return where the value stands and how it is read."""
    scale = scale_of(proposal)
    if isinstance(proposal, LineProposal):
        place = f"field {proposal.group[1:]} of the line"
    else:
        place = str(proposal.match.layout)
        if proposal.match.kind.source:
            place += f" of {proposal.match.kind.source}"
    add = "" if scale.add == Decimal(0) else f" {scale.add:+f}"
    return f"{place}: raw x {scale.scale:f}{add} {scale.unit}"


def usual_interval_s(gap_s: float) -> int:
    """Return a round interval that the longest pause seen stays within."""
    wanted_s = max(1, math.ceil(1.5 * gap_s))
    return next((step_s for step_s in _STEPS_S if step_s >= wanted_s), wanted_s)
