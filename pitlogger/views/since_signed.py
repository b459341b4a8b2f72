"""What people entered after a record was signed, with what stood there when it was."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from pitlogger.model.folding import counted
from pitlogger.model.journal import Corrected, Entry, Undone
from pitlogger.rules.messages import Units
from pitlogger.views.entries import body_words
from pitlogger.views.language import tr

_NODE = frozenset({
    "alert-changed", "forecast-made", "forecast-skipped", "forecast-scored", "forecast-taught",
    "doubted", "device-changed", "trouble-changed", "run-started", "clock-set",
})  # fmt: skip


def since_signed(
    entries: Sequence[Entry], signed: int, units: Units
) -> Iterator[tuple[Entry, str]]:
    """Yield each entry after the first ``signed``, in words; of the node's own ones none."""
    stood = {(one.run, one.seq): body for one, body, _ in counted(entries[:signed])}
    for entry in entries[signed:]:
        body = entry.body
        if body.kind in _NODE:
            continue
        words = body_words(body, units)
        if isinstance(body, Corrected | Undone):
            before = stood.get((body.of_run, body.of_seq))
            if before is not None:
                words = tr("{words} (signed was: {before})", words=words,
                           before=body_words(before, units))  # fmt: skip
        yield entry, words
