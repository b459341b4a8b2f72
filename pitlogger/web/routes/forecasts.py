"""The API of the forecasts: the running cook's outlook, with what could be done about it."""

from __future__ import annotations

import asyncio
from typing import Any

from fastapi import APIRouter

from pitlogger.clock import rfc3339
from pitlogger.engine.forecasts.summary import Outlook, outlook, questions
from pitlogger.errors import UsageError, unknown
from pitlogger.views.node import Node
from pitlogger.web.routes.error_answers import RESPONSES


def make_forecast_api(daemon: Node) -> APIRouter:
    """Return the routes of the forecasts, bound to a daemon."""
    api = APIRouter(prefix="/api/v1", responses=RESPONSES)

    @api.get("/forecasts", summary="When each piece is done, what would change it, who eats when")
    async def forecasts(piece: str | None = None) -> dict[str, Any]:
        """Ask anew, beside the forecasts that the journal keeps every ten minutes."""
        pieces = daemon.engine.book.pieces
        if piece is not None and piece not in pieces:
            raise UsageError(unknown("piece", piece, pieces))
        asked = questions(daemon.engine, daemon.clock.engine_ms(), piece)
        found = await asyncio.to_thread(outlook, asked)
        return outlook_view(found, daemon.utc_offset_ms)

    return api


def outlook_view(found: Outlook, utc_offset_ms: int) -> dict[str, Any]:
    """Return the outlook as the API tells it."""

    def at(after_s: float | None) -> str | None:
        if after_s is None:
            return None
        return rfc3339(round((found.now_s + after_s) * 1000) + utc_offset_ms)

    def span(said: Any) -> dict[str, str | None]:
        return {"p10": at(said.p10_s), "p50": at(said.p50_s), "p90": at(said.p90_s)}

    share, moments = found.own or (None, 0)
    return {
        "at": at(0.0),
        "own": {
            "moments": moments,
            "inside_pct": None if share is None else round(100 * share, 1),
        },
        "targets": [
            {
                "piece": request.piece,
                "target": request.target,
                "target_c": request.target_c,
                **span(answer),
                "p_reach": answer.p_reach,
                "widened": answer.widened,
                "own_cooks": len({score.cook for score in request.local}),
                "reason": answer.reason,
                "ask": list(answer.ask),
                "what_if": [
                    {
                        "action": other.action,
                        **span(other.answer),
                        "p_reach": other.answer.p_reach,
                        "shift_s": other.shift_s,
                        "text": other.text,
                    }
                    for other in others
                ],
            }
            for request, answer, others in found.targets
        ],
        "services": [
            {
                "at": rfc3339(ready.service.at_ms),
                "place": ready.service.place,
                "ready_by": at(ready.by_s - found.now_s),
                "p_meal": ready.p_meal,
                "verdict": ready.verdict,
                "advice": ready.advice,
                "pieces": [{"piece": piece, "p": p} for piece, p in ready.pieces],
            }
            for ready in found.services
        ],
        "holding": [
            {
                "piece": piece,
                "place": held.place,
                "limit_c": left.to_c,
                **span(left),
                "p_reach": left.p_reach,
                "reason": left.reason,
            }
            for piece, held, left in found.holds
        ],
        "cooling": [
            {
                "piece": piece,
                "to_c": crossing.to_c,
                **span(crossing),
                "p_reach": crossing.p_reach,
                "reason": crossing.reason,
            }
            for piece, crossings in found.cools
            for crossing in crossings
        ],
    }
