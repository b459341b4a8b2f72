"""From a session to the text of a declaration, read once by the driver it is for."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from pitlogger.devices.contract import Chunk, Measurement
from pitlogger.devices.declaring import written
from pitlogger.devices.declaring.session import Seen, Session, behaviour
from pitlogger.devices.declaring.written import Proposal
from pitlogger.devices.decoders import DecodeOptions, load
from pitlogger.errors import RefusedError
from pitlogger.model.quantities import Quantity


@dataclass(frozen=True, slots=True)
class Conclusion:
    """What a session came to.

    Attributes:
        text: The TOML file.
        moves: How the bytes of each kind of frame behaved; empty for lines.
    """

    text: str
    proposal: Proposal
    moves: dict[str, list[str]]


def conclude(
    session: Session,
    seen: Seen,
    name: str,
    channel: str,
    source_of: Callable[[str], Mapping[str, Any]],
    before: str | None = None,
) -> Conclusion:
    """Return the declaration that follows from a session's moments.

    Args:
        name: Of the declared device.
        channel: Name of the value; empty for ``probe``, or ``mass`` on a scale.
        source_of: Returns the keys of ``[source]`` for the sender of a value.
        before: Text of a file that gets one value more.

    Raises:
        RefusedError: Too few moments, nothing that meets them, or a file about something else.
    """
    proposal = session.proposal()
    data = behaviour(seen)
    if proposal is None:
        moved = "".join(f"\n  {kind}: {' '.join(ways)}" for kind, ways in data.items())
        if seen.sends_lines and seen.frames():
            moved = f"; its last line was {seen.frames()[-1].data!r}"
        raise RefusedError(
            f"nothing that was sent meets all {len(session.moments)} references within "
            f"{session.within:g}: wait until the reference is steady, or widen --within{moved}"
        )
    quantity = session.quantity or Quantity.TEMPERATURE
    sender = written.sender_of(proposal)
    described = written.Described(
        slug(name),
        slug(channel) or ("mass" if quantity is Quantity.MASS else "probe"),
        source_of(sender),
        seen.gap_s(sender),
    )
    if before is None:
        text = written.declaration(proposal, quantity, described)
    else:
        text = written.with_value(before, proposal, quantity, described)
    _check(text, proposal, described.channel, seen)
    return Conclusion(text, proposal, data)


def _check(text: str, proposal: Proposal, channel: str, seen: Seen) -> None:
    """Refuse a text that gives no such value from what was seen."""
    decoder = load("declared").build(DecodeOptions(declaration=text))
    for frame in written.frames_of(proposal, seen.frames()):
        for found in decoder.feed(Chunk("", frame)):
            if isinstance(found, Measurement) and found.channel == channel:
                return
    raise RefusedError(
        f"the file would not read '{channel}' from what came: it describes other frames; "
        "write this value into a file of its own"
    )


def slug(name: str) -> str:
    """Return a name as declarations have them."""
    word = "".join(char if char.isascii() and char.isalnum() else "-" for char in name.casefold())
    return word.strip("-")[:32]
