"""The outlook of the running cook: when each piece is done, what would change it, who eats when."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from typing import Any, Protocol

from pitlogger.clock import rfc3339
from pitlogger.engine.forecasts.summary import Outlook
from pitlogger.model.book import Book
from pitlogger.model.cooks import ON_PIT
from pitlogger.rules.targets import ENOUGH_BY_HAND
from pitlogger.views.language import tr
from pitlogger.views.view import Moment, View

At = Callable[[float | None], str | None]


class SpanView(View):
    """When something comes: one chance in ten before ``p10``, one in two before ``p50``."""

    p10: Moment | None
    p50: Moment | None
    p90: Moment | None
    p_reach: float


class WhatIfView(SpanView):
    """What would happen if something were done now."""

    action: str
    shift_s: float | None
    text: str


class TargetView(SpanView):
    """The forecast of one target of a piece.

    Attributes:
        widened: The interval was widened since the readings do not look as usual.
        own_cooks: How many finished cooks of this node it learnt from.
        ask: What a person could enter that would sharpen it.
    """

    piece: str
    target: str
    target_c: float
    widened: bool
    own_cooks: int
    reason: str
    ask: tuple[str, ...]
    what_if: tuple[WhatIfView, ...]


class ReadyPiece(View):
    piece: str
    p: float | None


class ServiceView(View):
    """Whether the food of a service will be ready in time."""

    at: Moment
    place: str
    ready_by: Moment | None
    p_meal: float | None
    verdict: str
    advice: str
    pieces: tuple[ReadyPiece, ...]


class HeldView(SpanView):
    """How long food stays above its limit where it is held."""

    piece: str
    place: str
    limit_c: float
    reason: str


class CooledView(SpanView):
    """When cooling food gets under a temperature."""

    piece: str
    to_c: float
    reason: str


class OwnView(View):
    """How often the forecasts of the owner's own cooks came true."""

    moments: int
    inside_pct: float | None


class NeedView(View):
    """A piece of which nothing can be forecast yet, and what that needs."""

    piece: str
    needs: str


class OutlookView(View):
    at: Moment
    needs: tuple[NeedView, ...]
    own: OwnView
    targets: tuple[TargetView, ...]
    services: tuple[ServiceView, ...]
    holding: tuple[HeldView, ...]
    cooling: tuple[CooledView, ...]


class _Span(Protocol):
    @property
    def p10_s(self) -> float | None: ...

    @property
    def p50_s(self) -> float | None: ...

    @property
    def p90_s(self) -> float | None: ...

    @property
    def p_reach(self) -> float: ...


def needs(book: Book, piece: str | None = None) -> Iterator[NeedView]:
    """Yield each piece on the pit without a probe and without enough hand readings."""
    for name, held in book.pieces.items():
        wanted = held.is_open and held.stage in ON_PIT and piece in (None, name)
        read = len(book.hand_readings(name))
        if wanted and not book.cores(name) and read < ENOUGH_BY_HAND:
            yield NeedView(piece=name, needs=tr(
                "no probe is in it: {count} readings of its core by hand are needed, half an hour"
                " or so apart, and it has {read}", count=ENOUGH_BY_HAND, read=read,
            ))  # fmt: skip


def outlook_view(
    found: Outlook, utc_offset_ms: int, needed: Iterable[NeedView] = ()
) -> OutlookView:
    """Return the outlook as the API gives it."""

    def at(after_s: float | None) -> str | None:
        if after_s is None:
            return None
        return rfc3339(round((found.now_s + after_s) * 1000) + utc_offset_ms)

    share, moments = found.own or (None, 0)
    inside_pct = None if share is None else round(100 * share, 1)
    return OutlookView(
        at=at(0.0) or "",
        needs=tuple(needed),
        own=OwnView(moments=moments, inside_pct=inside_pct),
        targets=_targets(found, at),
        services=tuple(
            ServiceView(
                at=rfc3339(ready.service.at_ms),
                place=ready.service.place,
                ready_by=at(ready.by_s - found.now_s),
                p_meal=ready.p_meal,
                verdict=ready.verdict,
                advice=ready.advice,
                pieces=tuple(ReadyPiece(piece=piece, p=p) for piece, p in ready.pieces),
            )
            for ready in found.services
        ),
        holding=tuple(
            HeldView(piece=piece, place=held.place, limit_c=left.to_c, reason=left.reason,
                     **_span(left, at))
            for piece, held, left in found.holds
        ),
        cooling=tuple(
            CooledView(piece=piece, to_c=one.to_c, reason=one.reason, **_span(one, at))
            for piece, crossings in found.cools
            for one in crossings
        ),
    )  # fmt: skip


def _targets(found: Outlook, at: At) -> tuple[TargetView, ...]:
    return tuple(
        TargetView(
            piece=request.piece,
            target=request.target,
            target_c=request.target_c,
            widened=answer.widened,
            own_cooks=len({score.cook for score in request.local}),
            reason=answer.reason,
            ask=answer.ask,
            what_if=tuple(
                WhatIfView(action=other.action, shift_s=other.shift_s, text=other.text,
                           **_span(other.answer, at))
                for other in others
            ),
            **_span(answer, at),
        )
        for request, answer, others in found.targets
    )  # fmt: skip


def _span(said: _Span, at: At) -> dict[str, Any]:
    return {"p10": at(said.p10_s), "p50": at(said.p50_s), "p90": at(said.p90_s),
            "p_reach": said.p_reach}  # fmt: skip
