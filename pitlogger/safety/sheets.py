"""Food-log sheets from a journal: what people read and wrote, and what the record shows."""

from __future__ import annotations

from collections.abc import Sequence

from pitlogger.clock import rfc3339
from pitlogger.model import cooks, journal
from pitlogger.model.book import Book, Id
from pitlogger.model.quantities import show_duration, show_mass, show_temperature
from pitlogger.model.readings import Site
from pitlogger.safety.corrective import tied
from pitlogger.safety.instruments.doubtful import doubted
from pitlogger.safety.judge import PieceVerdicts
from pitlogger.safety.policy import Policy, Temperature
from pitlogger.safety.record import LogRow, Sheet, ShownIn
from pitlogger.safety.recorded import LATE_MS
from pitlogger.safety.tables import ROUNDING_MC
from pitlogger.safety.time_control import limit_of
from pitlogger.safety.verdict import Verdict

US_UNITS = ShownIn()
_FOOD_SITES = (Site.HOLD, Site.TRANSPORT, Site.LINE, Site.COLD)
_RECEIVED = (cooks.Checkpoint.LABEL, cooks.Checkpoint.PURCHASED)


def sheets(
    entries: Sequence[journal.Entry],
    book: Book,
    verdicts: Sequence[PieceVerdicts],
    policy: Policy,
    at_ms: int,
    logged: Sequence[journal.Entry] = (),
    shown_in: ShownIn = US_UNITS,
) -> list[LogRow]:
    """Return the rows of every sheet: entries in their order, then the verdicts at ``at_ms``.

    Corrected and undone entries stay, struck out, with the entry that struck them. A limit not
    met stands with the corrective action that answers it.

    Args:
        logged: Entries about this cook that are not of its journal, as those made after it.
        shown_in: The kitchen's units.
    """
    struck = _struck(entries)
    rows = []
    for entry in entries:
        body = entry.body.body if isinstance(entry.body, journal.Corrected) else entry.body
        row = _row(entry, body, book, policy, shown_in, struck.get((entry.run, entry.seq)))
        if row is not None:
            rows.append(row)
    rows += [row for held in verdicts for row in _verdict_rows(held, book, at_ms)]
    return doubted(tied(rows, [*entries, *logged]), book, [*entries, *logged])


def _struck(entries: Sequence[journal.Entry]) -> dict[Id, Id]:
    """Return which entry struck which; an undo that was itself undone strikes nothing."""
    undone: set[Id] = set()
    struck: dict[Id, Id] = {}
    for entry in reversed(entries):
        own = (entry.run, entry.seq)
        if own in undone or not isinstance(entry.body, journal.Undone | journal.Corrected):
            continue
        named = (entry.body.of_run, entry.body.of_seq)
        struck.setdefault(named, own)
        if isinstance(entry.body, journal.Undone):
            undone.add(named)
    return struck


def _row(
    entry: journal.Entry,
    body: journal.Body,
    book: Book,
    policy: Policy,
    shown_in: ShownIn,
    struck_by: Id | None,
) -> LogRow | None:
    if isinstance(body, journal.Received | journal.StageSet) or (
        isinstance(body, journal.Weighed) and body.checkpoint == cooks.ByProduct.WASTE
    ):
        return _came_or_went(entry, body, book, policy, shown_in, struck_by)
    if isinstance(body, journal.SpotRead) and (body.piece or body.site in _FOOD_SITES):
        sheet, limit, met = _spot_limit(body, book, policy)
        product = _product(book, body.piece) if body.piece else f"{body.site}"
        return LogRow(
            sheet=sheet, id=(entry.run, entry.seq), observed_ms=body.at_ms, entered_ms=entry.t_ms,
            by=entry.by, product=product, what="hand reading",
            value=show_temperature(body.value_mc, shown_in.temperature, digits=1), limit=limit,
            met=met, instrument=body.probe or "", struck_by=struck_by, piece=body.piece or "",
            note=_typed_late(entry.t_ms - body.at_ms), is_timed=body.timed != "unrecorded",
        )  # fmt: skip
    if isinstance(body, journal.Weighed) and body.checkpoint in _RECEIVED:
        return LogRow(
            sheet="receiving", id=(entry.run, entry.seq), observed_ms=body.at_ms,
            entered_ms=entry.t_ms, by=entry.by, product=_product(book, body.piece),
            what=f"{body.checkpoint} mass", value=show_mass(body.net_mg, shown_in.mass),
            instrument=body.channel or "", note=_supplier(book, body.piece), struck_by=struck_by,
            piece=body.piece, is_timed=body.timed != "unrecorded",
        )  # fmt: skip
    if isinstance(body, journal.HeldByTime):
        return LogRow(
            sheet="time", id=(entry.run, entry.seq), observed_ms=body.at_ms,
            entered_ms=entry.t_ms, by=entry.by, product=_product(book, body.piece),
            what=f"held by time, {body.hours} h", value=f"discard by {rfc3339(body.discard_ms)}",
            limit=policy.cite(limit_of(body, policy)), struck_by=struck_by, piece=body.piece,
        )  # fmt: skip
    if isinstance(body, journal.Adjusted):
        return LogRow(
            sheet="thermometers", id=(entry.run, entry.seq), observed_ms=entry.t_ms,
            entered_ms=entry.t_ms, by=entry.by, product=body.channel, what="offset set",
            value=f"{body.offset / 1000:+.2f} C", instrument=body.channel, note=body.reason,
            struck_by=struck_by,
        )  # fmt: skip
    return None


def _came_or_went(
    entry: journal.Entry, body: journal.Received | journal.StageSet | journal.Weighed, book: Book,
    policy: Policy, shown_in: ShownIn, struck_by: Id | None,
) -> LogRow | None:  # fmt: skip
    """Return the row of food that came in, was discarded or thrown away; ``None`` for others."""
    sheet: Sheet = "waste"
    limit, met, note = "", None, ""
    if isinstance(body, journal.Received):
        sheet = "receiving"
        what = "received, accepted" if body.accepted else "received, refused"
        value = "temperature not taken"
        if body.value_mc is not None:
            value = show_temperature(body.value_mc, shown_in.temperature, digits=1)
            limit = _limit(policy, policy.cold_hold, "or below")
            met = body.value_mc <= policy.cold_hold.mc + ROUNDING_MC or not body.accepted
        note = "; ".join(told for told in (body.condition, _supplier(book, body.piece)) if told)
    elif isinstance(body, journal.Weighed):
        what, note = "discarded in part" if body.reason else "thrown away", body.reason
        value = show_mass(body.net_mg, shown_in.mass)
    elif body.stage is cooks.Stage.DISCARDED:
        what, note = "discarded", body.reason or "no reason given"
        value = "all of it" if body.mass_mg is None else show_mass(body.mass_mg, shown_in.mass)
    else:
        return None
    return LogRow(
        sheet=sheet, id=(entry.run, entry.seq), observed_ms=body.at_ms, entered_ms=entry.t_ms,
        by=entry.by, product=_product(book, body.piece), what=what, value=value, limit=limit,
        met=met, note=note, struck_by=struck_by, piece=body.piece,
        is_timed=body.timed != "unrecorded",
    )  # fmt: skip


def _typed_late(late_ms: int) -> str:
    return f"typed {show_duration(late_ms)} later" if late_ms > LATE_MS else ""


def _spot_limit(
    spot: journal.SpotRead, book: Book, policy: Policy
) -> tuple[Sheet, str, bool | None]:
    """Return the sheet of a hand reading, the limit in force and whether it was met."""
    held = book.pieces.get(spot.piece or "")
    stage = held.stage_at(spot.at_ms) if held is not None else None
    by_time = held.by_time if held is not None else None
    if by_time is not None and spot.at_ms > max(by_time.said.at_ms, by_time.entered_ms):
        if by_time.said.hours == 4:
            return "time", policy.cite(policy.time_control_4h), None
        most = policy.time_control_6h_max
        return "time", _limit(policy, most, "or below"), spot.value_mc <= most.mc + ROUNDING_MC
    if stage in cooks.HOT_OFF_PIT or spot.site in (Site.HOLD, Site.TRANSPORT, Site.LINE):
        met = spot.value_mc >= policy.hot_hold.mc - ROUNDING_MC
        return "hot-hold", _limit(policy, policy.hot_hold, "or above"), met
    if stage in cooks.BEFORE_FIRE or stage is cooks.Stage.CHILLED or spot.site is Site.COLD:
        met = spot.value_mc <= policy.cold_hold.mc + ROUNDING_MC
        return "cold-hold", _limit(policy, policy.cold_hold, "or below"), met
    if stage is cooks.Stage.REHEATING:
        return "cooling-reheat", _limit(policy, policy.reheat, "within its time"), None
    if stage in cooks.ON_PIT:
        return "cook", "by the table of the verdict below", None
    return "cooling-reheat", _limit(policy, policy.cooling_end, "within its time"), None


def _limit(policy: Policy, limit: Temperature, words: str) -> str:
    return f"{show_temperature(limit.mc)} {words}: {policy.cite(limit)}"


def _verdict_rows(held: PieceVerdicts, book: Book, at_ms: int) -> list[LogRow]:
    judged: list[tuple[Sheet, str, Verdict]] = [
        ("cold-hold", "cold holding", held.cold_hold),
        ("cook", "lethality", held.lethality.verdict),
        ("cook", "come-up", held.come_up),
        ("hot-hold", "hot holding", held.holding),
        ("time", "time as a control", held.time_control),
        ("cooling-reheat", "cooling", held.cooling.verdict),
        ("cooling-reheat", "reheating", held.reheating),
    ]
    return [
        LogRow(
            sheet=sheet, id=None, observed_ms=at_ms, entered_ms=at_ms, by="",
            product=_product(book, held.piece), what=what, value=verdict.reason,
            limit=verdict.source, met=verdict.met, piece=held.piece,
        )
        for sheet, what, verdict in judged
        if verdict.applies
    ]  # fmt: skip


def _piece(book: Book, piece: str) -> cooks.Piece | None:
    held = book.pieces.get(piece)
    return None if held is None else held.piece


def _product(book: Book, piece: str) -> str:
    known = _piece(book, piece)
    return f"{piece} (lot {known.lot})" if known is not None and known.lot else piece


def _supplier(book: Book, piece: str) -> str:
    known = _piece(book, piece)
    if known is None:
        return ""
    told = {"supplier": known.supplier, "grade": known.grade, "lot": known.lot}
    return ", ".join(f"{word} {value}" for word, value in told.items() if value)
