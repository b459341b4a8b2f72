"""What an entry that was taken back or corrected leaves behind: nothing but its record.

Clocks, limits, prompts and alarms are as if it had never been. What it raised returns by
itself, marked; a breach that was read by a probe stands, whatever anybody takes back.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from pitlogger.engine.state import OUTLIVES_COOKS
from pitlogger.engine.watch.cores import SPOT_VALID_MS
from pitlogger.model import journal
from pitlogger.model.alerts import AlertState
from pitlogger.model.book import Book
from pitlogger.model.cooks import Stage
from pitlogger.model.readings import Site
from pitlogger.rules.conditions import Watch
from pitlogger.rules.places import is_in_use

if TYPE_CHECKING:
    from pitlogger.engine.step import Engine

_BY_CLOCK = frozenset(
    {
        "hot-hold-low", "cooling-stage-1-late", "cooling-stage-2-late", "cooling-will-miss",
        "cold-hold-high", "come-up-slow", "time-limit", "reheat-late", "lethality-not-met",
        "discard-due",
    }
)  # fmt: skip
_BY_STAGE = frozenset(
    {
        "hot-hold-near", "wrap-due", "tender-check-due", "pull-due", "rest-done", "check-due",
        "weigh-due", "date-mark-due", "discard-near",
    }
)  # fmt: skip


def restore(
    engine: Engine, before: Book, body: journal.Undone | journal.Corrected, t_ms: int
) -> None:
    """Bring what is watched to where it would be without the entry named.

    Args:
        before: The book as it was; the engine's own is folded anew already.
    """
    was, now = _spots(before), _spots(engine.book)
    for piece in engine.book.pieces:
        gone = {of for of, spot in was.items() if spot.piece == piece and now.get(of) != spot}
        come = {of for of, spot in now.items() if spot.piece == piece and was.get(of) != spot}
        if gone or come:
            _restore_spots(engine, piece, gone, come, t_ms)
    named = next(
        (e for e in engine.state.entries if (e.run, e.seq) == (body.of_run, body.of_seq)), None
    )
    said = named and named.body
    if isinstance(said, journal.Corrected):  # a correction was taken back
        said = said.body
    if named is not None and isinstance(said, journal.StageSet | journal.HeldByTime):
        _return_alerts(engine, said.piece, named.t_ms, t_ms, _BY_CLOCK | _BY_STAGE)
    if named is not None and isinstance(said, journal.TargetSet):  # true by its own target: anew
        for kind in ("wrap-due", "pull-due"):
            watch = engine.state.watches.get(f"{kind}/{said.piece}")
            if watch is not None and _begun_ms(watch) >= named.t_ms:
                engine.alerts.take_back(watch.key, t_ms)
    if isinstance(said, journal.ChannelDoubted):
        engine.lookout.doubt_told(engine.book, said.piece)
    if isinstance(said, journal.ChannelAssigned):
        engine.lookout.retold(engine.book, said, engine.book)
    engine.lookout.touched_anew(engine.book)


def _spots(book: Book) -> dict[str, journal.SpotRead]:
    return {f"{entry.run}/{entry.seq}": spot for entry, spot in book.spots}


def _restore_spots(engine: Engine, piece: str, gone: set[str], come: set[str], t_ms: int) -> None:
    mine = [spot for _, spot in engine.book.spots if spot.piece == piece]
    engine.judging.place_spot(piece, None)
    if mine:
        engine.judging.place_spot(piece, max(reversed(mine), key=lambda spot: spot.at_ms))
    for key, watch in engine.state.watches.items():
        if watch.raised_by in gone:
            engine.alerts.take_back(key, t_ms)
    engine.lookout.without(engine.book, piece, next(iter(gone)) if len(gone) == 1 else "")
    for entry in engine.state.entries:
        if f"{entry.run}/{entry.seq}" in gone:
            _return_alerts(engine, piece, entry.t_ms, t_ms, _BY_CLOCK)
    clocks = engine.state.clocks.get(piece)
    if gone and clocks is not None and clocks.hold.breached_ms is not None:
        words = f"{piece}: was below the hot-hold limit, as is seen without what was taken back"
        engine.alerts.raise_now("hot-hold-low", piece, t_ms, words, clocks.hold.worst_mc)
    for of, spot in _spots(engine.book).items():
        if of in come and t_ms - spot.at_ms <= SPOT_VALID_MS:
            engine.judging.spot(spot, t_ms, of)
    engine.judging.reband(piece)


def _return_alerts(
    engine: Engine, piece: str, since_ms: int, t_ms: int, kinds: frozenset[str]
) -> None:
    """Return what an entry raised that counts no more: what no limit or clock holds true now."""
    limits = {limit.key for limit in engine.compiled.limits()}
    clocks = engine.state.clocks.get(piece)
    unsaid = engine.book.pieces[piece].is_unsaid
    told = [] if clocks is None else clocks.told(t_ms, engine.safety, unsaid=unsaid)
    holds = {f"{one.kind}/{piece}" for one in told if one.is_true}
    if clocks is not None and clocks.hold.breached_ms is not None:
        holds.add(f"hot-hold-low/{piece}")  # there was one without it too
    for key, watch in engine.state.watches.items():
        is_its = watch.piece == piece and watch.kind in kinds and _begun_ms(watch) >= since_ms
        if is_its and key not in limits | holds:
            engine.alerts.take_back(key, t_ms)


def _begun_ms(watch: Watch) -> float:
    return watch.raised_ms if watch.pending_ms is None else watch.pending_ms


# About food: they stay until somebody said what became of it. The rest ends with its cook.
FOOD = _BY_CLOCK - {"cooling-will-miss", "come-up-slow"}
NO_PROBE = frozenset({Stage.CARVED, Stage.SERVED, Stage.DISCARDED})


def end_with(engine: Engine, body: journal.CookFinished | journal.StageSet, t_ms: int) -> None:
    """Return the alerts that end with a cook, or with the probe in a piece that is carved."""
    if isinstance(body, journal.StageSet):
        if body.stage not in NO_PROBE:
            return
        held = engine.book.pieces[body.piece]
        if held.stage not in NO_PROBE:
            return
        cores = engine.book.cores(body.piece)
        for channel in cores:
            for kind in ("probe-fault", "channel-stale"):
                engine.alerts.take_back(f"{kind}/{channel}", t_ms, f"{body.piece} is {body.stage}")
        return
    goes_on = bool(engine.book.open_cooks())
    for key, watch in list(engine.state.watches.items()):
        waits = watch.kind in FOOD and not watch.disposed
        if waits or watch.kind in OUTLIVES_COOKS or watch.state is AlertState.NORMAL:
            continue
        if not (goes_on and is_of_open_cook(watch, engine)):
            engine.alerts.take_back(key, t_ms, watch.disposed or "its cook is finished")


def is_of_open_cook(watch: Watch, engine: Engine) -> bool:
    """Return whether an alert is about a cook that goes on, or a pit that one of them uses."""
    book = engine.book
    if watch.piece is not None:
        held = book.pieces.get(watch.piece)
        return held is None or held.is_open
    if watch.channel is not None:
        placed = book.assignment(watch.channel)
        held = None if placed is None else book.pieces.get(placed.channel.piece or "")
        if held is not None:
            return held.is_open
        lane = engine.lanes.get(watch.channel)
        return lane is None or lane.site is not Site.PIT or is_in_use(watch.channel, book)
    subject = watch.key.partition("/")[2]
    return all(span.subject != subject or span.finished_ms is None for span in book.cooks.values())
