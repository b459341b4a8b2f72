"""The outlook: all that forecasts can say of the running cook, what-if and service included.

``questions`` takes from the engine what no later step changes; ``outlook`` answers beside it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from pitlogger.engine.forecasts.exchange import question
from pitlogger.engine.inputs import ForecastRequest
from pitlogger.engine.step import Engine
from pitlogger.engine.watch.holding import holding
from pitlogger.forecast.request import Answer, Request
from pitlogger.model.cooks import HOT_OFF_PIT, Service
from pitlogger.model.journal import LocalScore
from pitlogger.rules.targets import targets_ahead
from pitlogger.safety.cooling import COOLING

if TYPE_CHECKING:
    from pitlogger.forecast.hold import Crossing, Holding
    from pitlogger.forecast.serve import Readiness
    from pitlogger.forecast.what_if import Alternative


@dataclass(frozen=True, slots=True)
class Questions:
    """What is asked: requests, food that is held or cools, services that lie ahead."""

    now_s: float
    requests: tuple[Request, ...]
    holdings: tuple[tuple[str, Holding], ...]
    coolings: tuple[tuple[str, Holding], ...]
    services: tuple[Service, ...]
    carve_min: float
    taught: tuple[LocalScore, ...] = ()


@dataclass(frozen=True, slots=True)
class Outlook:
    """What is answered, in the order asked. Times are seconds from ``now_s``.

    ``own`` is the share of moments of the owner's finished cooks that lay inside the interval
    the others gave, and their number; ``None`` without any.
    """

    now_s: float
    targets: tuple[tuple[Request, Answer, tuple[Alternative, ...]], ...]
    holds: tuple[tuple[str, Holding, Crossing], ...]
    cools: tuple[tuple[str, tuple[Crossing, ...]], ...]
    services: tuple[Readiness, ...]
    own: tuple[float, int] | None


def questions(engine: Engine, t_ms: int, piece: str | None = None) -> Questions:
    """Return what can be asked of the running cook, or of one piece of it."""
    book = engine.book
    carve_min = engine.policy.kitchen.carve_ms / 60_000
    if not book.open_cooks():
        return Questions(t_ms / 1000, (), (), (), (), carve_min)
    requests: list[Request] = []
    holdings: list[tuple[str, Holding]] = []
    coolings: list[tuple[str, Holding]] = []
    for name, held in book.pieces.items():
        if piece not in (None, name) or not held.is_open:
            continue
        limits = engine.compiled.pieces[name]
        requests += [
            question(engine, ForecastRequest(name, target, t_ms, t_ms))
            for target in targets_ahead(book, name, limits, engine.state.watches)
        ]
        if not (cores := book.cores(name)):
            continue
        lead = engine.state.channels[cores[0]]
        if held.stage in HOT_OFF_PIT or held.stage in COOLING:
            asked = (name, holding(held, lead, engine.lanes.values(), t_ms))
            (coolings if held.stage in COOLING else holdings).append(asked)
    spans = book.open_cooks().values() if piece is None else [book.span_of(piece)]
    services = tuple(
        service for span in spans if span for service in span.cook.services if service.at_ms > t_ms
    )
    return Questions(
        t_ms / 1000,
        tuple(requests),
        tuple(holdings),
        tuple(coolings),
        services,
        carve_min,
        engine.state.taught,
    )


def outlook(asked: Questions) -> Outlook:
    """Return the answers; takes a quarter of a second for each target."""
    from pitlogger.forecast.finish import forecast
    from pitlogger.forecast.hold import STAGE_1_C, STAGE_2_C, hold_left, time_to
    from pitlogger.forecast.recalibrate import running_coverage
    from pitlogger.forecast.serve import ServedPiece, readiness
    from pitlogger.forecast.what_if import what_if

    targets = tuple(
        (request, forecast(request), ())
        if request.target == "rest"
        else (request, *what_if(request))
        for request in asked.requests
    )
    pulls = [(request, answer, others) for request, answer, others in targets
             if request.target == "pull"]  # fmt: skip
    dishes = [
        ServedPiece(answer, request.rest_s or 0.0, request.target_c) for request, answer, _ in pulls
    ]
    sooner = [one for _, _, others in pulls for one in others if (one.shift_s or 0) < 0]
    faster = min(sooner, key=lambda one: one.shift_s or 0).text if sooner else ""
    return Outlook(
        asked.now_s,
        targets,
        tuple((name, held, hold_left(held)) for name, held in asked.holdings),
        tuple(
            (name, (time_to(held, STAGE_1_C), time_to(held, STAGE_2_C)))
            for name, held in asked.coolings
        ),
        readiness(dishes, asked.services, asked.now_s, asked.carve_min, faster=faster)
        if dishes
        else (),
        running_coverage(asked.taught),
    )
