"""Priors that the firm's hub offers this node: kept apart until a person takes or declines them.

A small file beside the record. What was taken stays as it was taken: a newer offer has to be taken
anew. Leaving the hub ends the use of it.
"""

from __future__ import annotations

import logging
import math
from contextlib import suppress
from pathlib import Path
from typing import Annotated, Any, Literal, NamedTuple

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from pitlogger.errors import RefusedError
from pitlogger.files import set_aside, write_whole
from pitlogger.model.cooks import CUTS
from pitlogger.views.view import View
from pitlogger.yields.learned.belief import expit
from pitlogger.yields.purchase.cut_priors import CutPrior

log = logging.getLogger(__name__)

OFFER_FILE = "uplink-priors.json"
Spread = Annotated[float, Field(gt=0, le=2)]


class SitePrior(BaseModel):
    """A prior of the logit of a cut's servable yield, from other sites of the firm."""

    model_config = ConfigDict(frozen=True, extra="ignore")
    mean: Annotated[float, Field(ge=-4, le=4)]
    between: Spread
    within: Spread
    sites: Annotated[int, Field(ge=1)]
    pieces: Annotated[int, Field(ge=1)]


class OfferedCut(NamedTuple):
    """A cut of an offer: servable share with the span of four pieces in five, and its state."""

    cut: str
    mid: float
    low: float
    high: float
    of: SitePrior
    state: str


class Answered(View):
    """What of an offer a person took or declined, by cut."""

    taken: dict[str, SitePrior] = Field(default_factory=dict)
    declined: dict[str, SitePrior] = Field(default_factory=dict)
    by: str = ""


class PriorOffer(Answered):
    """What a firm offers, by cut, how it was answered, and the answer ``before`` that."""

    firm: str = ""
    offered: dict[str, SitePrior] = Field(default_factory=dict)
    before: Answered | None = None

    @property
    def is_open(self) -> bool:
        """Whether a person has not answered it yet."""
        return bool(self.offered) and self.offered not in (self.taken, self.declined)

    def priors(self) -> dict[str, CutPrior]:
        """Return what was taken, by cut, as a plan uses it."""
        return {
            cut: CutPrior(cut, expit(one.mean), f"{one.sites} other sites, {one.pieces} pieces",
                          one.between, one.within, firm=self.firm)
            for cut, one in self.taken.items()
        }  # fmt: skip

    def cuts(self) -> list[OfferedCut]:
        """Return what is offered or in use, as people read it."""
        return [self._cut(cut) for cut in sorted(self.offered | self.taken)]

    def _cut(self, cut: str) -> OfferedCut:
        used, declined = self.taken.get(cut), self.declined.get(cut)
        one = self.offered.get(cut) or self.taken[cut]
        spread = math.hypot(one.between, one.within)
        low, mid, high = (expit(one.mean + z * spread) for z in (-1.2816, 0.0, 1.2816))
        state = "declined" if declined == one else "not in use"
        if used is not None:
            state = "in use" if used == one else "in use as it was taken before"
        return OfferedCut(cut, mid, low, high, one, state)


def read_offer(data: Path) -> PriorOffer:
    """Return the offer of the node whose data lie in a folder; an empty one where there is none."""
    path = data / OFFER_FILE
    try:
        return PriorOffer.model_validate_json(path.read_bytes())
    except FileNotFoundError:
        return PriorOffer()
    except (OSError, ValidationError) as fault:
        log.error("%s cannot be read, no priors of the firm are used: take them anew (%r)", path,
                  fault)  # fmt: skip
        with suppress(OSError):
            set_aside(path)
        return PriorOffer()


def keep_offered(data: Path, firm: str, given: dict[str, dict[str, float]]) -> None:
    """Keep what a hub offers; what is no prior of a known cut is left out.

    Raises:
        OSError: It could not be written; the former one stays.
    """
    offered = {}
    for cut in sorted(CUTS.keys() & given):
        try:
            offered[cut] = SitePrior.model_validate(given[cut])
        except ValidationError as fault:
            log.warning("the prior offered for %s is none: %s", cut, fault.errors()[0]["msg"])
    before = read_offer(data)
    if (firm, offered) != (before.firm, before.offered):
        offer = before.model_copy(update={"firm": firm, "offered": offered})
        write_whole(data / OFFER_FILE, offer.model_dump_json())


def answer_offer(data: Path, answer: Literal["take", "decline", "undo"], by: str) -> PriorOffer:
    """Take the offer, or decline it; declining ends the use of what was taken before.

    Undoing puts the answer before the last one back.

    Raises:
        RefusedError: Nothing is offered, or there is no answer to undo.
        OSError: It could not be written; all is as it was.
    """
    offer = read_offer(data)
    before = Answered(taken=offer.taken, declined=offer.declined, by=offer.by)
    change: dict[str, Any]
    if answer == "undo":
        if offer.before is None:
            raise RefusedError("nothing was taken or declined last: there is nothing to undo")
        change = {**dict(offer.before), "before": None}
    elif not offer.offered and (answer == "take" or not offer.taken):
        raise RefusedError("the hub has offered nothing: it needs three other sites that weighed")
    elif answer == "take":
        change = {"taken": offer.offered, "declined": {}, "by": by, "before": before}
    else:
        change = {"taken": {}, "declined": offer.offered, "by": by, "before": before}
    if answer == "undo" or (change["taken"], change["declined"]) != (offer.taken, offer.declined):
        offer = offer.model_copy(update=change)  # a second tap is none: it would lose ``before``
        write_whole(data / OFFER_FILE, offer.model_dump_json())
    return offer
