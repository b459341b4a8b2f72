"""What past cooks teach, as plain values for JSON: the document of ``history``."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from pitlogger.yields.causes import CHAIN
from pitlogger.yields.document import learned_document
from pitlogger.yields.learned.factors import FACTORS
from pitlogger.yields.learned.lessons import dear_steps, differences, levels, tender_levels
from pitlogger.yields.learned.price_trend import price_trends
from pitlogger.yields.learned.servable import Observed, learn, observations
from pitlogger.yields.learned.step_learning import learn_steps
from pitlogger.yields.ledger import account
from pitlogger.yields.meals import Meal, meals
from pitlogger.yields.purchase.cut_priors import cut_prior
from pitlogger.yields.records import PastPiece
from pitlogger.yields.weighing.tolerance import most_exceed


def lessons_document(history: Sequence[PastPiece], cut: str | None = None) -> dict[str, Any]:
    """Return pieces, cuts and meals on record, with notes, for one cut or all seen."""
    observed = observations(history)
    seen = [cut] if cut else list(dict.fromkeys(piece.cut for piece in history))
    chosen = [piece for piece in history if cut is None or piece.cut == cut]
    told = meals(history)
    eaten = (meal.eaten_per_guest_g for meal in told)
    return {
        "pieces": [_piece(piece) for piece in chosen],
        "cuts": [_cut(name, observed) for name in seen],
        "eaten_per_guest_g": [round(each_g, 1) for each_g in eaten if each_g is not None],
        "meals": [_meal(meal) for meal in told],
        "prices": [
            {
                "cut": trend.cut,
                "supplier": trend.supplier,
                "n": trend.n,
                "first_per_kg": str(trend.first),
                "last_per_kg": str(trend.last),
                "last_on": trend.last_on,
                "a_year_pct": trend.a_year_pct,
            }
            for trend in price_trends(chosen)
        ],
        "notes": [] if chosen else ["Nothing on record."],
    }


def _piece(piece: PastPiece) -> dict[str, Any]:
    share = account(piece).servable_yield
    return {
        "cook": piece.cook,
        "date": piece.date,
        "piece": piece.piece,
        "cut": piece.cut,
        "count": piece.count,
        "masses_g": {
            name: round(piece.masses[name].value, 3)
            for name in (*CHAIN, *(n for n in piece.masses if n not in CHAIN))
            if name in piece.masses
        },
        "servable_pct": None if share is None else round(share.value * 100, 4),
        "wrap": piece.wrap,
        "pull_at_c": None if piece.pull_at_mc is None else piece.pull_at_mc / 1000,
        "supplier": piece.supplier,
        "grade": piece.grade,
        "pit": piece.pit,
        "price_per_kg": None if piece.price_per_kg is None else str(piece.price_per_kg),
        "guests": piece.guests,
        "came": piece.came,
        "left_g": piece.left_g,
        "tender": piece.tender,
        "notes": piece.notes,
    }


def _meal(meal: Meal) -> dict[str, Any]:
    eaten_g = meal.eaten_per_guest_g
    return {
        "cook": meal.cook,
        "booked": meal.booked,
        "came": meal.came,
        "served_g": None if meal.served_g is None else round(meal.served_g, 1),
        "left_g": None if meal.left_g is None else round(meal.left_g, 1),
        "eaten_per_guest_g": None if eaten_g is None else round(eaten_g, 1),
    }


def _cut(name: str, observed: Sequence[Observed]) -> dict[str, Any]:
    own = [one for one in observed if one.record.cut == name and one.share() is not None]
    total_g = math.fsum(one.record.masses["purchased"].value for one in own)
    served_g = math.fsum(one.servable_g for one in own)
    bound = most_exceed([share for one in own if (share := one.share()) is not None])
    return {
        "cut": name,
        "learned": learned_document(learn(name, observed)),
        "nine_in_ten_exceed_pct": None if bound is None else round(bound * 100, 4),
        "sum_ratio_pct": round(100 * served_g / total_g, 4) if total_g else None,
        "steps": [
            {
                "from": step.start,
                "to": step.end,
                "n": step.n,
                "median": round(step.quantile(0.5), 6),
                "p10": round(step.quantile(0.1), 6),
                "p90": round(step.quantile(0.9), 6),
            }
            for step in learn_steps(one.record for one in own)
        ],
        "dear_steps": [
            {
                "cause": step.cause,
                "n": step.n,
                "mean_g": round(step.mean_g, 1),
                "share_pct": round(step.share * 100, 3),
                "money": None if step.money is None else round(step.money, 2),
            }
            for step in dear_steps(own)
        ],
        "factors": [
            {
                "factor": level.factor,
                "value": level.value,
                "n": level.n,
                "mean_pct": round(level.mean_share * 100, 3),
                "shrunk_pct": round(level.shrunk_share * 100, 3),
                "low_pct": round(level.low_share * 100, 3),
                "high_pct": round(level.high_share * 100, 3),
                "differs": level.differs,
            }
            for factor in FACTORS
            for level in levels(own, factor, cut_prior(name).within)
        ],
        "tenderness": [
            {
                "factor": level.factor,
                "value": level.value,
                "n": level.n,
                "mean": round(level.mean, 2),
            }
            for level in tender_levels(one.record for one in own)
        ],
        "best_had_more_often": [
            {
                "factor": d.factor,
                "value": d.value,
                "best": f"{d.best_n} of {d.best_of}",
                "rest": f"{d.rest_n} of {d.rest_of}",
            }
            for d in differences(own)
        ],
    }
