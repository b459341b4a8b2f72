"""An alert as the outbox sees it: since when it stands, and who was told how often.

Times are engine milliseconds. Engine time never runs back, over restarts either, so a
stepped clock moves no repeat.
"""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass, field
from typing import Literal

from pitlogger.formats.json_text import parse_json
from pitlogger.model.alerts import Priority

Contact = Literal["first", "second", "third"]
CONTACTS: tuple[Contact, ...] = ("first", "second", "third")
MINUTE_MS = 60_000
# Minutes after the first push. Source: our own schedule, after the public descriptions of
# repeat and escalation timers in monitoring tools; the figures are common practice.
REPEATS_MIN = (0, 3, 8, 18)
REPEAT_EVERY_MIN = 15
ESCALATE_AFTER_MIN = 10  # to the next contact, and as long again to the one after
UNREACHED_AFTER_MIN = 1


@dataclass(slots=True)
class UnansweredAlert:
    """An alert that is reported until somebody says "got it".

    Attributes:
        start_ms: When its first push is due, or was made.
        pushed: How often each contact was told; also counts what was skipped while off.
        notice: It needs no hand and is told once.
        silenced: Somebody said "got it": only its return is still told.
        returned_ms: When it returned to normal, if that is still to be told.
        unreached: No way to the first contact took it: the next one is told at once.
    """

    alert: str
    kind: str
    priority: Priority
    wakes: bool
    raised_ms: int
    start_ms: int
    message: str
    remedy: str
    notice: bool = False
    silenced: bool = False
    returned_ms: int | None = None
    pushed: dict[str, int] = field(default_factory=dict)
    unreached: bool = False

    @property
    def subject(self) -> str:
        return self.alert.partition("/")[2]

    @property
    def asks_a_hand(self) -> bool:
        """Whether somebody still has to say "got it"."""
        return not self.silenced and not self.notice and self.returned_ms is None

    @property
    def pushes(self) -> int:
        """How many pushes were made, to whichever contact."""
        return sum(self.pushed.values())

    def due_ms(
        self, contact: Contact, escalate_after_min: float = ESCALATE_AFTER_MIN
    ) -> int | None:
        """Return when a contact is to be told next, ``None`` if never again."""
        count = self.pushed.get(contact, 0)
        step = CONTACTS.index(contact)
        if self.silenced or self.returned_ms is not None:
            return None
        if self.notice and (count or step):
            return None
        if step and self.priority is not Priority.HIGH:
            return None
        minutes = float(_repeat_min(count))
        if step:
            minutes = step * escalate_after_min
            if self.unreached:
                minutes += UNREACHED_AFTER_MIN - escalate_after_min
            if count:
                minutes = max(minutes, _repeat_min(count + 1 + step))
        return self.start_ms + round(minutes * MINUTE_MS)

    def told(self, contact: Contact, now_ms: int, escalate_after_min: float) -> None:
        """Count a push made now; repeats whose time went by unused are skipped."""
        self.pushed[contact] = self.pushed.get(contact, 0) + 1
        while (due_ms := self.due_ms(contact, escalate_after_min)) is not None and due_ms <= now_ms:
            self.pushed[contact] += 1

    def dump(self) -> str:
        """Return it as JSON text."""
        return json.dumps({**asdict(self), "priority": int(self.priority)}, ensure_ascii=False)

    @staticmethod
    def load(text: str) -> UnansweredAlert:
        """Return what a JSON text holds; the inverse of ``dump``."""
        given = parse_json(text)
        return UnansweredAlert(**{**given, "priority": Priority(given["priority"])})


def _repeat_min(count: int) -> int:
    """Return the minutes after the first push at which push number ``count`` is due."""
    if count < len(REPEATS_MIN):
        return REPEATS_MIN[count]
    return REPEATS_MIN[-1] + (count - len(REPEATS_MIN) + 1) * REPEAT_EVERY_MIN
