"""What must be asked before something is done: one contract for commands, API and page.

A question stops what was requested; nothing is changed. The same request again with an answer
is done. Without a terminal the command line prints the document and exits with 1; the API
answers 409 with the same document:

    {"question": "131 lb is 10 times what a packer weighs: 13.1 lb?",
     "options": ["13.1 lb", "131 lb"], "confirm": "131 lb"}

``confirm`` is the option that does what was requested as it was written. An answer is any of
the options, handed back as ``confirm`` (several, where several questions came up, joined by
``ANSWERS_JOIN``; ``confirm`` in the document holds those given before).
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any

from pitlogger.errors import RefusedError

ANSWERS_JOIN = "; "


@dataclass(frozen=True, slots=True)
class Question:
    """What is asked: in words, what can be answered, and the answer that takes it as it is."""

    question: str
    options: tuple[str, ...]
    confirm: str

    def document(self) -> dict[str, Any]:
        return {
            "question": self.question,
            "options": list(self.options),
            "confirm": self.confirm,
        }


class QuestionError(RefusedError):
    """It has to be asked first; nothing was changed."""

    def __init__(self, asked: Question) -> None:
        super().__init__(f"{asked.question} (answer with --confirm: {' | '.join(asked.options)})")
        self.asked = asked


@dataclass(frozen=True, slots=True)
class Answers:
    """The answers that came with a request.

    ``kept`` are those given about something like it before: they count where ``given`` says
    nothing, and one that fits nothing this time is no mistake of the person's.
    """

    given: tuple[str, ...] = ()
    kept: tuple[str, ...] = ()
    used: set[str] = field(default_factory=set, init=False, compare=False, repr=False)

    @classmethod
    def of(cls, *texts: str, kept: tuple[str, ...] = ()) -> Answers:
        """Return the answers of some texts, each one answer or several joined."""
        parts = (part.strip() for text in texts for part in text.split(ANSWERS_JOIN.strip()))
        return cls(tuple(dict.fromkeys(part for part in parts if part)), kept)

    def choose(self, question: str, options: Iterable[str], confirm: str | None = None) -> str:
        """Return the option that was answered.

        Args:
            question: In words, with the figures it is about.
            options: What can be answered; texts without ``;``.
            confirm: The one that takes the request as it is; the first by default.

        Raises:
            QuestionError: None of them was.
        """
        known = tuple(dict.fromkeys(options))
        for answer in self.all:
            for option in known:
                if _as_typed(answer) == _as_typed(option):
                    self.used.add(answer)
                    return option
        as_is = known[0] if confirm is None else confirm
        wrong = ", ".join(f"'{one}'" for one in self.unused())
        more = f" ({wrong} is none of the answers)" if wrong else ""
        joined = ANSWERS_JOIN.join((*self.given, as_is))
        raise QuestionError(Question(f"{question}{more}", known, joined))

    @property
    def all(self) -> tuple[str, ...]:
        """Those given, then those kept."""
        return (*self.given, *self.kept)

    def unused(self) -> tuple[str, ...]:
        """Return what was given and has answered nothing so far."""
        return tuple(one for one in self.given if one not in self.used)


def _as_typed(text: str) -> str:
    """Return a text as it compares whoever typed it: ``250F`` is ``250 F``."""
    return "".join(text.split()).casefold()


NO_ANSWERS = Answers()
