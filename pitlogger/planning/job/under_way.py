"""The job while it is cooked: whether what was weighed so far, at the wrap say, will do."""

from __future__ import annotations

from dataclasses import replace

from pitlogger.engine.watch.enough import weighed_pieces
from pitlogger.formats.job_file import JobFile
from pitlogger.planning.job.answer import JobDish, OnTheWay
from pitlogger.planning.job.result import cooks_of
from pitlogger.planning.past import PastCooks
from pitlogger.yields.causes import CHAIN
from pitlogger.yields.purchase.demand import Demand
from pitlogger.yields.purchase.running_short import running_short
from pitlogger.yields.records import PastPiece

MOST_REMEDIES = 3


def with_cooks_under_way(
    source: JobFile, dishes: tuple[JobDish, ...], past: PastCooks, risk: float
) -> tuple[JobDish, ...]:
    """Return dishes with what the pieces on the pit say, where a cook of the job is open."""
    open_now = [past.under_way[one] for one in cooks_of(source, past) if one in past.under_way]
    pieces = [piece for book in open_now for piece in weighed_pieces(book)]
    return tuple(
        replace(dish, now=_now(dish, own, past, risk)) if own else dish
        for dish in dishes
        for own in ([piece for piece in pieces if piece.cut == dish.cut],)
    )


def _now(dish: JobDish, own: list[PastPiece], past: PastCooks, risk: float) -> OnTheWay:
    wanted = Demand(dish.demand_g, dish.demand_sd_g)
    found = running_short(own, wanted, past.observed, risk)
    last = max((at for one in own for at in one.masses if at in CHAIN), key=CHAIN.index)
    return OnTheWay(len(own), last, round(found.p_enough, 6), round(found.short_g),
                    found.remedies[:MOST_REMEDIES])  # fmt: skip
