"""The API of the forecasts: the running cook's outlook, with what could be done about it."""

from __future__ import annotations

import asyncio

from fastapi import APIRouter

from pitlogger.engine.forecasts.summary import outlook, questions
from pitlogger.errors import UsageError, unknown
from pitlogger.views.forecasts import OutlookView, needs, outlook_view
from pitlogger.views.node import Node


def make_forecast_api(daemon: Node) -> APIRouter:
    """Return the routes of the forecasts, bound to a daemon."""
    api = APIRouter(prefix="/api/v1")

    @api.get("/forecasts", summary="When each piece is done, what would change it, who eats when")
    async def forecasts(piece: str | None = None) -> OutlookView:
        """Ask anew, beside the forecasts that the journal keeps every ten minutes."""
        pieces = daemon.engine.book.pieces
        if piece is not None and piece not in pieces:
            raise UsageError(unknown("piece", piece, pieces))
        asked = questions(daemon.engine, daemon.clock.engine_ms(), piece)
        found = await asyncio.to_thread(outlook, asked)
        return outlook_view(found, daemon.utc_offset_ms, needs(daemon.engine.book, piece))

    return api
