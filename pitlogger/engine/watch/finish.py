"""What lies ahead of a piece: a prompt that will come soon, the finish against its service."""

from __future__ import annotations

from pitlogger.engine.annunciator import Annunciator
from pitlogger.engine.state import EngineState
from pitlogger.model.book import Book, PieceBook
from pitlogger.model.cooks import ON_PIT, Stage
from pitlogger.model.journal import ForecastMade
from pitlogger.model.quantities import show_duration

MINUTE_MS = 60_000
SOON_MS = 30 * MINUTE_MS
EARLY_MS = 4 * 60 * MINUTE_MS
LESS_EARLY_MS = 2 * 60 * MINUTE_MS  # it counts as early until then, however the forecast sways
PULLED_C = 93.0  # about where large cuts come off; what a box holds hangs little on it
_BEFORE = {"wrap": frozenset({Stage.SMOKING}), "pull": ON_PIT}
_READY = {"wrap": "Have paper or foil ready and look at the bark.",
          "pull": "Have the place to rest ready and the probe at hand."}  # fmt: skip


def look_ahead(
    book: Book, held: PieceBook, state: EngineState, alerts: Annunciator, t_ms: int
) -> None:
    """Judge what the forecasts of a piece say of the next half hour and of the service."""
    _heads_up(held, state, alerts, t_ms)
    _service(book, held, state, alerts, t_ms)


def _heads_up(held: PieceBook, state: EngineState, alerts: Annunciator, t_ms: int) -> None:
    """Tell half an hour before a likely wrap or pull that it comes; once each."""
    piece = held.piece.id
    for target, remedy in _READY.items():
        made = state.foreseen.get(f"{piece}/{target}")
        prompt = state.watches.get(f"{target}-due/{piece}")
        waits = prompt is not None and not prompt.holds and held.stage in _BEFORE[target]
        left_ms = None if made is None or made.p50_ms is None else made.p50_ms - t_ms
        soon = waits and left_ms is not None and left_ms <= SOON_MS
        said = f"check-due/{piece}@{target}" in state.watches
        words = f"{piece}: likely to {target} in about {show_duration(max(left_ms or 0, 0))}"
        alerts.tell("check-due", f"{piece}@{target}", t_ms, soon or (said and waits), words, remedy,
                    piece=piece)  # fmt: skip


def _service(
    book: Book, held: PieceBook, state: EngineState, alerts: Annunciator, t_ms: int
) -> None:
    """Hold the forecast of the pull, rest and way to the table against the first service."""
    piece = held.piece.id
    made = state.foreseen.get(f"{piece}/pull")
    span = book.span_of(piece)
    services = () if span is None else span.cook.services
    ahead = [service for service in services if service.at_ms > t_ms]
    ahead = [service for service in ahead if service.place == held.piece.service] or ahead
    late = early = False
    words = ""
    if held.stage in ON_PIT and made is not None and made.p50_ms is not None and ahead:
        first = min(ahead, key=lambda service: service.at_ms)
        kitchen = alerts.policy.kitchen
        way_ms = round((first.drive_min + first.setup_min) * MINUTE_MS) + kitchen.carve_ms
        needed_ms = first.at_ms - way_ms - kitchen.rest_ms
        late = made.p50_ms > needed_ms
        told = state.watches.get(f"finish-early/{piece}")
        margin_ms = LESS_EARLY_MS if told is not None and told.holds else EARLY_MS
        early = made.p90_ms is not None and made.p90_ms < needed_ms - margin_ms
        words = _for_service(piece, made, needed_ms, t_ms, late=late)
    alerts.tell("finish-late", piece, t_ms, late, words, piece=piece)
    alerts.tell("finish-early", piece, t_ms, early, words, piece=piece)


def _for_service(piece: str, made: ForecastMade, needed_ms: int, t_ms: int, late: bool) -> str:
    """Return how the pull lies to a service, with its chance or with how to hold it."""
    from pitlogger.forecast.serve import chance, hold_plan

    assert made.p50_ms is not None
    gap_ms = abs(made.p50_ms - needed_ms)
    gap = show_duration(gap_ms)
    if not late:
        plan = hold_plan(PULLED_C, gap_ms / 1000)
        return f"{piece}: off the pit {gap} early for service, {plan}"
    p10_s, p50_s, p90_s = (
        None if at is None else (at - t_ms) / 1000 for at in (made.p10_ms, made.p50_ms, made.p90_ms)
    )
    in_time = chance(p10_s, p50_s, p90_s, made.p_reach, (needed_ms - t_ms) / 1000)
    return f"{piece}: off the pit {gap} late for service, {100 * in_time:.0f} % likely in time"
