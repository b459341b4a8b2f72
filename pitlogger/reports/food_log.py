"""The food log, to be printed, kept and shown to whoever asks; and the same form, blank.

A caterer answers to the local code, which asks for records of receiving, cold and hot holding,
cooking, cooling, reheating and discards (FDA Food Code 2022, 8-103.12, 8-201.14); an inspected
plant to 9 CFR 417.3 and 417.5, which are named under that policy alone.
"""

from __future__ import annotations

from collections.abc import Iterator

from pitlogger.formats.journal_json import dump_entry
from pitlogger.model.journal import CheckMade, CorrectiveTaken, SignedOff
from pitlogger.model.quantities import show_temperature
from pitlogger.reports.cook_record import CookRecord, Premises
from pitlogger.reports.cook_report import NOTHING, made_by, remarks_of, told_verdict
from pitlogger.reports.sheet import CAUTIONS, Block, Facts, Heading, Lines, Sheet, Table
from pitlogger.safety.policy import Policy, Temperature
from pitlogger.safety.record import SHEETS, LogRow, ShownIn, SignOff, chain, missing, verify
from pitlogger.safety.sheets import sheets
from pitlogger.views import words
from pitlogger.views.language import mark, tr
from pitlogger.views.shown import reworded, reworded_rows
from pitlogger.views.since_signed import since_signed

HEADS = (
    mark("observed"), mark("entered"), mark("product"), mark("what"), mark("value"),
    mark("limit and source"), mark("verdict"), mark("instrument"), mark("by"),
    mark("corrective action"),
)  # fmt: skip
BY_HAND = "_" * 32
INSPECTED = "inspected-plant"
LOCAL_CODE = mark("the local food code; ask your authority what it wants kept")
BLANK_LINES = 4
BLANK_HEADS: dict[str, tuple[str, ...]] = {
    "receiving": (
        mark("time"), mark("product, lot"), mark("supplier"), mark("temperature"),
        mark("condition"), mark("accepted or refused"), mark("by"),
    ),
    "cook": (
        mark("time"), mark("product, lot"), mark("where"), mark("temperature"), mark("probe"),
        mark("what was done"), mark("by"),
    ),
    "time": (
        mark("begun"), mark("product, lot"), mark("temperature at its start"), mark("4 h or 6 h"),
        mark("discard time marked on it"), mark("served or thrown away at"), mark("by"),
    ),
    "waste": (mark("time"), mark("product, lot"), mark("mass"), mark("reason"), mark("by")),
    "thermometers": (
        mark("time"), mark("instrument"), mark("ice or boiling water"), mark("reads"),
        mark("within"), mark("by"),
    ),
}  # fmt: skip
BLANK_CORRECTIVE = (
    mark("time"), mark("product, lot"), mark("cause"), mark("control restored"),
    mark("prevention"), mark("disposition"), mark("by"),
)  # fmt: skip
_SELDOM = ("entered", "instrument", "corrective action")  # left out where no row has any


def food_log(record: CookRecord) -> Sheet:
    """Return every sheet of the log, what it lacks, corrective action and sign-offs."""
    unit = record.units.temperature
    rows = reworded_rows(
        sheets(
            record.entries, record.book, record.verdicts, record.policy, record.end_ms,
            record.logged, ShownIn(unit, record.units.mass),
        ), unit, record.wall.moment,
    )  # fmt: skip
    blocks: list[Block] = [Facts(tuple(_facts(record)))]
    for name, title in SHEETS.items():
        mine = [row for row in rows if row.sheet == name]
        blocks.append(Heading(tr(title)))
        blocks.append(_table(record, mine) if mine else Lines((tr("No entry."),)))
    blocks += _checks(record)
    blocks += _corrective(record)
    blocks += _lacking(rows)
    blocks += [
        Heading(tr("Gaps, corrections, instruments")),
        Lines((*remarks_of(record), *_late(record)) or (tr(NOTHING),)),
    ]
    blocks += _signed(record)
    return Sheet(
        title=tr("Food log: {name}", name=record.cook.name),
        about=_about(record),
        blocks=tuple(blocks),
        cautions=CAUTIONS,
        made=made_by(record),
        small=True,
    )


def _about(record: CookRecord) -> str:
    if not _is_timed(record):
        return tr("{node}, from a pad: time not recorded", node=record.node)
    return tr(
        "{node}, {begin} to {end}",
        node=record.node,
        begin=record.wall.full(record.start_ms),
        end=record.wall.full(record.end_ms),
    )


def _is_timed(record: CookRecord) -> bool:
    """Return whether any time of the cook is known: of one from a pad none may be."""
    timed = [getattr(entry.body, "timed", "") for entry in record.entries]
    return any(word in ("live", "stated") for word in timed) or not any(timed)


def premises_facts(premises: Premises) -> Iterator[tuple[str, str]]:
    """Yield whose log it is; what nobody said is a line to write on."""
    for name, value in (
        (tr("Premises"), ", ".join(one for one in (premises.name, premises.address) if one)),
        (tr("Person in charge"), premises.person_in_charge),
        (tr("Licence or permit"), premises.permit),
    ):
        yield name, value or BY_HAND


def _facts(record: CookRecord) -> Iterator[tuple[str, str]]:
    yield from premises_facts(record.premises)
    yield tr("Policy"), f"{record.policy.name} {record.policy.version}: {record.policy.title}"
    yield (
        tr("Kept under"),
        tr("9 CFR 417.3 and 417.5") if record.policy.name == INSPECTED else tr(LOCAL_CODE),
    )
    if _is_timed(record):
        yield tr("Times"), record.wall.zone_words(record.start_ms, record.end_ms)
    for held in record.book.pieces.values():
        piece = held.piece
        told = [words.cut(piece.cut), piece.prepared, *(
            f"{word} {value}"
            for word, value in (("supplier", piece.supplier), ("grade", piece.grade),
                                ("lot", piece.lot))
            if value
        )]  # fmt: skip
        yield piece.id, ", ".join(told)


def product_name(record: CookRecord, row: LogRow) -> str:
    """Return what a row is about: the cut by its name, then id and lot."""
    held = record.book.pieces.get(row.piece)
    return row.product if held is None else f"{words.cut(held.piece.cut)}: {row.product}"


def blank_log(premises: Premises, policy: Policy) -> Sheet:
    """Return the same form with empty lines, for days without power."""
    hot, cold = shown_limit(policy.hot_hold), shown_limit(policy.cold_hold)
    above, below = tr("{hot} or above", hot=hot), tr("{cold} or below", cold=cold)
    limits = {"cold-hold": below, "hot-hold": above}
    blocks: list[Block] = [
        Facts(
            (*premises_facts(premises), (tr("Day, event"), BY_HAND), (tr("Policy"), policy.title))
        )
    ]
    for name, title in SHEETS.items():
        blocks.append(Heading(tr(title) + (f", {limits[name]}" if name in limits else "")))
        heads = BLANK_HEADS.get(name, BLANK_HEADS["cook"])
        blocks.append(Table(tuple(map(tr, heads)), (), blank=BLANK_LINES))
    blocks += [
        Heading(tr("Corrective action")),
        Table(tuple(map(tr, BLANK_CORRECTIVE)), (), blank=2),
        Heading(tr("Review")),
        Table((tr("reviewed by"), tr("date and time"), tr("signature")), (), blank=1),
    ]
    return Sheet(tr("Food log"), blocks=tuple(blocks), cautions=CAUTIONS, small=True)


def shown_limit(limit: Temperature) -> str:
    return f"{show_temperature(limit.mc)} ({show_temperature(limit.mc, 'C')})"


def _table(record: CookRecord, rows: list[LogRow]) -> Table:
    struck = {number for number, row in enumerate(rows) if row.struck_by is not None}
    cells = [(*_cells(record, row), _answer(record, row)) for row in rows]
    shown = [
        at
        for at, head in enumerate(HEADS)
        if head not in _SELDOM or any(cell[at] for cell in cells)
    ]
    return Table(
        tuple(tr(HEADS[at]) for at in shown),
        tuple(tuple(cell[at] for at in shown) for cell in cells),
        struck=frozenset(struck),
    )


def _cells(record: CookRecord, row: LogRow) -> tuple[str, ...]:
    observed = record.wall.full(row.observed_ms) if row.is_timed else tr("time not recorded")
    if row.id is None and not _is_timed(record):
        observed = ""
    differs = row.is_timed and row.entered_ms != row.observed_ms
    entered = record.wall.clock(row.entered_ms) if differs else ""
    judged = row.met is not None or row.id is None
    by = row.by or (tr("computed") if row.id is None else "")
    if row.struck_by is not None:
        by += _struck(record, row.struck_by)
    what = f"{row.what} ({row.note})" if row.note else row.what
    return (
        observed, entered, product_name(record, row), what, row.value, row.limit,
        told_verdict(row.met, row.value) if judged else "", row.instrument, by,
    )  # fmt: skip


def _late(record: CookRecord) -> Iterator[str]:
    """Yield the marks and hand readings that were entered long after what they name."""
    for verdicts in record.verdicts:
        yield from (
            reworded(note, record.units.temperature, record.wall.moment)
            for note in verdicts.notes
            if " later" in note
        )


def _struck(record: CookRecord, by: tuple[str, int]) -> str:
    """Return who struck a row, when and why: striking is also how logs are falsified."""
    entry = next((e for e in record.entries if (e.run, e.seq) == by), None)
    told = tr(" (struck by entry {seq})", seq=by[1])
    if entry is None:
        return told
    reason = getattr(entry.body, "reason", "") or tr("no reason given")
    return f"{told}: {entry.by or '-'}, {record.wall.full(entry.t_ms)}, {reason}"


def _answer(record: CookRecord, row: LogRow) -> str:
    """Return what was done about a limit not met, in its four parts, beside the breach."""
    if row.met is not False or row.struck_by is not None:
        return ""
    taken = row.corrective
    if taken is None:
        return tr("none on record")
    return tr(
        "Cause: {cause}. Control restored: {control_restored}. Prevention: {prevention}."
        " Disposition: {disposition}. {by}, {at}",
        cause=taken.cause,
        control_restored=taken.control_restored,
        prevention=taken.prevention,
        disposition=words.became(taken.disposition, taken.reason),
        by=taken.by,
        at=record.wall.full(taken.at_ms),
    )


def _checks(record: CookRecord) -> Iterator[Block]:
    rows = tuple(
        (
            record.wall.full(entry.t_ms), entry.body.instrument,
            tr(words.CHECKS[entry.body.method]),
            f"{entry.body.error / 1000:+.2f}", f"{entry.body.tolerance / 1000:.2f}",
            tr("within") if entry.body.within else tr("outside"), entry.body.reference, entry.by,
        )
        for entry in record.logged
        if isinstance(entry.body, CheckMade)
    )  # fmt: skip
    if rows:
        heads = (
            tr("at"),
            tr("instrument"),
            tr("method"),
            tr("error"),
            tr("tolerance"),
            tr("found"),
            tr("reference"),
            tr("by"),
        )
        caption = tr("Checks of instruments (K; g for a scale)")
        yield Table(heads, rows, caption=caption, numbers=frozenset({3, 4}))


def _corrective(record: CookRecord) -> Iterator[Block]:
    rows = tuple(
        (
            record.wall.full(entry.t_ms), entry.body.piece, entry.body.cause,
            entry.body.control_restored, entry.body.prevention,
            words.became(entry.body.disposition, entry.body.reason), entry.by,
        )
        for entry in record.logged
        if isinstance(entry.body, CorrectiveTaken)
    )  # fmt: skip
    yield Heading(tr("Corrective action"))
    if rows:
        heads = (
            tr("at"),
            tr("piece"),
            tr("cause"),
            tr("control restored"),
            tr("prevention"),
            tr("disposition"),
            tr("by"),
        )
        yield Table(heads, rows)
    else:
        yield Lines((tr(NOTHING),))


def _lacking(rows: list[LogRow]) -> Iterator[Block]:
    told = tuple(
        tr(
            "{sheet}, {product}, {what}: {names} missing.",
            sheet=tr(SHEETS[row.sheet]),
            product=row.product,
            what=row.what,
            names=", ".join(lacking),
        )
        for row in rows
        if (lacking := missing(row))
    )
    yield Heading(tr("What is missing"))
    yield Lines(told or (tr("Nothing that this log asks of an entry."),))


def _signed(record: CookRecord) -> Iterator[Block]:
    links = chain(dump_entry(entry) for entry in record.entries)
    signed = [
        SignOff(entry.by, entry.t_ms, entry.body.entries, entry.body.head, entry.body.name)
        for entry in record.logged
        if isinstance(entry.body, SignedOff)
    ]
    faults = verify(links, signed)
    yield Heading(tr("Review"))
    yield Lines((
        *(tr("Reviewed up to entry {seq} by {by}, {at}.", seq=held.seq,
             by=f"{held.name} ({held.by})" if held.name else held.by,
             at=record.wall.full(held.at_ms))
          for held in signed),
        *_unsigned(len(links), signed),
        *(f"{record.wall.full(one.t_ms)}, {one.by or '-'}: {told}" for one, told in
          (since_signed(record.entries, signed[-1].seq, record.units) if signed else ())),
        *(faults or [tr("The chain of {count} entries holds; its head is {hash}.",
                        count=len(links), hash=links[-1].hash)]),
    ))  # fmt: skip
    if not signed:
        yield Table((tr("reviewed by"), tr("date and time"), tr("signature")), (), blank=1)


def _unsigned(entries: int, signed: list[SignOff]) -> Iterator[str]:
    """Say where something came after the last signature: this version is not the signed one."""
    if signed and entries > signed[-1].seq:
        yield tr(
            "{count} entries came after the last signature: this version is unsigned. The signed"
            " copy can be printed as it was.",
            count=entries - signed[-1].seq,
        )
