"""The ledger as plain values for JSON: the piece objects of ``yield`` and ``replay``.

Masses are rounded to a milligram and ratios to nine digits, for print only.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from pitlogger.yields.learned.servable import Learned
from pitlogger.yields.ledger import Account
from pitlogger.yields.records import EntryDoubt
from pitlogger.yields.weighing.uncertainty import Measured


def _g(mass: Measured | None) -> float | None:
    return None if mass is None else round(mass.value, 3)


def _all_g(masses: Mapping[str, Measured]) -> dict[str, float]:
    return {name: round(mass.value, 3) for name, mass in masses.items()}


def doubt_document(doubt: EntryDoubt) -> dict[str, Any]:
    """Return a doubt: its id, where it is, and the question."""
    return {
        "doubt": doubt.doubt,
        "piece": doubt.piece,
        "checkpoint": doubt.checkpoint,
        "message": doubt.message,
    }


def piece_document(one: Account) -> dict[str, Any]:
    """Return the piece object of the contract.

    ``servable_pct`` is of ``purchased_g``; losses are positive, gains negative; what was
    not weighed is ``null``.
    """
    share = one.servable_yield
    return {
        "piece": one.record.piece,
        "cut": one.record.cut,
        "count": one.record.count,
        "masses": [
            {"checkpoint": name, "net_g": _g(mass), "u_g": round(mass.u, 3)}
            for name, mass in one.record.masses.items()
        ],
        "steps": [
            {
                "from": step.start,
                "to": step.end,
                "from_g": _g(step.from_g),
                "to_g": _g(step.to_g),
                "change_g": _g(step.change_g),
                "u_change_g": round(step.change_g.u, 3),
                "ratio": round(step.ratio.value, 9),
                "u_ratio": round(step.ratio.u, 9),
            }
            for step in one.steps
        ],
        "purchased_g": _g(one.purchased_g),
        "servable_g": _g(one.servable_g),
        "servable_pct": None if share is None else round(share.value * 100, 7),
        "u_servable_pct": None if share is None else round(share.u * 100, 7),
        "loss_by_cause_g": _all_g(one.losses_g),
        "u_loss_by_cause_g": {name: round(m.u, 3) for name, m in one.losses_g.items()},
        "discarded_why": one.record.discarded_why,
        "balance": [
            {
                "step": balance.step,
                "in_g": _g(balance.in_g),
                "out_g": _all_g(balance.out_g),
                "unaccounted_g": _g(balance.unaccounted_g),
                "u_unaccounted_g": round(balance.unaccounted_g.u, 3),
            }
            for balance in one.balances
        ],
        "doubts": [doubt_document(doubt) for doubt in one.doubts],
    }


def learned_document(learned: Learned) -> dict[str, Any]:
    """Return what is known of the next cook: servable yield as fractions of purchased."""
    at = {"median": 0.5, "p10": 0.1, "p90": 0.9, "p2_5": 0.025, "p97_5": 0.975}
    return {"n": learned.n, **{key: round(learned.quantile(p), 6) for key, p in at.items()}}
