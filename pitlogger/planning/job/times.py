"""When a job is served: its sittings, and whether their times can be meant."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from pitlogger.clock import ms_of
from pitlogger.errors import FieldError
from pitlogger.formats.job_file import JobFile, SittingTable
from pitlogger.model.cooks import Service
from pitlogger.model.quantities import show_duration

YEAR_MS = 366 * 86_400_000


def check_serving_time(at_ms: int, now_ms: int | None) -> None:
    """Refuse a serving time long past or far ahead.

    Raises:
        FieldError: It lies more than a year back, or more than five ahead.
    """
    if now_ms is not None and at_ms < now_ms - YEAR_MS:
        raise FieldError("serve_at", "the serving time lies more than a year back; check its year")
    if now_ms is not None and at_ms > now_ms + 5 * YEAR_MS:
        raise FieldError("serve_at", "the serving time lies more than 5 years off; check its year")


def time_notes(source: JobFile, now_ms: int | None) -> Iterator[str]:
    """Yield that a job was to be served already, which says what came of it with ``[actual]``."""
    told = services(source)
    if now_ms is None or source.actual is not None or not told:
        return
    if (late_ms := now_ms - max(service.at_ms for service in told)) > 0:
        yield (
            f"The last serving time was {show_duration(late_ms)} ago: check the date, or say in"
            " [actual] what came of it."
        )


def services(source: JobFile) -> tuple[Service, ...]:
    """Return the sittings of a job; ``serve_at`` is the short form of one."""
    job = source.job
    if source.sitting:
        places = [sitting.place for sitting in source.sitting]
        return tuple(
            Service(ms_of(s.at), _place(s, places), s.guests, s.drive_min, s.setup_min)
            for s in source.sitting
        )
    return () if job.serve_at is None else (Service(ms_of(job.serve_at), job.place, job.guests),)


def _place(sitting: SittingTable, places: Sequence[str]) -> str:
    """Return what a sitting is called among several: its place, with its hour where need be."""
    if places.count(sitting.place) == 1 and (sitting.place or len(places) == 1):
        return sitting.place
    return f"{sitting.place or 'sitting'} {sitting.at:%H:%M}"


def offset_min(source: JobFile) -> int | None:
    """Return the offset from UTC that the job's times are written with, minutes."""
    told = [*(sitting.at for sitting in source.sitting), source.job.serve_at]
    offset = next((at.utcoffset() for at in told if at is not None), None)
    return None if offset is None else round(offset.total_seconds() / 60)
