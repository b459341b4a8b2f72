"""Starting and finishing where several cooks may be open: asked about before anything is done."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime

from pitlogger.engine.beside import band_of, beside, differing_bands
from pitlogger.errors import UsageError, unknown
from pitlogger.formats.moments import full_local
from pitlogger.model.book import Book
from pitlogger.model.cooks import Channel, Cook
from pitlogger.model.journal import CookStarted
from pitlogger.questions import Answers
from pitlogger.rules.messages import Units
from pitlogger.views.shown import temperature

BESIDE = "begin it beside"
SERVED_THEN, NO_HOUR = "it was served then", "begin without an hour"


def started(
    body: CookStarted, book: Book, answers: Answers, units: Units, now_ms: int
) -> CookStarted:
    """Return the start of a cook as answered, where another one is open or its hour is past.

    Raises:
        UsageError, RefusedError: What ``engine.beside`` refuses; that comes before questions.
        QuestionError: Another cook is open and nobody said that this one begins beside it; or a
            pit has another band there; or it was served before it begins.
    """
    others = [f"'{span.cook.name}'" for span in book.open_cooks().values()]
    beside(body, book)
    body = replace(body, cook=_served_later(body.cook, body.at_ms or now_ms, answers))
    if not others:
        return body
    answers.choose(
        f"{' and '.join(others)} {'is' if len(others) == 1 else 'are'} still open: begin "
        f"'{body.cook.name}' beside?",
        [BESIDE],
    )
    return replace(body, cook=_with_bands(body.cook, book, answers, units))


def _served_later(cook: Cook, start_ms: int, answers: Answers) -> Cook:
    """Ask where a cook is served before it begins."""
    past = [one for one in cook.services if one.at_ms < start_ms]
    if not past:
        return cook
    hour = full_local(datetime.fromtimestamp(past[0].at_ms / 1000, UTC))
    chosen = answers.choose(
        f"'{cook.name}' is served at {hour}, before it begins. Is that right?",
        [SERVED_THEN, NO_HOUR],
    )
    if chosen == SERVED_THEN:
        return cook
    return replace(cook, services=tuple(one for one in cook.services if one not in past))


def _with_bands(cook: Cook, book: Book, answers: Answers, units: Units) -> Cook:
    """Return a cook with the band chosen for each pit that an open cook has under another."""
    chosen: dict[str, Channel] = {}
    for now, wanted in differing_bands(cook, book):
        kept, new = _band_words(now, units), _band_words(wanted, units)
        said = answers.choose(
            f"{wanted.id} is watched for {kept} by an open cook, '{cook.name}' says {new}: "
            "which for both?",
            [kept, new],
            new,
        )
        chosen[wanted.id] = now if said == kept else wanted
    channels = tuple(
        replace(
            channel,
            set_point_mc=chosen[channel.id].set_point_mc,
            low_mc=chosen[channel.id].low_mc,
            high_mc=chosen[channel.id].high_mc,
        )
        if channel.id in chosen
        else channel
        for channel in cook.channels
    )
    return replace(cook, channels=channels)


def _band_words(channel: Channel, units: Units) -> str:
    set_point, low, high = (
        None if value is None else temperature(value, units.temperature, 0)
        for value in band_of(channel)
    )
    if low is None and high is None:
        return f"{set_point}"
    return f"{low or '-'} to {high or '-'}"


def open_cook(book: Book, named: str | None, answers: Answers, question: str) -> str:
    """Return the id of the open cook that is meant, empty where none is open.

    Raises:
        UsageError: None of that name is open.
        QuestionError: Several are open and none was named.
    """
    names = {span.cook.name: cook for cook, span in book.open_cooks().items()}
    if named is None:
        if len(names) < 2:
            return next(iter(names.values()), "")
        return names[answers.choose(question, names)]
    for name, cook in names.items():
        if named.casefold() in (name.casefold(), cook.casefold()):
            return cook
    if not names:
        return ""
    raise UsageError(unknown("open cook", named, names))
