"""What was paid for each cut at each supplier, and where the price goes."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from statistics import linear_regression

from pitlogger.yields.records import PastPiece

_LEAST_POINTS, _LEAST_DAYS = 3, 60  # fewer or nearer tell no trend: a judgement


@dataclass(frozen=True, slots=True)
class PriceTrend:
    """Prices of a cut at a supplier, money a kilogram, oldest first.

    ``a_year_pct`` is the slope of a straight line over the last price, ``None`` where too few
    or too near purchases tell none.
    """

    cut: str
    supplier: str
    n: int
    first: Decimal
    last: Decimal
    last_on: str
    a_year_pct: float | None


def price_trends(history: Iterable[PastPiece]) -> list[PriceTrend]:
    """Return the trend of each cut and supplier; what one cook bought at one price is one point."""
    found: dict[tuple[str, str], dict[tuple[str, Decimal], str]] = {}
    for piece in history:
        if piece.price_per_kg is not None:
            named = " ".join((piece.supplier or "").split())
            points = found.setdefault((piece.cut, named.casefold()), {})
            points[piece.date, piece.price_per_kg] = named
    return [_trend(cut, points) for (cut, _), points in found.items()]


def _trend(cut: str, points: dict[tuple[str, Decimal], str]) -> PriceTrend:
    dated = sorted(points, key=lambda point: point[0])  # those without a date come first
    day, last = dated[-1]
    a_year_pct = _a_year_pct(dated, float(last))
    return PriceTrend(cut, points[dated[-1]], len(points), dated[0][1], last, day, a_year_pct)


def _a_year_pct(points: list[tuple[str, Decimal]], last: float) -> float | None:
    known = [(_days(day), float(price)) for day, price in points if day]
    days = [at for at, _ in known]
    if len(known) < _LEAST_POINTS or max(days) - min(days) < _LEAST_DAYS or not last:
        return None
    slope = linear_regression(days, [price for _, price in known]).slope
    return round(100 * slope * 365.25 / last, 1)


def _days(day: str) -> float:
    return float(date.fromisoformat(day[:10]).toordinal())
