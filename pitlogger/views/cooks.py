"""Cooks on record, and the yield of each as a ledger."""

from __future__ import annotations

from pydantic import Field

from pitlogger.views.journal import DoubtView, KeptEntry
from pitlogger.views.view import Moment, View


class CookView(View):
    """A cook on record; ``finished`` is null while it runs, ``import`` names what brought it."""

    cook: str
    name: str
    started: Moment
    finished: Moment | None
    entries: int
    withdrawn: bool
    batch: str | None = Field(alias="import")


class RecordedCook(View):
    """The journal of a cook as far as yields need it, in the form the record keeps."""

    cook: str
    entries: tuple[KeptEntry, ...]


class MassView(View):
    checkpoint: str
    net_g: float
    u_g: float


class StepView(View):
    """From one weighing to the next: what is kept and what is lost."""

    start: str = Field(alias="from")
    to: str
    from_g: float
    to_g: float
    change_g: float
    u_change_g: float
    ratio: float
    u_ratio: float


class BalanceView(View):
    """What went into a step and what came out of it."""

    step: str
    in_g: float
    out_g: dict[str, float]
    unaccounted_g: float
    u_unaccounted_g: float


class PieceYield(View):
    """The ledger of a piece. ``servable_pct`` is of ``purchased_g``; what was not weighed is null.

    Figures that begin with ``u_`` are standard uncertainties.
    """

    piece: str
    cut: str
    count: int
    masses: tuple[MassView, ...]
    steps: tuple[StepView, ...]
    purchased_g: float | None
    servable_g: float | None
    servable_pct: float | None
    u_servable_pct: float | None
    loss_by_cause_g: dict[str, float]
    u_loss_by_cause_g: dict[str, float]
    discarded_why: str
    balance: tuple[BalanceView, ...]
    doubts: tuple[DoubtView, ...]


class YieldView(View):
    cook: str
    pieces: tuple[PieceYield, ...]
