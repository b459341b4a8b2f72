"""`pitlogger cook enter`: a cook from a pad into the record, asked about before it is written."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pitlogger.cli.daemon import DaemonClient
from pitlogger.cli.questions import answers
from pitlogger.formats.moments import full_local

if TYPE_CHECKING:
    from pitlogger.formats.paper_journal import PaperCook

AS_WRITTEN = "as written"


def enter_pad(file: Path, daemon: DaemonClient, dry_run: bool) -> dict[str, Any]:
    """Put the cook of a pad file on record and return what was entered.

    Raises:
        CookFileError: The file cannot be used.
        QuestionError: A time can be two, or a weight is hardly possible.
    """
    from pitlogger.formats.pad_file import load_pad

    cook = load_pad(file, datetime.now().astimezone(), _which)
    units = daemon.get("/status")["units"]
    cook = _confirmed(cook, units)
    done = "would be put on record"
    if not dry_run:
        made = daemon.post("/record", cooks=[document_of(cook)])
        done = "is on record" if made["new"] else "is on record already; nothing is new"
    text = _text(cook, units, done)
    return {"cook": cook.name, "entries": len(cook.bodies), "text": text}


def document_of(cook: PaperCook) -> dict[str, Any]:
    """Return a cook as the API takes it."""
    from pitlogger.formats.journal_json import dump_body

    bodies = [{"t_ms": t_ms, "body": dump_body(body)} for t_ms, body in cook.bodies]
    return {"name": cook.name, "start_ms": cook.start_ms, "bodies": bodies}


def _which(text: str, found: list[datetime]) -> datetime:
    options = [full_local(one) for one in found]
    return found[options.index(answers().choose(f"'{text}' can be either: which one?", options))]


def _confirmed(cook: PaperCook, units: dict[str, str]) -> PaperCook:
    """Return the cook with what is hardly possible confirmed; all of it is asked about at once."""
    from dataclasses import replace

    from pitlogger.model.folding import fold
    from pitlogger.model.journal import Entry, MealTold, SpotRead, StageSet, Weighed
    from pitlogger.questions import NO_ANSWERS, QuestionError
    from pitlogger.rules.messages import Units
    from pitlogger.views.doubting import asked, meal_asked

    entries = [Entry("pad", at, t_ms, body) for at, (t_ms, body) in enumerate(cook.bodies, 1)]
    bodies, odd = list(cook.bodies), []
    for at, entry in enumerate(entries):
        body, book = entry.body, fold(entries[:at]).reopened()
        try:
            asked(body, book, NO_ANSWERS, Units(**units))
            if isinstance(body, MealTold):
                meal_asked(body, book, NO_ANSWERS, Units(**units))
        except QuestionError as fault:
            piece = getattr(body, "piece", None)
            odd.append(f"{piece}: {fault.asked.question}" if piece else fault.asked.question)
            if isinstance(body, Weighed | StageSet | SpotRead):
                bodies[at] = (entry.t_ms, replace(body, confirmed=True))
    if odd:
        answers().choose(" ".join(odd), [AS_WRITTEN])
    return replace(cook, bodies=tuple(bodies))


def _text(cook: PaperCook, units: dict[str, str], done: str) -> str:
    from pitlogger.rules.messages import Units
    from pitlogger.views.entries import body_words

    lines = []
    for t_ms, body in cook.bodies:
        is_timed = getattr(body, "timed", "stated") != "unrecorded"
        when = full_local(datetime.fromtimestamp(t_ms / 1000).astimezone())
        lines.append(
            f"{when if is_timed else 'time not recorded':<28}{body_words(body, Units(**units))}"
        )
    return "\n".join([*lines, f"{cook.name} {done}"])
