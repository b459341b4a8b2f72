"""Signing a food log off: refused while a limit was not met and nobody said what was done.

What is not shown, and entries the signer made, are asked about. The signer confirms by a PIN.
"""

from __future__ import annotations

from pitlogger.errors import RefusedError
from pitlogger.model.journal import Entry, SignedOff
from pitlogger.questions import NO_ANSWERS, Answers
from pitlogger.safety import record
from pitlogger.views.node import Node
from pitlogger.web.judged import judged, linked
from pitlogger.web.signers import Signers

SIGN_IT = "sign it as it is"
MOST_TOLD = 6


async def sign_off(
    daemon: Node, signers: Signers, cook: str | None, by: str, pin: str,
    key: str = "", answers: Answers = NO_ANSWERS,
) -> Entry:  # fmt: skip
    """Sign a cook's record and return the entry.

    Raises:
        UsageError: Initials that no signer has.
        RefusedError: No initials, a wrong PIN, a chain that does not hold, or limits that were
            not met and have no corrective action, each of them named.
        QuestionError: Something is not shown, or the signer made some of the entries.
    """
    if (known := await daemon.earlier(key)) is not None:
        return known
    found, links = await daemon.ask(lambda reader: linked(reader, cook))
    review = record.sign(links, by, daemon.clock.engine_ms())
    made = await judged(daemon, cook)
    if unanswered := list(record.unanswered(made.rows)):
        raise RefusedError(
            f"not signed: {len(unanswered)} limit(s) not met without corrective action: "
            f"{'; '.join(unanswered)}. Write corrective action for each, then sign"
        )
    signer = signers.confirm(by, pin)
    if notes := record.review_notes(made.rows, by):
        more = f"; and {len(notes) - MOST_TOLD} more" if len(notes) > MOST_TOLD else ""
        answers.choose(f"Before it is signed: {'; '.join(notes[:MOST_TOLD])}{more}", [SIGN_IT])
    return await daemon.submit(SignedOff(found.id, review.seq, review.head, signer.name), by, key)
