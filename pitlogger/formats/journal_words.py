"""What a journal entry says, for people."""

from __future__ import annotations

from collections.abc import Iterable

from pitlogger.model.cooks import STAGE_LABEL, Stage
from pitlogger.model.journal import (
    Adjusted,
    AlertActed,
    AlertChanged,
    Body,
    ChannelAssigned,
    CheckMade,
    ClockSet,
    CookFinished,
    CookStarted,
    Corrected,
    CorrectiveTaken,
    DeviceChanged,
    Doubted,
    ForecastMade,
    ForecastSkipped,
    MealTold,
    Noted,
    PieceAdded,
    PiecesMerged,
    PieceSplit,
    ProbeMoved,
    RunStarted,
    SignedOff,
    SpotRead,
    StageSet,
    Tared,
    TargetSet,
    TroubleChanged,
    Undone,
    Weighed,
)
from pitlogger.model.quantities import show_duration, show_mass, show_temperature

_ACTED = {
    "acknowledge": "seen",
    "shelve": "muted",
    "unshelve": "no longer muted",
    "remove": "out of service",
    "return": "back in service",
    "reset": "settled",
    "answer": "answered",
}


def body_words(body: Body, temperature: str = "F", mass: str = "lb-oz") -> str:
    """Return one line for an entry's body.

    Args:
        temperature: Unit to show, ``F`` or ``C``.
        mass: Unit to show, as ``show_mass`` takes it.
    """

    def degrees(value_mc: int, digits: int = 0) -> str:
        return show_temperature(value_mc, temperature, digits)

    match body:
        case CookStarted():
            return f"cook started: {body.cook.name}"
        case CookFinished():
            return f"cook finished: {body.name}"
        case PieceAdded():
            return f"{body.piece.id}: added, {body.piece.cut}"
        case PieceSplit():
            return f"{body.piece}: split into {_and(child.id for child in body.children)}"
        case PiecesMerged():
            return f"{_and(body.pieces)} put together as {body.child.id}"
        case ChannelAssigned(channel=channel):
            where = " ".join(word for word in (channel.piece, channel.site.value) if word)
            return (
                f"{channel.id}: sits at {where}" if where != "none" else f"{channel.id}: put away"
            )
        case StageSet():
            wrap = f" in {body.wrap}" if body.wrap else ""
            return f"{body.piece}: {_stage(body.stage)}{wrap}"
        case Weighed():
            tare = f", container {show_mass(body.tare_mg, mass)}" if body.tare_mg else ""
            return f"{body.piece}: {show_mass(body.net_mg, mass)} at {body.checkpoint}{tare}"
        case SpotRead():
            probe = f" with {body.probe}" if body.probe else ""
            return f"{body.piece or body.site}: {degrees(body.value_mc, 1)} by hand{probe}"
        case Noted():
            return f"{body.piece}: {body.text}" if body.piece else f"note: {body.text}"
        case TargetSet():
            wanted = ((body.wrap_at_mc, "wrap"), (body.pull_at_mc, "off the pit"))
            targets = [f"{what} at {degrees(at_mc)}" for at_mc, what in wanted if at_mc is not None]
            return f"{body.piece}: {', '.join(targets) or 'no targets'}"
        case Tared():
            return f"{body.channel}: {show_mass(body.tare_mg, mass)} counts as container"
        case ProbeMoved():
            return f"{body.channel}: moved, its trend starts anew"
        case Adjusted():
            return f"{body.channel}: offset set{_because(body.reason)}"
        case Undone():
            return f"entry {body.of_seq} taken back"
        case Corrected():
            right = body_words(body.body, temperature, mass)
            return f"entry {body.of_seq} corrected: {right}{_because(body.reason)}"
        case _:
            return _of_the_node(body)


def _of_the_node(body: Body) -> str:
    """Return the line of what alerts, forecasts, devices and checks came to."""
    match body:
        case AlertActed():
            return f"{body.alert}: {_ACTED[body.action]}{_because(body.reason)}"
        case AlertChanged():
            return f"{body.alert_kind} {body.now}: {body.message}"
        case Doubted():
            return f"doubt: {body.message}"
        case ForecastMade():
            return f"{body.piece}: forecast of the {body.target}{_because(body.reason)}"
        case ForecastSkipped():
            return f"{body.piece}: no forecast of the {body.target}{_because(body.reason)}"
        case DeviceChanged():
            return f"{body.device}: {body.status}{_because(body.message)}"
        case TroubleChanged():
            what = "" if body.active else "over, "
            return f"{body.subject}: {what}{body.alert}{_because(body.message)}"
        case CheckMade():
            met = "within" if body.within else "outside"
            return f"{body.instrument}: {body.method} check, {met} its tolerance"
        case MealTold():
            return f"the meal: {_meal(body)}"
        case CorrectiveTaken():
            return f"{body.piece}: corrective action, {body.disposition}"
        case SignedOff():
            return f"record of {body.cook} signed up to its entry {body.entries}"
        case RunStarted(gap_ms=gap_ms):
            gap = "after an unknown time" if gap_ms is None else f"after {show_duration(gap_ms)}"
            return f"the daemon started, {gap}"
        case ClockSet():
            return "the clock was set"
        case _:
            return body.kind.replace("-", " ")


def _meal(body: MealTold) -> str:
    told = [f"{body.came} came"] if body.came is not None else []
    told += [f"{show_mass(body.left_mg)} left over"] if body.left_mg is not None else []
    told += [f"{marked.piece} tender {marked.mark} of 5" for marked in body.tender]
    return ", ".join([*told, *([body.text] if body.text else [])])


def _stage(stage: Stage) -> str:
    return STAGE_LABEL.get(stage, stage.value)


def _because(reason: str) -> str:
    return f": {reason}" if reason else ""


def _and(words: Iterable[str]) -> str:
    return " and ".join(words)
