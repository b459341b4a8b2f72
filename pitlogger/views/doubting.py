"""Asking at once about what is hardly possible, in the units of the person who entered it.

An answer that keeps what was written marks it as confirmed; then it teaches like any other.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from pitlogger.errors import RefusedError, UsageError
from pitlogger.model.book import Book, PieceBook
from pitlogger.model.cooks import BACK, BEFORE_FIRE, ON_PIT, ByProduct, Checkpoint, Stage
from pitlogger.model.journal import Body, Corrected, MealTold, Received, SpotRead, StageSet, Weighed
from pitlogger.model.quantities import parse_mass_mg, parse_temperature_mc, show_duration
from pitlogger.questions import Answers
from pitlogger.rules.messages import Units
from pitlogger.views import words
from pitlogger.views.doubts import mass_question, mass_unit, plain_mass, typed_unit
from pitlogger.views.shown import temperature
from pitlogger.yields import plausible
from pitlogger.yields.books import from_book
from pitlogger.yields.causes import CHAIN, PLACE
from pitlogger.yields.ledger import dropped_after_g

READ_THEN, WEIGHED, THEN = "it was read then", "it was weighed", "it was then"
SECOND_TAP_MS = 2 * 60_000
LONG_BEFORE_MS = 24 * 3_600_000
RAW_BEFORE_MS = 30 * LONG_BEFORE_MS  # thawing and brining take days; common practice, no source
UNRECORDED = "time not recorded"
REST_GOES_ON, ALL_GONE, NO_REASON = "the rest goes on", "all of it is gone", "no reason given"
MOST_TIMES = 4.0  # so many came of one who was booked, or the other way: hardly (no source)
_WHOLE = 0.85  # of what a piece should weigh: less is a part of it (common practice, no source)
_RAW = frozenset({"label", "purchased", "purge", "thawed", "brine", "brined", "trimmed", "rub",
                  "trim-fat", "trim-lean", "seasoned"})  # fmt: skip
DOUBTABLE = (Weighed, SpotRead, StageSet, Received, Corrected)


def asked(body: Body, book: Book, answers: Answers, units: Units) -> Body:
    """Return a body as it is to be entered, with what was answered about it.

    Raises:
        QuestionError: It is hardly possible, and nobody said yet what is right.
    """
    match body:
        case Weighed():
            return _weighed(body, book, answers, units)
        case SpotRead():
            return _read(body, book, answers, units)
        case Received(value_mc=int(value_mc)) if (
            not plausible.COLDEST_MC <= value_mc <= plausible.CORE_MC
        ):
            shown = temperature(value_mc, units.temperature, 0)
            answers.choose(f"{shown} is hardly possible in the core of meat. Is it right?", [shown])
            return body
        case StageSet():
            return _staged(body, book, answers, units)
        case Corrected(body=Weighed() | SpotRead() as inner):
            changed: Any = asked(inner, _without(book, body), answers, units)
            return replace(body, body=changed)
        case _:
            return body


def _without(book: Book, correction: Corrected) -> Book:
    """Return the book without the weighing that is corrected."""
    known = (correction.of_run, correction.of_seq)
    pieces = {
        name: replace(held, weighings=[one for one in held.weighings if one.id != known])
        for name, held in book.pieces.items()
    }
    return replace(book, pieces=pieces)


def _weighed(body: Weighed, book: Book, answers: Answers, units: Units) -> Weighed:
    held = book.pieces.get(body.piece)
    if held is None or body.confirmed:
        return body
    early_ms = _early_ms(body.piece, body.at_ms, book)
    if early_ms > (RAW_BEFORE_MS if body.checkpoint in _RAW else LONG_BEFORE_MS):
        _then(early_ms, answers)
    gone = held.stage_at(body.at_ms) is Stage.DISCARDED
    if gone and body.checkpoint not in tuple(ByProduct):
        answers.choose(f"{body.piece} was discarded before that. Was it weighed?", [WEIGHED])
    masses_g = _masses_g(held) | {body.checkpoint: body.net_mg / 1000}
    cut, count = held.piece.cut, held.piece.count
    unit = typed_unit(body.net_mg, units) if body.source == "typed" else ""
    found = next(
        (one for one in plausible.implausible_masses(cut, count, masses_g, unit)
         if one.checkpoint == body.checkpoint), None
    )  # fmt: skip
    if found is None:
        return body
    as_is = plain_mass(found.mass_g, units, unit)
    meant = [
        plain_mass(one, units, unit and typed_unit(round(one * 1000), units))
        for one in (found.likely_g, found.or_g)
        if one is not None
    ]
    options = [*(one for one in meant if one != as_is), as_is]
    question = mass_question(found, held.piece.cut, units, options, unit)
    chosen = answers.choose(question, options, as_is)
    if chosen == as_is:
        return replace(body, confirmed=True)
    return replace(body, gross_mg=parse_mass_mg(chosen) + body.tare_mg)


def _early_ms(piece: str, at_ms: int, book: Book) -> int:
    """Return how long before the beginning of its cook something of a piece happened."""
    span = book.span_of(piece)
    return 0 if span is None else max(0, span.started_ms - at_ms)


def _then(early_ms: int, answers: Answers) -> None:
    before = show_duration(early_ms)
    answers.choose(f"that is {before} before this cook began. Was it then?", [THEN])


def _masses_g(held: PieceBook) -> dict[str, float]:
    found: dict[str, float] = {}
    for weighing in held.weighings:
        found[weighing.weighed.checkpoint] = weighing.weighed.net_mg / 1000
    return found


def _read(body: SpotRead, book: Book, answers: Answers, units: Units) -> SpotRead:
    if body.confirmed:
        return body
    if body.value_mc > plausible.HOTTEST_PROBE_MC:
        shown = temperature(body.value_mc, units.temperature, 0)
        most = temperature(plausible.HOTTEST_PROBE_MC, units.temperature, 0)
        message = f"{shown} is above {most}, the most that any probe reads: see the unit"
        raise UsageError(message, "value")
    body = _ranged(body, answers, units)
    if (why := _not_of_its_cook(body, book)) is not None:
        chosen = answers.choose(f"{why}. Was it read then?", [READ_THEN])
        return replace(body, confirmed=chosen == READ_THEN)
    return body


def _ranged(body: SpotRead, answers: Answers, units: Units) -> SpotRead:
    """Ask about what is hardly possible where it was read."""
    most_mc = (
        plausible.CORE_MC
        if body.piece is not None
        else plausible.MOST_MC.get(body.site, plausible.PLACE_MC)
    )
    if plausible.COLDEST_MC <= body.value_mc <= most_mc:
        return body
    as_is = temperature(body.value_mc, units.temperature, 0)
    likely_mc = plausible.likely_core_mc(body.value_mc) if body.piece is not None else None
    options = (
        [as_is] if likely_mc is None else [temperature(likely_mc, units.temperature, 0), as_is]
    )
    where = "the core of meat" if body.piece is not None else f"a place of site '{body.site}'"
    question = f"{as_is} is hardly possible in {where}"
    question += f": {options[0]}?" if len(options) > 1 else ". Is it right?"
    chosen = answers.choose(question, options, as_is)
    if chosen == as_is:
        return replace(body, confirmed=True)
    return replace(body, value_mc=parse_temperature_mc(chosen))


def _not_of_its_cook(body: SpotRead, book: Book) -> str | None:
    """Return why a hand reading seems to be of another time than its cook, or of no food."""
    held = book.pieces.get(body.piece or "")
    if held is not None and held.stage_at(body.at_ms) is Stage.DISCARDED:
        return f"{held.piece.id} was discarded before that"
    span = book.span_of(body.piece or "")
    begun_ms = book.started_ms if span is None else span.started_ms
    ended_ms = book.finished_ms if span is None else span.finished_ms
    if held is not None and begun_ms is not None:  # it was entered after it began
        begun_ms = min([begun_ms, *(mark.at_ms for mark in held.marks)])
    if begun_ms is not None and body.at_ms < begun_ms:
        return f"that is {show_duration(begun_ms - body.at_ms)} before this cook began"
    if ended_ms is not None and body.at_ms > ended_ms:
        return f"that is {show_duration(body.at_ms - ended_ms)} after this cook was finished"
    return None


def _discarded(body: StageSet, held: PieceBook, answers: Answers, units: Units) -> Body:
    """Ask where more of a piece is thrown away than it ever weighed, or seemingly a part only."""
    mass_g = (body.mass_mg or 0) / 1000
    masses_g = _masses_g(held)
    most_g = max(masses_g.values(), default=None)
    if mass_g <= 0 or (most_g is not None and mass_g > most_g * 1.02):
        shown = plain_mass(mass_g, units)
        of = "" if most_g is None else f" of a piece that weighed {plain_mass(most_g, units)}"
        answers.choose(f"{shown} discarded{of}. Is it right?", [shown])
        return body
    last = next((one for one in reversed(CHAIN) if one in masses_g), None)
    if last is None or mass_g >= _WHOLE * masses_g[last] * _left_of_it(last, held):
        return body
    shown, of = plain_mass(mass_g, units), plain_mass(masses_g[last], units)
    weighed = f"{held.piece.id}, which weighed {of} ({words.checkpoint(last)})"
    question = f"{shown} discarded of {weighed}: is all of it gone?"
    if answers.choose(question, [REST_GOES_ON, ALL_GONE], ALL_GONE) == ALL_GONE:
        return body
    return Weighed(
        body.piece, ByProduct.WASTE, body.mass_mg or 0, 0, body.at_ms,
        timed=body.timed, reason=body.reason or NO_REASON,
    )  # fmt: skip


def _left_of_it(last: str, held: PieceBook) -> float:
    """Return which share a piece has at least of what it weighed last: the fire takes much."""
    was_cooked = held.stage not in BEFORE_FIRE and PLACE[last] <= PLACE[Checkpoint.ON_PIT]
    return 0.4 if was_cooked else 0.9 if held.stage in ON_PIT else 1.0


def _staged(body: StageSet, book: Book, answers: Answers, units: Units) -> Body:
    """Ask where a piece comes off the pit hardly after it went on, or days later."""
    held = book.pieces.get(body.piece)
    if held is None or body.confirmed or body.timed == "unrecorded":
        return body
    _refuse_repeat(body, held)
    early_ms = _early_ms(body.piece, body.at_ms, book)
    if early_ms > (RAW_BEFORE_MS if body.stage in BEFORE_FIRE else LONG_BEFORE_MS):
        _then(early_ms, answers)
        return replace(body, confirmed=True)
    if body.mass_mg is not None:
        return _discarded(body, held, answers, units)
    if held.by_time is not None and body.stage in BACK and body.at_ms > held.by_time.said.at_ms:
        answers.choose(
            f"{body.piece} is held by time: what is left of it is thrown away, and not "
            f"{body.stage} any more. Was it all the same?",
            [f"it is {body.stage}"],
        )
        return replace(body, confirmed=True)
    if body.stage in ON_PIT:
        return body
    if held.stage_at(body.at_ms) not in ON_PIT:
        return body
    on_ms = held.first(*ON_PIT)
    least_ms, most_ms = plausible.on_pit_ms(held.piece.family)
    if on_ms is None or least_ms <= body.at_ms - on_ms <= most_ms:
        return body
    if any(mark.timed == "unrecorded" for mark in held.marks if mark.stage in ON_PIT):
        return replace(body, timed="unrecorded")
    took = show_duration(body.at_ms - on_ms)
    # No figure in the answer: between question and answer time goes on.
    why, as_is = f"{took} only: logged afterwards", "it was that short"
    if body.at_ms - on_ms > most_ms:
        why, as_is = f"{took}: marked late", "it was that long"
    chosen = answers.choose(
        f"{body.piece} was on the pit for {why}? State times with --at, or let them be unrecorded",
        [UNRECORDED, as_is],
        as_is,
    )
    if chosen == as_is:
        return replace(body, confirmed=True)
    return replace(body, timed="unrecorded")


def _refuse_repeat(body: StageSet, held: PieceBook) -> None:
    """Refuse a stage that a person marked before: its first time stands, so nothing would change.

    A second tap is let pass. Another wrap is news.
    """
    last = held.mark_at(body.at_ms)
    if last is None or last.stage is not body.stage or last.is_unconfirmed or body.mass_mg:
        return
    took_ms = body.at_ms - last.at_ms
    if took_ms > SECOND_TAP_MS and body.wrap in (None, held.wrap):
        raise RefusedError(
            f"{body.piece} is {words.stage(body.stage)} already, for {show_duration(took_ms)}, and "
            "that stands. If its time is wrong, correct that entry"
        )


def meal_asked(body: MealTold, book: Book, answers: Answers, units: Units) -> None:
    """Ask about a meal that does not add up: more left than was cooked, too much a guest.

    Raises:
        QuestionError: It does not, and nobody said that it is right.
    """
    cooked_g = _cooked_g(book)
    booked = book.cook.guests if book.cook else None
    guests = body.came or booked
    left_g = None if body.left_mg is None else body.left_mg / 1000
    most_g = cooked_g or _weighed_g(book)
    if left_g is not None and most_g is not None and left_g > most_g * 1.02:
        left, cooked = plain_mass(left_g, units), plain_mass(most_g, units)
        answers.choose(f"{left} were left of a cook that gave {cooked}. Is it right?",
                       [f"{left} left is right"])  # fmt: skip
        return
    each_g = None if not guests or cooked_g is None else (cooked_g - (left_g or 0.0)) / guests
    if (
        cooked_g is not None
        and each_g is not None
        and not (plausible.LEAST_EATEN_G <= each_g <= plausible.MOST_EATEN_G)
    ):
        each = plain_mass(each_g, units, {"lb": "oz", "kg": "g"}.get(mass_unit(units), ""))
        answers.choose(f"{guests} guests came to {plain_mass(cooked_g, units)} of meat, that is"
                       f" {each} each. Is it right?", [f"{guests} guests is right"])  # fmt: skip
    elif body.came and booked and not 1 / MOST_TIMES <= body.came / booked <= MOST_TIMES:
        answers.choose(f"{body.came} came, {booked} were booked. Is it right?",
                       [f"{body.came} guests is right"])  # fmt: skip


def _weighed_g(book: Book) -> float | None:
    """Return the most that all pieces together ever weighed, if each was weighed at all."""
    whole = [held for held in book.pieces.values() if not held.piece.parents]
    most = [max(_masses_g(held).values(), default=None) for held in whole]
    known = [mass for mass in most if mass]
    return sum(known) if known and len(known) == len(most) else None


def _cooked_g(book: Book) -> float | None:
    """Return what the cook gave in all, as far as its pieces were weighed when done."""
    found = 0.0
    for piece in from_book(book):
        if piece.discarded_g is not None:
            continue
        done = next((piece.masses[name].value - dropped_after_g(piece, name)
                     for name in ("served", "carved", "rested", "off-pit")
                     if name in piece.masses), None)  # fmt: skip
        if done is None and not piece.children:
            return None
        found += done or 0.0
    return found or None
