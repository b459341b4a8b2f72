"""Sales and margin over many jobs: by event, by dish, by month."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime
from decimal import Decimal
from typing import Any

from pitlogger.errors import FieldError
from pitlogger.formats.job_file import JobFile
from pitlogger.planning.job.answer import JobAnswer
from pitlogger.planning.job.times import services


def by_month(jobs: Sequence[tuple[JobFile, JobAnswer]]) -> dict[str, Any]:
    """Return events, dishes and months with sales and profit; a job without a result as planned.

    Raises:
        FieldError: Jobs in several currencies, or one that names none among others that do.
    """
    currencies = {answer.currency for _, answer in jobs}
    if len(currencies) > 1:
        named = ", ".join(sorted(one or "none named" for one in currencies))
        raise FieldError("job.currency", f"the jobs are in {named}; add up one currency at a time")
    events = [_event(source, answer) for source, answer in jobs]
    months: dict[str, dict[str, Any]] = {}
    for event in events:
        month = months.setdefault(
            event["month"], {"month": event["month"], "sales": Decimal(0), "profit": Decimal(0)}
        )
        month["sales"] += event["sales"]
        month["profit"] += event["profit"]
    return {
        "currency": next(iter(currencies), ""),
        "events": events,
        "dishes": _dishes(jobs),
        "months": [
            {**month, "margin_pct": _pct(month["profit"], month["sales"])}
            for _, month in sorted(months.items())
        ],
    }


def _event(source: JobFile, answer: JobAnswer) -> dict[str, Any]:
    sittings = services(source)
    month = "undated"
    if sittings:
        month = datetime.fromtimestamp(sittings[0].at_ms / 1000, UTC).strftime("%Y-%m")
    done = answer.result
    sales = answer.earned.income if done is None else done.income
    profit = answer.earned.middle if done is None else done.profit
    return {
        "job": answer.job,
        "month": month,
        "sales": sales,
        "profit": profit,
        "margin_pct": _pct(profit, sales),
        "is_actual": done is not None,
    }


def _dishes(jobs: Sequence[tuple[JobFile, JobAnswer]]) -> list[dict[str, Any]]:
    """Return what each dish sold and cost; sales are shared out as the dishes share the meal."""
    found: dict[str, dict[str, Any]] = {}
    for _, answer in jobs:
        total_share = sum((dish.share_pct for dish in answer.dishes), Decimal(0))
        for dish in answer.dishes:
            row = found.setdefault(
                dish.name, {"dish": dish.name, "sales": Decimal(0), "meat": Decimal(0), "events": 0}
            )
            row["sales"] += round(answer.earned.income * dish.share_pct / total_share, 2)
            row["meat"] += dish.meat
            row["events"] += 1
    return list(found.values())


def _pct(part: Decimal, whole: Decimal) -> Decimal | None:
    return round(part / whole * 100, 2) if whole else None
