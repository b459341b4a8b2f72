"""Signing a food log off: refused while a limit was not met and nobody said what was done."""

from __future__ import annotations

from pitlogger.errors import RefusedError
from pitlogger.model.journal import Entry, SignedOff
from pitlogger.safety import record
from pitlogger.views.node import Node
from pitlogger.web.judged import judged, linked


async def sign_off(daemon: Node, cook: str | None, by: str, key: str) -> Entry:
    """Sign a cook's record and return the entry.

    Raises:
        RefusedError: No initials, a chain that does not hold, or limits that were not met and
            have no corrective action, each of them named.
    """
    found, links = await daemon.ask(lambda reader: linked(reader, cook))
    review = record.sign(links, by, daemon.clock.engine_ms())
    made = await judged(daemon, cook)
    if unanswered := list(record.unanswered(made.rows)):
        raise RefusedError(
            f"not signed: {len(unanswered)} limit(s) not met without corrective action: "
            f"{'; '.join(unanswered)}. Write corrective action for each, then sign"
        )
    return await daemon.submit(SignedOff(found.id, review.seq, review.head), by, key)
