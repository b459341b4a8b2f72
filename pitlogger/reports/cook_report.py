"""The cook report: a whole cook on one printed page."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import islice

from pitlogger import __version__
from pitlogger.model.alerts import ANNUNCIATED, AlertState, alert_class
from pitlogger.model.book import Span
from pitlogger.model.entry_ids import short_id
from pitlogger.model.journal import AlertChanged, CheckMade, Corrected, RunStarted, Undone
from pitlogger.model.quantities import show_duration, show_share
from pitlogger.reports import sheet
from pitlogger.reports.cook_record import CookRecord
from pitlogger.reports.joined_chart import MAIN, described, joined_chart
from pitlogger.safety.verdict import NEVER_JUDGED, Verdict, in_words
from pitlogger.views import shown, words
from pitlogger.views.alert_words import alert_words
from pitlogger.views.entries import body_words
from pitlogger.views.language import figure, mark, tr, trn
from pitlogger.views.shown import reworded
from pitlogger.yields.ledger import Account

MOST_ALARMS = 8
MOST_REMARKS = 10
NOTHING = mark("None on record.")
OFF_LEAST_MS = 60_000  # a restart is not worth a line


def cook_report(record: CookRecord) -> sheet.Sheet:
    """Return the report of a cook; one with nothing in it says so."""
    blocks: list[sheet.Block] = [sheet.Facts(tuple(facts_of(record)))]
    blocks.append(sheet.Picture(joined_chart(record), described(record)))
    blocks += yields_of(record)
    blocks += stages_of(record)
    blocks += _verdicts(record)
    blocks += _alarms(record)
    blocks += _remarks(record)
    return sheet.Sheet(
        title=tr("Cook report: {name}", name=record.cook.name),
        about=tr(
            "{node}, {begin} to {end}",
            node=record.node,
            begin=record.wall.full(record.start_ms),
            end=record.wall.full(record.end_ms),
        ),
        blocks=tuple(blocks),
        cautions=sheet.CAUTIONS,
        made=made_by(record),
        small=True,
    )


def made_by(record: CookRecord) -> str:
    """Return what a sheet was made of."""
    count = len(record.entries)
    entries = trn("{count} journal entry", "{count} journal entries", count)
    policy = f"{record.policy.name} {record.policy.version}"
    return tr(
        "Made by pitlogger {version} from {entries} of cook {id}. Limits: {policy}.",
        version=__version__,
        entries=entries,
        id=record.id,
        policy=policy,
    )


def facts_of(record: CookRecord) -> Iterator[tuple[str, str]]:
    """Yield how long, for whom, when and where it was served."""
    cook = record.cook
    guests = tr(", {guests} guests", guests=cook.guests) if cook.guests else ""
    unfinished = "" if record.book.finished_ms else tr("; not finished: this is the record so far")
    yield tr("Cook"), f"{show_duration(record.end_ms - record.start_ms)}{guests}{unfinished}"
    for service in cook.services:
        place = tr(" at {place}", place=service.place) if service.place else ""
        served = tr(", {guests} guests", guests=service.guests) if service.guests else ""
        yield tr("Served"), f"{record.wall.full(service.at_ms)}{place}{served}"


def yields_of(record: CookRecord) -> Iterator[sheet.Block]:
    """Yield the net mass of each piece at each step."""
    yield sheet.Heading(tr("Yield: net mass at each step, and what is kept of the step before"))
    held = record.accounts
    if not held:
        yield sheet.Lines((tr("Nothing was weighed."),))
        return
    steps = [name for name in MAIN if any(name in one.record.masses for one in held)]
    rows = [row for one in held for row in _account_rows(record, one, steps)]
    yield sheet.Table(
        (tr("piece"), *map(words.checkpoint, steps)),
        tuple(rows),
        numbers=frozenset(range(1, len(steps) + 1)),
    )
    told = " ".join(_servable(record, one) for one in held)
    yield sheet.Lines(
        (tr("{told} Figures after ± are expanded uncertainties, coverage factor 2.", told=told),)
    )


def _account_rows(record: CookRecord, one: Account, steps: list[str]) -> Iterator[tuple[str, ...]]:
    masses = one.record.masses
    kept = {
        step.end: f"{show_share(step.ratio.value, 1)} ± {show_share(2 * step.ratio.u, 1)}"
        for step in one.steps
    }
    yield (
        one.record.piece,
        *(_mass(record, masses[name].value) if name in masses else "" for name in steps),
    )
    yield ("", *(kept.get(name, "") for name in steps))


def _mass(record: CookRecord, mass_g: float) -> str:
    return shown.mass(mass_g * 1000, record.units.mass)


def _servable(record: CookRecord, one: Account) -> str:
    return " ".join(filter(None, (_kept_of_it(record, one), _lost_of_it(record, one))))


def _lost_of_it(record: CookRecord, one: Account) -> str:
    """Return what was thrown away of a piece and why, empty where nothing was."""
    lost = one.losses_g.get("discarded")
    if lost is None:
        return ""
    why = one.record.discarded_why or tr("no reason given")
    mass = _mass(record, lost.value)
    return tr("{piece}: {mass} discarded ({why}).", piece=one.record.piece, mass=mass, why=why)


def _kept_of_it(record: CookRecord, one: Account) -> str:
    share = one.servable_yield
    if one.record.discarded_g is not None:
        return ""
    if share is None or one.servable_g is None:
        return tr(
            "{piece}: servable yield is not known: a weighing is missing.", piece=one.record.piece
        )
    return tr(
        "{piece}: servable {mass}, {value} ± {u} of purchased.",
        piece=one.record.piece,
        mass=_mass(record, one.servable_g.value),
        value=figure(show_share(share.value, 1)),
        u=figure(show_share(2 * share.u, 1)),
    )


def stages_of(record: CookRecord) -> Iterator[sheet.Block]:
    """Yield the stages of each piece with their times."""
    yield sheet.Heading(tr("Stages"))
    rows = [
        (
            held.piece.id,
            words.cut(held.piece.cut),
            ", ".join(_span_words(record, span) for span in spans),
        )
        for held in record.book.pieces.values()
        if (spans := held.spans())
    ]
    if rows:
        yield sheet.Table(
            (tr("piece"), tr("cut"), tr("stage, since and for how long")), tuple(rows)
        )
    else:
        yield sheet.Lines((tr("No stage was set."),))


def _span_words(record: CookRecord, span: Span) -> str:
    name = words.stage(span.stage)
    lasted = "" if span.to_ms is None else f" ({show_duration(span.to_ms - span.from_ms)})"
    return f"{name} {record.wall.clock(span.from_ms)}{lasted}"


def verdicts_of(record: CookRecord) -> Iterator[tuple[str, str, Verdict]]:
    """Yield piece, what was judged, and the verdict, for all that applies."""
    for held in record.verdicts:
        judged = (
            (tr("cold holding"), held.cold_hold), (tr("come-up"), held.come_up),
            (tr("lethality"), held.lethality.verdict), (tr("hot holding"), held.holding),
            (tr("cooling"), held.cooling.verdict), (tr("reheating"), held.reheating),
            (tr("time as a control"), held.time_control),
        )  # fmt: skip
        for what, verdict in judged:
            if verdict.applies:
                yield held.piece, what, verdict


def _verdicts(record: CookRecord) -> Iterator[sheet.Block]:
    yield sheet.Heading(tr("Limits"))
    found = list(verdicts_of(record))
    if not found:
        yield sheet.Lines((tr("No limit applies to what is on record."),))
        return
    sources = list(dict.fromkeys(verdict.source for _, _, verdict in found))
    rows = tuple(
        (
            piece,
            what,
            told_verdict(verdict.met, verdict.reason),
            reworded(verdict.reason, record.units.temperature, record.wall.moment),
            str(sources.index(verdict.source) + 1),
        )
        for piece, what, verdict in found
    )
    yield sheet.Table(
        (tr("piece"), tr("what"), tr("verdict"), tr("what the record shows"), tr("source")), rows
    )
    cited = "; ".join(f"{number}: {source}" for number, source in enumerate(sources, start=1))
    yield sheet.Lines((tr("Sources: {cited}.", cited=cited),))


def _alarms(record: CookRecord) -> Iterator[sheet.Block]:
    raised: dict[str, tuple[int, AlertChanged]] = {}
    rows: list[tuple[str, ...]] = []
    for entry in record.entries:
        body = entry.body
        if not isinstance(body, AlertChanged) or alert_class(body.alert_kind) != "alarm":
            continue
        if body.now is AlertState.UNACKNOWLEDGED:
            raised[body.alert] = (entry.t_ms, body)
        elif body.now not in ANNUNCIATED and body.alert in raised:
            since_ms, first = raised.pop(body.alert)
            rows.append(_alarm_row(record, since_ms, first, entry.t_ms, entry.by))
    rows += [_alarm_row(record, since, first, None, "") for since, first in raised.values()]
    yield sheet.Heading(tr("Alarms"))
    if not rows:
        yield sheet.Lines((tr("None."),))
        return
    left = len(rows) - MOST_ALARMS
    yield sheet.Table(
        (tr("at"), tr("priority"), tr("what"), tr("answered"), tr("by")), tuple(rows[:MOST_ALARMS])
    )
    if left > 0:
        yield sheet.Lines((tr("{left} more stand in the journal.", left=left),))


def _alarm_row(
    record: CookRecord, since_ms: int, first: AlertChanged, until_ms: int | None, by: str
) -> tuple[str, ...]:
    answered = (
        tr("not answered")
        if until_ms is None
        else tr("after {duration}", duration=show_duration(until_ms - since_ms))
    )
    return (
        record.wall.clock(since_ms),
        tr(words.PRIORITIES[first.priority.label]),
        alert_words(first, record.units),
        answered,
        by,
    )


def _remarks(record: CookRecord) -> Iterator[sheet.Block]:
    """Yield what a reader must know to judge the figures."""
    yield sheet.Heading(tr("Instruments, gaps, corrections"))
    remarks = list(remarks_of(record))
    left = len(remarks) - MOST_REMARKS
    more = (tr("{left} more stand in the journal.", left=left),) if left > 0 else ()
    yield sheet.Lines((*islice(remarks, MOST_REMARKS), *more) or (tr(NOTHING),))


def told_verdict(met: bool | None, reason: str) -> str:
    """Return a verdict in words; of what is only ever warned of, that it is no verdict."""
    return tr("warning only") if reason.endswith(NEVER_JUDGED) else tr(in_words(met))


def remarks_of(record: CookRecord) -> Iterator[str]:
    """Yield checks of instruments, offsets, gaps in the data, lost readings and corrections."""
    checks = [e for e in record.logged if isinstance(e.body, CheckMade)]
    latest = {e.body.instrument: e for e in checks if isinstance(e.body, CheckMade)}
    known = list(dict.fromkeys([*(line.channel for line in record.lines), *latest]))
    if unchecked := [name for name in known if name not in latest]:
        yield tr("No check on record: {names}.", names=", ".join(unchecked))
    for instrument, entry in latest.items():
        assert isinstance(entry.body, CheckMade)
        word = tr("within") if entry.body.within else tr("OUTSIDE")
        yield (
            tr(
                "{instrument}: {method} check {begin}, error {error}, {word} {tolerance} {unit},"
                " by {by}.",
                instrument=instrument,
                method=tr(words.CHECKS[entry.body.method]),
                begin=record.wall.full(entry.t_ms),
                error=figure(f"{entry.body.error / 1000:+.2f}"),
                word=word,
                tolerance=figure(f"{entry.body.tolerance / 1000:.2f}"),
                unit="g" if entry.body.method == "scale" else "K",
                by=entry.by or tr("nobody named"),
            )
        )
    for entry, adjusted in record.book.adjusted:
        yield (
            tr(
                "{channel}: offset {offset} set {begin} ({by}).",
                channel=adjusted.channel,
                offset=figure(f"{adjusted.offset / 1000:+.2f}"),
                begin=record.wall.full(entry.t_ms),
                by=adjusted.reason or tr("no reason given"),
            )
        )
    for channel, from_ms, to_ms in record.gaps:
        yield (
            tr(
                "{channel}: no reading from {at} to {end} ({duration}).",
                channel=channel,
                at=record.wall.clock(from_ms),
                end=record.wall.clock(to_ms),
                duration=show_duration(to_ms - from_ms),
            )
        )
    yield from _offs(record)
    for lost in record.lost:
        yield tr(
            "{readings} readings were lost: {reason}.", readings=lost.readings, reason=lost.reason
        )
    yield from _put_right(record)


def _put_right(record: CookRecord) -> Iterator[str]:
    """Yield what was taken back or corrected: old and new, when, by whom and why."""
    said = {(one.run, one.seq): body_words(one.body, record.units) for one in record.entries}
    for entry in record.entries:
        body = entry.body
        if not isinstance(body, Undone | Corrected):
            continue
        known = short_id(body.of_run, body.of_seq)
        old = said.get((body.of_run, body.of_seq))
        told = {
            "of": f"{known} ({old})" if old else known,
            "at": record.wall.full(entry.t_ms),
            "by": entry.by or tr("nobody named"),
            "why": f": {body.reason}" if body.reason else "",
        }
        if isinstance(body, Undone):
            yield tr("Entry {of} was taken back at {at} by {by}{why}.", **told)
        else:
            new = body_words(body.body, record.units)
            yield tr("Entry {of} was corrected at {at} by {by} to {new}{why}.", new=new, **told)


def _offs(record: CookRecord) -> Iterator[str]:
    """Yield when the node itself was off: what an unknown time was is not made up."""
    for entry in record.entries:
        if not isinstance(entry.body, RunStarted):
            continue
        gap_ms, at = entry.body.gap_ms, record.wall.clock(entry.t_ms)
        if gap_ms is None:
            yield tr("pitlogger was off until {at}; for how long is not known.", at=at)
        elif gap_ms >= OFF_LEAST_MS:
            yield tr(
                "pitlogger was off until {at}, for {duration}.",
                at=at,
                duration=show_duration(gap_ms),
            )
