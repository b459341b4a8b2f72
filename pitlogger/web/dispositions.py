"""What became of food whose limit was not met: asked, checked, and entered for one breach."""

from __future__ import annotations

from collections.abc import Sequence

from pitlogger.errors import RefusedError, UsageError, unknown
from pitlogger.model.book import Book
from pitlogger.model.cooks import BEFORE_FIRE, ON_PIT
from pitlogger.model.folding import fold
from pitlogger.model.journal import Body, CorrectiveTaken, Entry, SpotRead
from pitlogger.model.quantities import show_temperature
from pitlogger.safety.breaches import ABOUT, Breach
from pitlogger.safety.corrective import AnsweredRow, answered
from pitlogger.safety.record import DISPOSITIONS, SHEETS
from pitlogger.safety.tables import ROUNDING_MC
from pitlogger.store.queries import Reader
from pitlogger.views.node import Node
from pitlogger.views.shown import Shown, in_unit
from pitlogger.web.access.roles import who_asks
from pitlogger.web.judged import judged
from pitlogger.web.requests import CorrectiveAsk, FinishAsk

AT_FINISH = ("discarded", "reheated", "kept")


async def breaches_of(daemon: Node, cook: str | None = None) -> tuple[list[AnsweredRow], Book, str]:
    """Return every breach of a cook, the newest by default, its book and its id.

    Those that readings and alarms tell of, and those that only the whole record shows.
    """
    await daemon.flushed()
    if not await daemon.ask(Reader.cooks):
        return [], daemon.engine.book, ""
    made = await judged(daemon, cook)
    entries: list[Entry] = await daemon.ask(lambda reader: reader.entries(cook=made.cook))
    return answered(made.rows, [*entries, *made.logged]), fold(entries), made.cook


def named(breach: Breach, shown: Shown) -> str:
    """Return a breach in words: which limit of which piece, since when, what was read."""
    what = breach.limit[1] or SHEETS[breach.limit[0]].lower()
    read = f", {in_unit(breach.value, shown.units.temperature)}" if breach.value else ""
    since = f" from {shown.clock(breach.from_ms)}" if breach.from_ms else ", by the record"
    return f"{breach.piece}, {what}{since}{read}"


async def corrective(daemon: Node, ask: CorrectiveAsk) -> tuple[Body, list[Body], str]:
    """Return corrective action on the breach that is meant, and the reading that goes before it.

    The third is the id of its cook where that is finished: it joins the record of that cook.

    Raises:
        UsageError: No initials, an unknown disposition, food kept without a reason or reheated
            without a reading.
        RefusedError: The reading does not reach the limit.
        QuestionError: There are several breaches of that piece, and none was named.
    """
    if ask.disposition not in DISPOSITIONS:
        raise UsageError(unknown("disposition", ask.disposition, DISPOSITIONS))
    if not (ask.by or who_asks.get().initials):
        raise UsageError("corrective action is signed: give the initials of who took it")
    found, book, cook = await breaches_of(daemon, ask.cook)
    if book.cook is not None and ask.piece not in book.pieces:
        raise UsageError(unknown("piece", ask.piece, book.pieces))
    held = daemon.engine.book.pieces.get(ask.piece)
    still = held is not None and held.is_open and held.stage in BEFORE_FIRE | ON_PIT
    mine = [
        one for one in found
        if one.breach.piece == ask.piece and _is_of(one.breach, ask)
        and (one.breach.from_ms or not still)  # what it has not reached yet is no breach
    ]  # fmt: skip
    breach = _meant(mine, ask, Shown(daemon.units, daemon.clock.engine_ms(), daemon.utc_offset_ms))
    body = CorrectiveTaken(
        ask.piece, ask.cause, ask.control_restored, ask.prevention, ask.disposition,
        ask.alert or (breach.alert_named if breach else "") or None, ask.reason,
        breach.from_ms or None if breach is not None else None,
    )  # fmt: skip
    is_over = book.finished_ms is not None and ask.piece in book.pieces
    return body, disposed(daemon, body, book, ask), cook if is_over else ""


def _is_of(breach: Breach, ask: CorrectiveAsk) -> bool:
    if ask.alert is None:
        return True
    sheet, what = ABOUT.get(ask.alert.partition("/")[0], ("", ""))
    return sheet == breach.limit[0] and what in ("", breach.limit[1])


def _meant(mine: Sequence[AnsweredRow], ask: CorrectiveAsk, shown: Shown) -> Breach | None:
    if ask.breach is not None:
        held = [one.breach for one in mine if one.breach.from_ms <= ask.breach]
        if not held:
            raise UsageError(f"{ask.piece}: no limit was known not to be met by then")
        return held[-1]
    wanting = [one.breach for one in mine if one.action is None or one.action.missing()]
    if len(wanting) < 2:
        known = wanting or [one.breach for one in mine]
        return known[-1] if known else None
    names = [named(one, shown).replace(";", ",") for one in wanting]
    chosen = ask.answers.choose("One action answers one breach: which one does this answer?", names)
    return wanting[names.index(chosen)]


def disposed(
    daemon: Node, body: CorrectiveTaken, book: Book, ask: CorrectiveAsk | FinishAsk
) -> list[Body]:
    """Check what a disposition needs; return the reading to be entered before it, if any."""
    if body.disposition == "kept" and not body.reason:
        raise UsageError(f"{body.piece} was kept: say why (--reason), and by whom (--by)")
    if body.disposition != "reheated":
        return []
    goal = daemon.safety.reheat
    shown = show_temperature(goal.mc, daemon.units.temperature)
    if ask.reading is None:
        since_ms = body.breach_ms or 0
        read = (s.value_mc for _, s in book.spots if s.piece == body.piece and s.at_ms >= since_ms)
        if any(value_mc >= goal.mc - ROUNDING_MC for value_mc in read):
            return []
        raise UsageError(
            f"{body.piece} was reheated: give the reading of its coldest spot that shows it"
            f" (--reading {shown.replace(' ', '')})"
        )
    if ask.reading < goal.mc - ROUNDING_MC:
        read_shown = show_temperature(ask.reading, daemon.units.temperature, digits=1)
        raise RefusedError(
            f"{body.piece} at {read_shown} is not reheated: the limit is {shown}. Heat it on and"
            " read it again, or discard it"
        )
    if book.finished_ms is not None or daemon.cook is None:
        raise UsageError(
            f"the cook is finished: enter the reading first (pitlogger temp {body.piece} {shown}"
            " --cook NAME --at TIME), then this"
        )
    return [SpotRead(ask.reading, daemon.clock.engine_ms(), body.piece, probe=ask.probe)]


async def at_finish(
    daemon: Node, cook: str, ask: FinishAsk, by: str, discarded: Sequence[str] = ()
) -> list[Body]:
    """Return what is entered about the breaches nobody has answered when a cook is finished.

    Args:
        discarded: Pieces that are discarded with it: that is their disposition.

    Raises:
        QuestionError: There are some, and nobody said what became of that food; each is named.
    """
    found, book, _ = await breaches_of(daemon, cook)
    wanting = [one.breach for one in found if one.action is None and _is_food(one.breach)]
    rest = [one for one in wanting if one.piece not in discarded]
    disposition = "discarded"
    if rest:
        shown = Shown(daemon.units, daemon.clock.engine_ms(), daemon.utc_offset_ms)
        listed = "; ".join(named(one, shown) for one in rest)
        question = f"A limit was not met, and nobody said what became of it: {listed}. What did?"
        disposition = ask.disposition or ask.answers.choose(question, AT_FINISH)
    if wanting and not by:
        raise UsageError("what became of food is signed: give the initials of who says so (--by)")
    made: list[Body] = []
    for breach in wanting:
        became = disposition if breach in rest else "discarded"
        body = CorrectiveTaken(
            breach.piece, "", "", "", became, breach.alert_named or None, ask.reason,
            breach.from_ms or None,
        )  # fmt: skip
        made += [*(one for one in disposed(daemon, body, book, ask) if one not in made), body]
    return made


def _is_food(breach: Breach) -> bool:
    """Return whether a breach waits for a disposition: slow come-up alone does not."""
    return breach.limit != ("cook", "come-up") and breach.limit[0] != "receiving"
