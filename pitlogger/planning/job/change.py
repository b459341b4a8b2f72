"""What follows elsewhere from a change anywhere: two answers of one job side by side."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from pitlogger.model.quantities import show_mass, show_share
from pitlogger.planning.job.answer import JobAnswer
from pitlogger.views.words import cut as cut_word


@dataclass(frozen=True, slots=True)
class JobChange:
    """A figure that is no longer what it was."""

    what: str
    before: str
    after: str


def follows(before: JobAnswer, after: JobAnswer) -> tuple[JobChange, ...]:
    """Return what differs between two answers: purchase, times, bill, cost, profit."""
    was, now = dict(_figures(before)), dict(_figures(after))
    names = [*was, *(name for name in now if name not in was)]
    found = (JobChange(name, was.get(name, "none"), now.get(name, "none")) for name in names)
    return tuple(change for change in found if change.before != change.after)


def _figures(answer: JobAnswer) -> Iterator[tuple[str, str]]:
    yield "guests", str(answer.guests + answer.children)
    for dish in answer.dishes:
        cut = cut_word(dish.cut)  # not by the name on the client's papers, which may change too
        yield f"pieces of {cut}", str(dish.pieces)
        yield f"still to order of {cut}", str(dish.order_more)
        yield f"raw {cut}", show_mass(dish.billed_g * 1000)
        if dish.now is not None:
            yield f"{cut} on the pit is enough with", show_share(dish.now.p_enough, 1)
    yield "chance that nothing runs short", show_share(answer.p_all_enough, 1)
    if answer.schedule is not None:
        yield "light the fire by", f"{answer.schedule.light_by:%Y-%m-%d %H:%M} UTC"
        for service in answer.schedule.services:
            place = f" for {service.place}" if service.place else ""
            yield f"leave{place} by", f"{service.leave_by:%Y-%m-%d %H:%M} UTC"
    yield "total", str(answer.bill.total)
    yield "deposit", str(answer.bill.deposit)
    yield "balance", str(answer.bill.balance)
    yield "cost", str(answer.costs.total)
    yield "profit", str(answer.earned.middle)
