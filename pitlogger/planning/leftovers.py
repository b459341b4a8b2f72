"""Leftovers are worth something only where they were kept with their cooling limit met."""

from __future__ import annotations

from collections.abc import Iterable

from pitlogger.formats.job_file import CreditTable, JobFile

NOT_COOLED = (
    "Leftovers are worth nothing here: the food log of the job's cook does not show that their "
    "cooling limit was met."
)


def cooks_to_look_at(source: JobFile) -> list[str]:
    """Return the cooks whose food log says whether the leftovers of a job were cooled in time."""
    if not any(one.is_leftover for one in source.credit):
        return []
    return list(dict.fromkeys(one for one in (source.job.cook, *source.job.cooks) if one))


def shown_cooled(verdicts: Iterable[tuple[str, str, bool | None]]) -> bool:
    """Return whether rows of a food log (sheet, what, met) show cooling, and all of it met."""
    found = [met for sheet, what, met in verdicts if (sheet, what) == ("cooling-reheat", "cooling")]
    return bool(found) and all(found)


def counts(credit: CreditTable, cooled: bool | None) -> bool:
    """Return whether a credit counts; a food log, where there is one, outweighs what is said."""
    if not credit.is_leftover:
        return True
    return credit.cooling_met if cooled is None else cooled
