"""What a scanned code does: it names the piece of the weighing, stage or probe beside it.

A tag stands for a minute, before or after what it is about: the load that lies on the scale and
was not kept, the press of a button that could not tell which piece was meant, the probe that
was just put in, the label of the box the meat came in. It is used up by it. Two pieces within
a minute, an unknown code, a mass that fits nothing: then nothing is entered but a note.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import date

from pitlogger.engine.buttons import Binding, decisions
from pitlogger.engine.scales import scales, weighed_on
from pitlogger.engine.step import Engine
from pitlogger.errors import RefusedError, unknown
from pitlogger.formats.gs1 import BoxLabel, is_gs1, parse_gs1
from pitlogger.formats.tags import PieceTag, TrayTag, cook_mark, read_tag
from pitlogger.model.book import PieceBook
from pitlogger.model.cooks import Channel
from pitlogger.model.journal import Body, ChannelAssigned, Corrected, Noted, Received, Weighed
from pitlogger.model.quantities import Quantity
from pitlogger.model.readings import Site
from pitlogger.yields.causes import PLACE
from pitlogger.yields.weighing.expected import Expected, expected_of

STANDS_MS = 60_000
_LEAST_MG = 50_000  # less is no load
_LEAST_DENSITY = 0.005  # about three standard deviations off: no weighing that is waited for
_CLEARLY = 4.0  # times as likely as the other checkpoint
_PUT_IN_MC, _MINUTES = 5_000, 3


@dataclass(slots=True)
class Scans:
    """What was scanned and not used yet, each with its time; ``named`` are loads used up."""

    piece: tuple[str, int] | None = None
    tray: tuple[str, int, int] | None = None  # name, mass
    box: tuple[BoxLabel, str, int] | None = None
    press: tuple[Binding, int] | None = None
    named: dict[str, int | None] = field(default_factory=dict)  # scale: when its load settled
    boxes: dict[str, str] = field(default_factory=dict)  # text of a box: its piece

    def take_piece(self, now_ms: int) -> str | None:
        """Return the piece that was scanned within a minute, once."""
        found, self.piece = self.piece, None
        return found[0] if found and now_ms - found[1] <= STANDS_MS else None

    def waits(self, now_ms: int) -> bool:
        """Tell whether a piece was scanned that nothing has used yet."""
        return self.piece is not None and now_ms - self.piece[1] <= STANDS_MS


def scanned(
    engine: Engine, scans: Scans, text: str, now_ms: int, today: date, tares_mg: Mapping[str, int]
) -> list[Body]:
    """Return what a code amounts to, together with what was done or scanned before it.

    Args:
        tares_mg: Known containers.

    Raises:
        RefusedError: It is not clear what is meant, or it cannot be.
        DecodeError: A box label that breaks the rules of GS1.
    """
    tag = read_tag(text)
    match tag:
        case PieceTag():
            return _piece(engine, scans, tag, now_ms, today)
        case TrayTag():
            return _tray(engine, scans, tag.name, now_ms, tares_mg)
    if not is_gs1(text):
        raise RefusedError(f"code '{text[:40]}' is no tag of a piece or tray, and no box label")
    label = parse_gs1(text, today.year)
    if scans.box and scans.box[1] != text and now_ms - scans.box[2] <= STANDS_MS:
        scans.box = None
        raise RefusedError("two box labels were scanned within a minute: scan box and piece again")
    scans.box = (label, text, now_ms)
    if not scans.waits(now_ms):
        return []
    return _received(engine, scans, _open(engine, scans.take_piece(now_ms) or ""), now_ms, today)


def after(engine: Engine, scans: Scans, channel: str, now_ms: int) -> list[Body]:
    """Return what a piece scanned before amounts to, now that a channel was read."""
    if not scans.waits(now_ms) or scans.piece is None:
        return []
    held = _open(engine, scans.piece[0])
    found: list[Body] = []
    if channel in scales(engine) and _load_mg(engine, scans, channel) is not None:
        scans.piece = None
        found = _weighed(engine, scans, held, channel, now_ms)
    elif channel in _put_in(engine):
        scans.piece = None
        found = [_in(engine, channel, held.piece.id)]
    return found


def _piece(engine: Engine, scans: Scans, tag: PieceTag, now_ms: int, today: date) -> list[Body]:
    held = _open(engine, tag.piece)
    if tag.cook and tag.cook != cook_mark(held.cook):
        raise RefusedError(f"the tag of {tag.piece} is of another cook: print new ones")
    other = scans.take_piece(now_ms)
    if other is not None and other != tag.piece:
        raise RefusedError(f"{other} and {tag.piece} were scanned within a minute: which is meant?")
    if scans.box and now_ms - scans.box[2] <= STANDS_MS:
        return _received(engine, scans, held, now_ms, today)
    if scans.press and now_ms - scans.press[1] <= STANDS_MS:
        binding, scans.press = scans.press[0], None
        return decisions(engine, replace(binding, piece=tag.piece), now_ms)
    loaded = [one for one in scales(engine) if _load_mg(engine, scans, one) is not None]
    if len(loaded) > 1:
        raise RefusedError(f"{tag.piece}: there is a load on each of {', '.join(loaded)}")
    if loaded:
        return _weighed(engine, scans, held, loaded[0], now_ms)
    probes = _put_in(engine)
    if len(probes) > 1:
        raise RefusedError(f"{tag.piece}: {', '.join(probes)} were put in: say which is its probe")
    if probes:
        return [_in(engine, probes[0], tag.piece)]
    scans.piece = (tag.piece, now_ms)
    return []


def _open(engine: Engine, piece: str) -> PieceBook:
    book = engine.book
    if not book.open_cooks():
        raise RefusedError(f"{piece} was scanned, and no cook is running")
    known = {name: held for name, held in book.pieces.items() if held.is_open}
    if piece not in known:
        raise RefusedError(unknown("piece", piece, known))
    return known[piece]


def _load_mg(engine: Engine, scans: Scans, channel: str) -> int | None:
    """Return the gross mass that lies on a scale and was not kept yet, ``None`` without one."""
    state = engine.state.channels.get(channel)
    if state is None or state.stale or state.steadiness.steady_mg is None:
        return None
    since_ms, gross_mg = state.steadiness.since_ms, state.steadiness.steady_mg
    tared = engine.book.tares.get(channel)
    if gross_mg - (tared.tare_mg if tared else 0) < _LEAST_MG:
        return None
    if channel in scans.named and scans.named[channel] == since_ms:
        return None
    kept_ms = max(
        (
            one.weighed.at_ms
            for held in engine.book.pieces.values()
            for one in held.weighings
            if one.weighed.channel == channel
        ),
        default=-1,
    )
    return None if since_ms is None or kept_ms >= since_ms else gross_mg


def _weighed(
    engine: Engine, scans: Scans, held: PieceBook, channel: str, now_ms: int
) -> list[Body]:
    """Return the weighing of a piece at the checkpoint that its mass fits."""
    scans.named[channel] = engine.state.channels[channel].steadiness.since_ms
    tray, scans.tray = scans.tray, None
    name, tare_mg = (None, None) if tray is None or now_ms - tray[2] > STANDS_MS else tray[:2]
    piece = held.piece.id
    body = weighed_on(engine, channel, piece, "purchased", now_ms, tare_mg, name)
    checkpoint = _checkpoint(engine, piece, body, now_ms)
    return [replace(body, checkpoint=checkpoint)]


def _checkpoint(engine: Engine, piece: str, body: Weighed, now_ms: int) -> str:
    shown = f"{piece}: {body.net_mg / 1_000_000:.3f} kg"
    if body.net_mg < _LEAST_MG:
        raise RefusedError(f"{shown} is no load: is the right container taken off?")
    net_g, known = body.net_mg / 1000, engine.book.pieces
    fits: list[tuple[float, Expected]] = sorted(
        (
            (one.chance * one.density(net_g), one)
            for one in expected_of(known[piece], list(known.values()), now_ms)
            if one.checkpoint in PLACE
        ),
        key=lambda fit: -fit[0],
    )
    if not fits or fits[0][0] < _LEAST_DENSITY:
        raise RefusedError(f"{shown} fits no weighing that it waits for: keep it on the page")
    best = fits[0][1].checkpoint
    if len(fits) > 1 and fits[0][0] < _CLEARLY * fits[1][0]:
        raise RefusedError(f"{shown} may be {best} or {fits[1][1].checkpoint}: keep it on the page")
    return best


def _tray(
    engine: Engine, scans: Scans, name: str, now_ms: int, tares_mg: Mapping[str, int]
) -> list[Body]:
    """Return the correction of the weighing just kept, or let the tray stand for the next."""
    if name not in tares_mg:
        raise RefusedError(unknown("container", name, tares_mg))
    for held in engine.book.pieces.values():
        for one in held.weighings:
            body = one.weighed
            if (
                body.source == "scale"
                and now_ms - body.at_ms <= STANDS_MS
                and body.container is None
                and body.tare_mg == 0
                and body.gross_mg > tares_mg[name]
            ):
                right = replace(body, tare_mg=tares_mg[name], container=name, preset_tare=True)
                return [Corrected(*one.id, right, f"it lay on {name}")]
    other = scans.tray
    if other is not None and other[0] != name and now_ms - other[2] <= STANDS_MS:
        scans.tray = None
        raise RefusedError(f"{other[0]} and {name} were scanned within a minute: which is it?")
    scans.tray = (name, tares_mg[name], now_ms)
    return []


def _received(
    engine: Engine, scans: Scans, held: PieceBook, now_ms: int, today: date
) -> list[Body]:
    """Return how a piece came in by the label of its box: batch, dates, the mass billed."""
    assert scans.box is not None
    (label, text, _), scans.box = scans.box, None
    piece = held.piece.id
    earlier = [
        entry.body
        for entry in engine.state.entries
        if isinstance(entry.body, Received) and entry.body.piece == piece
    ]
    if earlier and not earlier[-1].accepted:
        raise RefusedError(f"{piece} was refused on receiving: its box label changes nothing")
    if label.use_by is not None and label.use_by < today:
        raise RefusedError(
            f"{piece}: use by {label.use_by} on its box lies behind: receive it by hand, or not"
        )
    bodies: list[Body] = [Received(piece, True, now_ms, None, _said(label), None, label.lot)]
    other = scans.boxes.setdefault(text, piece)
    if label.net_mg is None or held.net_mg("label") is not None:
        return bodies
    if other != piece:
        words = f"{other} and {piece} came in one box of {label.net_mg / 1_000_000:.3f} kg"
        return [*bodies, Noted(f"{words}: its mass is of both, check what was billed", piece)]
    return [*bodies, Weighed(piece, "label", label.net_mg, 0, now_ms)]


def _said(label: BoxLabel) -> str:
    """Return what is on a box in words, for the food log."""
    parts = (
        ("article", label.gtin), ("serial", label.serial), ("made", label.made),
        ("packed", label.packed), ("best before", label.best_before), ("use by", label.use_by),
    )  # fmt: skip
    return "box label: " + (", ".join(f"{n} {v}" for n, v in parts if v is not None) or "batch")


def _put_in(engine: Engine) -> list[str]:
    """Return the probes without a piece that were put somewhere within the last minutes."""
    found = []
    for name, lane in engine.lanes.items():
        held = engine.book.assignment(name)
        sits = lane.site if held is None else held.channel.site
        if lane.piece is not None or sits not in (Site.NONE, Site.CORE) or not lane.is_temperature:
            continue
        minutes = lane.state.minutes_mc
        if lane.state.heard_well() and len(minutes) >= _MINUTES:
            moved_mc = abs(minutes[-1] - minutes[-_MINUTES])
            if moved_mc >= _PUT_IN_MC:
                found.append(name)
    return found


def _in(engine: Engine, channel: str, piece: str) -> Body:
    known = engine.declared(channel) or Channel(channel, quantity=Quantity.TEMPERATURE)
    return ChannelAssigned(replace(known, site=Site.CORE, piece=piece))
