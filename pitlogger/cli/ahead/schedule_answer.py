"""The answer of `pitlogger schedule`: document, text and calendar."""

from __future__ import annotations

import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from pitlogger.cli.ahead.history import books_on_record, check_cut
from pitlogger.cli.ahead.schedule_hold import (
    held_at_once,
    hold_document,
    hold_notes,
    holds,
    policy_named,
)
from pitlogger.cli.ahead.schedule_pits import place, read_pits
from pitlogger.clock import rfc3339
from pitlogger.errors import DaemonUnreachableError, UsageError
from pitlogger.model.cooks import Cook, Piece, Service
from pitlogger.model.quantities import (
    parse_duration_ms,
    parse_length_mm,
    parse_mass_mg,
    show_duration,
)
from pitlogger.safety.policy import DEFAULT
from pitlogger.yields.learned.durations import Observed, cook_time, observed_hours
from pitlogger.yields.timing.ical import Moment, calendar
from pitlogger.yields.timing.schedule import HOUR_MS, PieceTimes, Sitting, backwards


@dataclass(frozen=True, slots=True)
class ScheduleGiven:
    """The options as typed."""

    cook_file: Path | None = None
    serve_at: str | None = None
    cut: str | None = None
    count: int = 1
    thickness: str | None = None
    wrapped: bool = True
    drive_min: float = 0.0
    setup_min: float = 0.0
    confidence_pct: float = 90.0
    brine: str | None = None
    frozen: str | None = None
    heated_hold: bool = False
    pits: tuple[str, ...] = ()
    policy: str = DEFAULT
    hold_takes: int | None = None


def schedule_document(given: ScheduleGiven) -> dict[str, Any]:
    """Return the schedule.

    Raises:
        UsageError: Nothing to schedule, or something given cannot be read.
    """
    cook = _cook(given)
    sittings = sorted(
        (Sitting(s.at_ms, s.place, s.drive_min, s.setup_min) for s in cook.services),
        key=lambda sitting: sitting.leave_by_ms,
    )
    observed, notes = _observed()
    made = [
        (piece, *_piece_times(given, piece, _sitting_of(piece, sittings), observed))
        for piece in cook.pieces
    ]
    if len(sittings) > 1 and any(piece.service is None for piece in cook.pieces):
        notes.append(
            "Pieces that name no service of theirs (service = its place) are timed for the first "
            "service; what later ones eat of them waits in the hold."
        )
    if any(n == 0 for _, _, n in made):
        notes.append("Durations are a prior where n = 0: common practice, no source.")
    placed = place([(piece, found) for piece, found, _ in made], read_pits(given.pits))
    notes += placed.notes
    made = [
        (piece, found.loaded_earlier(placed.earlier_h.get(piece.id, 0.0)), n)
        for piece, found, n in made
    ]
    times = [(piece, found) for piece, found, _ in made]
    policy = policy_named(given.policy)
    last_ms = {
        piece.id: (_sitting_of(piece, sittings) if piece.service else sittings[-1]).leave_by_ms
        for piece in cook.pieces
    }
    held = holds(times, last_ms, given.heated_hold, policy)
    notes += hold_notes(held, policy)
    if given.hold_takes is not None and (most := held_at_once(times)) > given.hold_takes:
        notes.append(
            f"The hold takes {given.hold_takes}, but {most} pieces usually wait at the same time."
        )
    return {
        "cook": cook.name,
        "confidence_pct": given.confidence_pct,
        "services": [_service(sitting) for sitting in sittings],
        "light_by": rfc3339(min(found.light_ms for _, found in times)),
        "pieces": [
            {**_piece(piece, found, n, placed.pits), "hold": hold_document(hold, policy)}
            for (piece, found, n), hold in zip(made, held, strict=True)
        ],
        "events": _events(times, sittings, placed.pits),
        "notes": notes,
    }


def _sitting_of(piece: Piece, sittings: Sequence[Sitting]) -> Sitting:
    """Return the service that a piece is for: its own, else the first."""
    own = [sitting for sitting in sittings if piece.service and sitting.place == piece.service]
    return own[0] if own else sittings[0]


def _cook(given: ScheduleGiven) -> Cook:
    if given.cook_file is not None:
        from pitlogger.formats.cook_file import load_cook

        if given.cut or given.serve_at:
            raise UsageError("--cook names pieces and services: leave --cut and --serve-at out")
        cook = load_cook(given.cook_file)
        if not cook.services or not cook.pieces:
            raise UsageError(f"{given.cook_file}: a schedule needs a serve_at and a [[piece]]")
        return cook
    if given.cut is None or given.serve_at is None:
        raise UsageError("give --cook COOK.toml, or --serve-at TIME with --cut CUT")
    cut = check_cut(given.cut)
    thickness = parse_length_mm(given.thickness) if given.thickness else None
    pieces = tuple(
        Piece(f"{cut}-{k}", cut, thickness_mm=thickness, wrap=None if given.wrapped else "none")
        for k in range(1, given.count + 1)
    )
    at_ms = _moment_ms(given.serve_at)
    sitting = Service(at_ms, drive_min=given.drive_min, setup_min=given.setup_min)
    return Cook(f"{cut} for {given.serve_at}", pieces, services=(sitting,))


def _moment_ms(text: str) -> int:
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        raise UsageError(
            f"--serve-at: '{text}' is not a time; write 2026-09-19T18:00-05:00"
        ) from None
    return round(moment.astimezone().timestamp() * 1000)


def _observed() -> tuple[Observed, list[str]]:
    try:
        return observed_hours(books_on_record()), []
    except DaemonUnreachableError:
        return {}, ["No record of past cooks: no daemon answers."]


def _piece_times(
    given: ScheduleGiven, piece: Piece, sitting: Sitting, observed: Observed
) -> tuple[PieceTimes, int]:
    wrapped = given.wrapped and piece.wrap != "none"
    taken = cook_time(piece.cut, observed, piece.thickness_mm, wrapped)
    found = backwards(
        sitting,
        taken,
        given.confidence_pct / 100,
        brine_h=parse_duration_ms(given.brine) / HOUR_MS if given.brine else 0.0,
        frozen_kg=parse_mass_mg(given.frozen) / 1e6 if given.frozen else 0.0,
    )
    return found, taken.n


def _service(sitting: Sitting) -> dict[str, Any]:
    return {
        "at": rfc3339(sitting.at_ms),
        "place": sitting.place,
        "online_by": rfc3339(sitting.online_by_ms),
        "arrive_by": rfc3339(sitting.arrive_by_ms),
        "leave_by": rfc3339(sitting.leave_by_ms),
    }


def _piece(piece: Piece, found: PieceTimes, n: int, places: Mapping[str, str]) -> dict[str, Any]:
    times = {
        "thaw_from": found.thaw_ms,
        "brine_from": found.brine_ms,
        "trim_from": found.trim_ms,
        "light_by": found.light_ms,
        "load_by": found.load_ms,
        "wrap_about": found.wrap_ms,
        "off_about": found.off_ms,
        "off_by": found.off_by_ms,
        "rested_about": found.rested_ms,
        "leave_by": found.leave_by_ms,
    }
    return {
        "piece": piece.id,
        "cut": piece.cut,
        "pit": places.get(piece.id),
        "n": n,
        **{key: None if ms is None else rfc3339(ms // 1000 * 1000) for key, ms in times.items()},
        "hold_s": round(found.hold_h * 3600),
        "longest_hold_s": round(found.longest_hold_h * 3600),
    }


def _events(
    times: list[tuple[Piece, PieceTimes]], sittings: list[Sitting], pits: Mapping[str, str]
) -> list[dict[str, Any]]:
    """Return everything to do, in order of time. A fire that burns already is not lit again."""
    found: dict[tuple[int, str], list[str]] = {}
    fires: dict[str | None, int] = {}
    for piece, t in times:
        pit = pits.get(piece.id, piece.pit)
        fires[pit] = min(t.light_ms, fires.get(pit, t.light_ms))
    for piece, t in times:
        is_first = t.light_ms == fires[pits.get(piece.id, piece.pit)]
        for ms, what in (
            (t.thaw_ms, "move to the refrigerator to thaw"),
            (t.brine_ms, "into the brine"),
            (t.trim_ms, "trim and season"),
            (t.light_ms if is_first else None, "light the fire"),
            (t.load_ms, "on the pit, at the latest"),
            (t.wrap_ms, "wrap, about now"),
            (t.off_ms, "off the pit, about now"),
            (t.off_by_ms, "off the pit, at the latest"),
        ):
            if ms is not None:
                found.setdefault((ms, what), []).append(piece.id)
    for sitting in sittings:
        place = f" for {sitting.place}" if sitting.place else ""
        found[sitting.leave_by_ms, f"leave{place}"] = []
        found[sitting.arrive_by_ms, f"arrived{place}; set up and carve"] = []
        found[sitting.at_ms, f"serve{place}"] = []
    return [
        {"at": rfc3339(ms // 1000 * 1000), "what": what, "pieces": pieces}
        for (ms, what), pieces in sorted(found.items(), key=lambda event: event[0][0])
    ]


def _ms(at: str) -> int:
    return round(datetime.fromisoformat(at).timestamp() * 1000)


def schedule_text(document: dict[str, Any]) -> str:
    """Return the timeline for people, in this computer's local time."""
    light, chance = _local(document["light_by"]), f"{document['confidence_pct']:g} in 100"
    lines = [f"{document['cook']}: light the fire by {light} to be in time with {chance}"]
    every = [piece["piece"] for piece in document["pieces"]]
    lines += [
        f"  {_local(event['at'])}  {_event_text(event, every)}" for event in document["events"]
    ]
    lines += [
        f"{piece['piece']}: usually waits {show_duration(piece['hold_s'] * 1000)} in the hold, "
        f"{show_duration(piece['longest_hold_s'] * 1000)} if fast (n = {piece['n']})"
        for piece in document["pieces"]
    ]
    return "\n".join([*lines, *(f"- {note}" for note in document["notes"])])


def _event_text(event: dict[str, Any], every: Sequence[str] = ()) -> str:
    several = len(every) > 2 and event["pieces"] == every
    pieces = f"all {len(every)} pieces" if several else ", ".join(event["pieces"])
    return f"{event['what']} ({pieces})" if pieces else str(event["what"])


def _local(at: str) -> str:
    return datetime.fromisoformat(at).astimezone().strftime("%a %d %b %H:%M")


def schedule_ics(document: dict[str, Any]) -> str:
    """Return the timeline as an iCalendar file."""
    moments = (
        Moment(_ms(event["at"]), _event_text(event), about=document["cook"])
        for event in document["events"]
    )
    return calendar(moments, document["cook"], round(time.time() * 1000))
