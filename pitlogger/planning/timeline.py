"""When to thaw, trim, light, load, wrap, rest and leave: the question and its answer."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Any

from pitlogger.errors import FieldError
from pitlogger.model.cooks import Cook, Piece, Service, Wrap, short_name
from pitlogger.model.kitchen import KitchenTimes
from pitlogger.planning.document import as_fields
from pitlogger.planning.past import PastCooks
from pitlogger.planning.plan_b import Fallback, plan_b
from pitlogger.planning.schedule_hold import (
    HoldShown,
    held_at_once,
    hold_notes,
    hold_shown,
    holds,
)
from pitlogger.planning.schedule_pits import place
from pitlogger.rules.policies import shipped_kitchen
from pitlogger.safety.policy import DEFAULT, Policy, shipped_policy
from pitlogger.yields.learned.durations import cook_time
from pitlogger.yields.timing.schedule import PieceTimes, Sitting, backwards

NO_PAST = PastCooks()
MOST_PIECES = 60


@dataclass(frozen=True, slots=True)
class ScheduleQuestion:
    """What is to be ready, where, when.

    Attributes:
        cook: With its pieces and services; ``one_cut`` makes one.
        confidence_pct: Chance of being rested in time.
        brine_h: Hours in brine, 0 for none.
        frozen_g: Mass of a frozen piece that has to thaw, 0 for fresh meat.
        heated_hold: Whether the hold has heat of its own; it takes ``hold_takes`` pieces.
        pits: Grate area of each pit, cm2.
        policy: Whose hot-holding limit counts.
        kitchen: How long the work takes.
    """

    cook: Cook
    confidence_pct: float = 90.0
    brine_h: float = 0.0
    frozen_g: float = 0.0
    heated_hold: bool = False
    hold_takes: int | None = None
    pits: Mapping[str, float] = field(default_factory=dict)
    policy: Policy = field(default_factory=lambda: shipped_policy(DEFAULT))
    kitchen: KitchenTimes = field(default_factory=shipped_kitchen)

    def __post_init__(self) -> None:
        if not self.cook.services or not self.cook.pieces:
            raise FieldError("cook", "a schedule needs a serve_at and a [[piece]]")


def one_cut(
    cut: str,
    count: int,
    service: Service,
    *,
    name: str = "",
    thickness_mm: float | None = None,
    wrapped: bool = True,
) -> Cook:
    """Return a cook of so many pieces of one cut for one service."""
    if not 1 <= count <= MOST_PIECES:
        raise FieldError("count", f"{count} is not from 1 to {MOST_PIECES}")
    wrap: Wrap | None = None if wrapped else "none"
    names = (f"{short_name(cut)}-{k}" for k in range(1, count + 1))
    pieces = tuple(Piece(one, cut, thickness_mm=thickness_mm, wrap=wrap) for one in names)
    return Cook(name or cut, pieces, services=(service,))


@dataclass(frozen=True, slots=True)
class ServiceTimes:
    """A service and what has to be reached before it."""

    at: datetime
    place: str
    online_by: datetime
    arrive_by: datetime
    leave_by: datetime


@dataclass(frozen=True, slots=True)
class PieceSchedule:
    """The times of a piece; those that do not apply are ``None``. ``n`` cooks were learned from."""

    piece: str
    cut: str
    pit: str | None
    n: int
    thaw_from: datetime | None
    brine_from: datetime | None
    trim_from: datetime
    light_by: datetime
    load_by: datetime
    wrap_about: datetime | None
    off_about: datetime
    off_by: datetime
    rested_about: datetime
    leave_by: datetime
    hold_s: int
    longest_hold_s: int
    hold: HoldShown


@dataclass(frozen=True, slots=True)
class Event:
    """Something to do, and to which pieces."""

    at: datetime
    what: str
    pieces: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class ScheduleAnswer:
    """The timeline of a cook, all times UTC."""

    cook: str
    confidence_pct: float
    services: tuple[ServiceTimes, ...]
    light_by: datetime
    pieces: tuple[PieceSchedule, ...]
    events: tuple[Event, ...]
    notes: tuple[str, ...]
    plan_b: tuple[Fallback, ...] = ()

    def document(self) -> dict[str, Any]:
        """Return it as ``pitlogger schedule --json`` prints it."""
        return as_fields(self)


def schedule(question: ScheduleQuestion, past: PastCooks = NO_PAST) -> ScheduleAnswer:
    """Return the schedule, worked back from each service.

    Raises:
        FieldError: Something that cannot be scheduled.
    """
    cook, policy = question.cook, question.policy
    sittings = sorted(
        (Sitting(s.at_ms, s.place, s.drive_min, s.setup_min) for s in cook.services),
        key=lambda sitting: sitting.leave_by_ms(question.kitchen),
    )
    made = [
        (piece, *_piece_times(question, piece, _sitting_of(piece, sittings), past))
        for piece in cook.pieces
    ]
    notes = list(_basis_notes(cook, [n for _, _, n in made]))
    placed = place([(piece, found) for piece, found, _ in made], question.pits)
    notes += placed.notes
    times = [(piece, found) for piece, found, _ in made]
    last_ms = {
        piece.id: (_sitting_of(piece, sittings) if piece.service else sittings[-1]).leave_by_ms(
            question.kitchen
        )
        for piece in cook.pieces
    }
    held = holds(times, last_ms, question.heated_hold, policy)
    notes += hold_notes(held, policy)
    most = held_at_once(times)
    if question.hold_takes is not None and most > question.hold_takes:
        notes.append(
            f"The hold takes {question.hold_takes}, but {most} pieces usually wait at the same "
            "time."
        )
    shown = tuple(
        _piece(piece, found, n, placed.pits.get(piece.id), hold_shown(hold, policy))
        for (piece, found, n), hold in zip(made, held, strict=True)
    )
    return ScheduleAnswer(
        cook.name,
        question.confidence_pct,
        tuple(_service(sitting, question.kitchen) for sitting in sittings),
        _at(min(found.light_ms for _, found in times)),
        shown,
        _events(times, sittings, placed.pits, question.kitchen),
        (*past.notes, *notes),
        plan_b(shown, len(question.pits) - 1),
    )


def _basis_notes(cook: Cook, learned: Sequence[int]) -> list[str]:
    notes = []
    if len(cook.services) > 1 and any(piece.service is None for piece in cook.pieces):
        notes.append(
            "Pieces that name no service of theirs (service = its place) are timed for the first "
            "service; what later ones eat of them waits in the hold."
        )
    if 0 in learned:
        notes.append("Durations are typical ones where n = 0: common practice, no source.")
    return notes


def _sitting_of(piece: Piece, sittings: Sequence[Sitting]) -> Sitting:
    """Return the service that a piece is for: its own, else the first."""
    own = [sitting for sitting in sittings if piece.service and sitting.place == piece.service]
    return own[0] if own else sittings[0]


def _piece_times(
    question: ScheduleQuestion, piece: Piece, sitting: Sitting, past: PastCooks
) -> tuple[PieceTimes, int]:
    taken = cook_time(piece.cut, past.hours, piece.thickness_mm, piece.wrap != "none")
    found = backwards(
        sitting,
        taken,
        question.confidence_pct / 100,
        question.kitchen,
        brine_h=question.brine_h,
        frozen_kg=question.frozen_g / 1000,
    )
    return found, taken.n


def _service(sitting: Sitting, kitchen: KitchenTimes) -> ServiceTimes:
    return ServiceTimes(
        _exactly(sitting.at_ms),
        sitting.place,
        _exactly(sitting.at_ms),
        _exactly(sitting.arrive_by_ms(kitchen)),
        _exactly(sitting.leave_by_ms(kitchen)),
    )


def _piece(
    piece: Piece, found: PieceTimes, n: int, pit: str | None, hold: HoldShown
) -> PieceSchedule:
    return PieceSchedule(
        piece.id,
        piece.cut,
        pit,
        n,
        None if found.thaw_ms is None else _at(found.thaw_ms),
        None if found.brine_ms is None else _at(found.brine_ms),
        _at(found.trim_ms),
        _at(found.light_ms),
        _at(found.load_ms),
        None if found.wrap_ms is None else _at(found.wrap_ms),
        _at(found.off_ms),
        _at(found.off_by_ms),
        _at(found.rested_ms),
        _at(found.leave_by_ms),
        round(found.hold_h * 3600),
        round(found.longest_hold_h * 3600),
        hold,
    )


def _events(
    times: list[tuple[Piece, PieceTimes]],
    sittings: list[Sitting],
    pits: Mapping[str, str],
    kitchen: KitchenTimes,
) -> tuple[Event, ...]:
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
            (t.wrap_ms, "wrap, as a rule"),
            (t.off_ms, "off the pit, as a rule"),
            (t.off_by_ms, "off the pit, at the latest"),
        ):
            if ms is not None:
                found.setdefault((ms, what), []).append(piece.id)
    for sitting in sittings:
        where = f" for {sitting.place}" if sitting.place else ""
        found[sitting.leave_by_ms(kitchen), f"leave{where}"] = []
        found[sitting.arrive_by_ms(kitchen), f"arrived{where}; set up and carve"] = []
        found[sitting.at_ms, f"serve{where}"] = []
    return tuple(
        Event(_at(ms), what, tuple(pieces))
        for (ms, what), pieces in sorted(found.items(), key=lambda event: event[0][0])
    )


def _exactly(ms: int) -> datetime:
    return datetime.fromtimestamp(ms / 1000, UTC)


def _at(ms: int) -> datetime:
    """Return a time to the second."""
    return datetime.fromtimestamp(ms // 1000, UTC)
