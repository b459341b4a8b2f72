"""How things stand: the cook, its pieces, what each channel reads, the alerts."""

from __future__ import annotations

from pitlogger.clock import rfc3339
from pitlogger.engine.compiled_channel import Lane
from pitlogger.model.book import PieceBook
from pitlogger.model.cooks import Stage
from pitlogger.model.entry_ids import short_id
from pitlogger.model.next_steps import NEXT_CHECKPOINT, NEXT_STAGE
from pitlogger.model.quantities import Quantity, show_duration, show_share
from pitlogger.model.readings import Quality, Site
from pitlogger.pipeline.grate import Grate
from pitlogger.views import words
from pitlogger.views.alert_words import standing_words
from pitlogger.views.alerts import AlertView, active, alerts
from pitlogger.views.language import tr
from pitlogger.views.node import Node
from pitlogger.views.shown import Shown, temperature
from pitlogger.views.view import Moment, View, moment


class CookName(View):
    id: str | None
    name: str


class UnitsView(View):
    """The units people read on this node."""

    temperature: str
    mass: str


class ChannelView(View):
    """What a channel reads, how old that is, and where it sits.

    Attributes:
        at: When it was last heard, ``None`` for never.
        doubt: Why its readings are not believed, ``None`` where they are.
    """

    channel: str
    site: Site
    piece: str | None
    quantity: Quantity
    quality: Quality
    doubt: str | None
    at: Moment | None
    age_s: float | None


class TemperatureChannel(ChannelView):
    temperature_c: float | None
    slope_c_per_h: float | None
    stalled: bool


class ScaleChannel(ChannelView):
    """What lies on a scale; ``steadiness`` runs from 0 to 1, ``steady_g`` is known at 1."""

    mass_g: float | None
    steady_g: float | None
    steadiness: float
    tare_g: float
    container: str | None


class ShareChannel(ChannelView):
    """A humidity or a battery."""

    value_pct: float | None


class OtherChannel(ChannelView):
    """Any other quantity, in the unit that captures give it."""

    value: float | None


AnyChannel = TemperatureChannel | ScaleChannel | ShareChannel | OtherChannel


class WeighingView(View):
    """One weighing of a piece, by the id and the numbers of its entry."""

    id: str
    run: str
    seq: int
    checkpoint: str
    net_g: float
    at: Moment
    by: str
    corrected: bool


class ByTimeView(View):
    """A piece held by time: since when, and when what is left of it is thrown away."""

    since: Moment
    hours: int
    discard_at: Moment
    remaining_s: float | None  # below zero once it is over, null once it was eaten


class GrateView(View):
    """What a piece does on a load cell: mass as put on and now, lost, added."""

    put_on_g: float
    now_g: float
    lost_g: float
    added_g: float


class PieceView(View):
    """A piece: its stage, what comes next, its targets, its weighings.

    Attributes:
        ended: It was split or put together with others: its children are followed.
        cores: Its core channels, the lead one first.
    """

    piece: str
    cook: str  # its id
    cut: str
    count: int
    stage: Stage
    stage_label: str
    since: Moment
    ended: bool
    children: tuple[str, ...]
    next_stage: Stage | None
    next_checkpoint: str | None
    wrap: str | None
    wrap_at_c: float | None
    pull_at_c: float | None
    cores: tuple[str, ...]
    held_by_time: ByTimeView | None
    weighings: tuple[WeighingView, ...]
    on_grate: GrateView | None


class StatusView(View):
    """How things stand on a node.

    Attributes:
        now: Of the node's clock.
        store: What keeps the record from being written, ``None`` while it is.
    """

    sentence: str
    now: Moment
    node: str
    run: str
    cook: CookName | None  # the newest of the open ones
    cooks: tuple[CookName, ...]
    units: UnitsView
    currency: str
    channels: tuple[AnyChannel, ...]
    pieces: tuple[PieceView, ...]
    alerts: tuple[AlertView, ...]
    store: str | None


def is_running(node: Node) -> bool:
    """Return whether a cook runs."""
    book = node.engine.book
    return book.cook is not None and book.finished_ms is None


def status(node: Node) -> StatusView:
    """Return how things stand now."""
    engine, now_ms, book = node.engine, node.clock.engine_ms(), node.engine.book
    cooks = tuple(
        CookName(id=cook, name=span.cook.name) for cook, span in book.open_cooks().items()
    )
    return StatusView(
        sentence=sentence(node, now_ms),
        now=rfc3339(now_ms + node.utc_offset_ms),
        node=node.config.node.name,
        run=node.run,
        cook=cooks[-1] if cooks else None,
        cooks=cooks,
        units=UnitsView(temperature=node.units.temperature, mass=node.units.mass),
        currency=node.config.units.currency,
        channels=tuple(channel_view(node, lane, now_ms) for lane in engine.lanes.values()),
        pieces=tuple(
            piece_view(node, held) for held in book.pieces.values() if held.over_ms is None
        ),
        alerts=tuple(alerts(node)),
        store=None if node.trouble is None else node.trouble.message,
    )


def channel_view(node: Node, lane: Lane, now_ms: int) -> AnyChannel:
    """Return what a channel reads, how old that is and where it is heading."""
    state = lane.state
    declared = node.engine.declared(state.id)
    quantity = (declared.quantity if declared else None) or lane.site.usual_quantity
    heard = state.heard_ms >= 0
    head = ChannelView(
        channel=state.id,
        site=lane.site,
        piece=lane.piece,
        quantity=quantity,
        quality=Quality.STALE if state.stale else state.quality,
        doubt=state.doubt or ("contradicted" if state.contradicted else None),
        at=moment(state.heard_ms, node.utc_offset_ms) if heard else None,
        age_s=round((now_ms - state.heard_ms) / 1000, 1) if heard else None,
    )
    value = None if state.value is None else state.value / 1000
    if quantity is Quantity.MASS:
        steady_mg, tare = state.steadiness.steady_mg, node.engine.book.tares.get(state.id)
        return ScaleChannel(
            **dict(head),
            mass_g=value,
            steady_g=None if steady_mg is None or state.stale else steady_mg / 1000,
            steadiness=round(state.steadiness.shown(), 2),
            tare_g=0.0 if tare is None else tare.tare_mg / 1000,
            container=None if tare is None else tare.container,
        )
    if quantity is Quantity.TEMPERATURE:
        return TemperatureChannel(
            **dict(head),
            temperature_c=value,
            slope_c_per_h=state.trend.slope_c_per_h,
            stalled=state.trend.stalled,
        )
    if quantity in (Quantity.HUMIDITY, Quantity.BATTERY):
        return ShareChannel(**dict(head), value_pct=value)
    return OtherChannel(**dict(head), value=value)


def piece_view(node: Node, held: PieceBook) -> PieceView:
    """Return a piece: its stage, what comes next, its targets and its weighings."""
    piece, policy, offset_ms = held.piece, node.policy, node.utc_offset_ms
    wrap_at, pull_at = policy.wrap_at_mc(piece), policy.pull_at_mc(piece)
    return PieceView(
        piece=piece.id,
        cook=held.cook,
        cut=piece.cut,
        count=piece.count,
        stage=held.stage,
        stage_label=words.stage(held.stage),
        since=rfc3339(held.stage_since_ms + offset_ms),
        ended=held.ended_ms is not None,
        children=tuple(held.children),
        next_stage=NEXT_STAGE.get(held.stage),
        next_checkpoint=NEXT_CHECKPOINT.get(held.stage),
        wrap=held.wrap,
        wrap_at_c=None if wrap_at is None else wrap_at / 1000,
        pull_at_c=None if pull_at is None else pull_at / 1000,
        cores=tuple(node.engine.book.cores(piece.id)),
        held_by_time=by_time_view(node, held),
        weighings=tuple(
            WeighingView(
                id=short_id(*weighing.id),
                run=weighing.id[0],
                seq=weighing.id[1],
                checkpoint=weighing.weighed.checkpoint,
                net_g=weighing.weighed.net_mg / 1000,
                at=rfc3339(weighing.weighed.at_ms + offset_ms),
                by=weighing.by,
                corrected=weighing.corrected,
            )
            for weighing in held.weighings
        ),
        on_grate=next((_grate_view(grate) for grate in grates(node, piece.id)), None),
    )


def _grate_view(grate: Grate) -> GrateView:
    return GrateView(
        put_on_g=grate.put_on_mg / 1000, now_g=grate.now_mg / 1000,
        lost_g=-grate.slow_mg / 1000, added_g=grate.added_mg / 1000,
    )  # fmt: skip


def grates(node: Node, piece: str) -> list[Grate]:
    """Return the load cells on which a piece alone lies."""
    return [
        grate
        for channel, grate in node.engine.state.grates.items()
        if grate.put_on_mg and node.engine.lanes[channel].piece == piece
    ]


def by_time_view(node: Node, held: PieceBook) -> ByTimeView | None:
    """Return the time left of a piece that is held by time, ``None`` where it is not."""
    clocks = node.engine.state.clocks.get(held.piece.id)
    if held.by_time is None or clocks is None or clocks.by_time is None:
        return None
    clock, offset_ms = clocks.by_time, node.utc_offset_ms
    return ByTimeView(
        since=rfc3339(clock.since_ms + offset_ms),
        hours=held.by_time.said.hours,
        discard_at=rfc3339(clock.discard_ms + offset_ms),
        remaining_s=clock.remaining_s(node.clock.engine_ms()),
    )


def sentence(node: Node, now_ms: int) -> str:
    """Return how things stand in one sentence."""
    engine, unit = node.engine, node.units.temperature
    book = engine.book
    if not is_running(node):
        return tr("No cook is running.")
    shown = Shown(node.units, now_ms, node.utc_offset_ms)
    parts = [standing_words(node, alarm, shown) for alarm in active(node, "alarm")[:1]]
    parts += [
        tr("{channel} at {value}", channel=lane.state.id, value=temperature(lane.state.level, unit))
        for lane in engine.lanes.values()
        if lane.site is Site.PIT and lane.state.valid()
    ]
    told = [
        (span.cook.name, _pieces_words(node, cook, now_ms))
        for cook, span in book.open_cooks().items()
    ]
    if len(told) == 1:
        name, pieces = told[0]
        parts += pieces
        return f"{name}: {'; '.join(parts)}." if parts else tr("{cook} is running.", cook=name)
    head = [f"{'; '.join(parts)}."] if parts else []
    return " ".join([*head, *(f"{name}: {'; '.join(pieces) or '-'}." for name, pieces in told)])


def _pieces_words(node: Node, cook: str, now_ms: int) -> list[str]:
    own = [held for held in node.engine.book.pieces.values() if held.cook == cook]
    return [_piece_words(node, held, now_ms) for held in own if held.is_open]


def _piece_words(node: Node, held: PieceBook, now_ms: int) -> str:
    lasted = show_duration(now_ms - held.stage_since_ms)
    told = tr("{piece} {stage} for {duration}", piece=held.piece.id, stage=words.stage(held.stage),
              duration=lasted)  # fmt: skip
    lead = node.engine.book.cores(held.piece.id)[:1]
    state = node.engine.state.channels.get(lead[0]) if lead else None
    if state is not None and state.valid() and state.value is not None:
        told += tr(" at {value}", value=temperature(state.level, node.units.temperature))
        if state.trend.stalled:
            told += tr(", stalled")
    for grate in grates(node, held.piece.id):
        told += tr(", {share} lost", share=show_share(-grate.slow_mg / grate.put_on_mg))
    return told + by_time_words(node, held, Shown(node.units, now_ms, node.utc_offset_ms), ", ")


def by_time_words(node: Node, held: PieceBook, shown: Shown, before: str = "") -> str:
    """Return the time left of a piece held by time, empty where it is not or was eaten."""
    clocks = node.engine.state.clocks.get(held.piece.id)
    clock = None if held.by_time is None or clocks is None else clocks.by_time
    left_s = None if clock is None else clock.remaining_s(shown.now_ms)
    if clock is None or left_s is None:
        return ""
    if left_s <= 0:
        return before + tr("to be thrown away since {at}", at=shown.clock(clock.discard_ms))
    left = show_duration(left_s * 1000)
    return before + tr("discard at {at}, {left} left", at=shown.clock(clock.discard_ms), left=left)
