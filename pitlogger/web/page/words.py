"""Words of the page: labels for stages, weighings and states, and what was just done."""

from __future__ import annotations

from pitlogger.model.alerts import AlertState
from pitlogger.model.cooks import STAGE_LABEL, Stage
from pitlogger.model.journal import (
    AlertActed,
    ChannelAssigned,
    CookFinished,
    CookStarted,
    Corrected,
    CorrectiveTaken,
    Entry,
    MealTold,
    Noted,
    PieceAdded,
    PiecesMerged,
    PieceSplit,
    ProbeMoved,
    SignedOff,
    SpotRead,
    StageSet,
    Tared,
    TargetSet,
    Undone,
    Weighed,
)
from pitlogger.model.readings import Quality, Site
from pitlogger.node.daemon import Daemon
from pitlogger.web.page.shown import Shown

# What the button says that sets a stage.
STAGE_ACT = {
    Stage.RAW: "Raw",
    Stage.THAWING: "Thawing",
    Stage.BRINING: "In the brine",
    Stage.TRIMMED: "Trimmed",
    Stage.SEASONED: "Seasoned",
    Stage.SMOKING: "On the pit",
    Stage.WRAPPED: "Wrapped",
    Stage.RESTING: "Off the pit",
    Stage.HOLDING: "Into the hold",
    Stage.IN_TRANSIT: "On the road",
    Stage.SERVING: "On the line",
    Stage.CARVED: "Sliced or shredded",
    Stage.SERVED: "Served",
    Stage.COOLING: "Cooling down",
    Stage.CHILLED: "In the cold",
    Stage.REHEATING: "Heating up again",
    Stage.DISCARDED: "Thrown away",
}
# A word for the flag over the chart.
STAGE_FLAG = {
    Stage.RAW: "raw",
    Stage.THAWING: "thaw",
    Stage.BRINING: "brine",
    Stage.TRIMMED: "trim",
    Stage.SEASONED: "rub",
    Stage.SMOKING: "on",
    Stage.WRAPPED: "wrap",
    Stage.RESTING: "rest",
    Stage.HOLDING: "hold",
    Stage.IN_TRANSIT: "road",
    Stage.SERVING: "line",
    Stage.CARVED: "slice",
    Stage.SERVED: "served",
    Stage.COOLING: "cool",
    Stage.CHILLED: "cold",
    Stage.REHEATING: "reheat",
    Stage.DISCARDED: "out",
}
CHECKPOINT = {
    "label": "on the label",
    "purchased": "as bought, drained",
    "on-pit": "onto the pit",
    "at-wrap": "at the wrap",
    "off-pit": "off the pit",
    "out-of-hold": "out of the hold",
    "carved": "sliced or shredded",
    "tallow-on": "tallow put on",
    "rub": "rub put on",
    "brine": "brine taken up",
    "spritz": "spritz put on",
    "sauce": "sauce put on",
    "trim-fat": "fat trimmed off",
    "trim-lean": "lean trimmed off",
    "leftover": "left over",
}
# A word for a step of the stair.
STAIR_WORD = {
    "purchased": "bought",
    "on-pit": "on",
    "at-wrap": "wrap",
    "off-pit": "off",
    "out-of-hold": "held",
}
SITE = {
    Site.PIT: "pit",
    Site.CORE: "core",
    Site.SURFACE: "surface",
    Site.HOLD: "hold",
    Site.TRANSPORT: "transport",
    Site.LINE: "serving line",
    Site.COLD: "cold store",
    Site.ROOM: "room",
    Site.BENCH: "scale",
    Site.SPOT: "hand probe",
    Site.NONE: "not assigned",
}
# What a kind of alert is called where a short word stands for it.
_KIND = {
    "wrap-due": "wrap",
    "pull-due": "off the pit",
    "hot-hold-low": "hold too cold",
    "hot-hold-near": "hold near its limit",
    "cold-hold-high": "cold store too warm",
}
QUALITY = {
    Quality.OPEN: "unplugged",
    Quality.SHORTED: "shorted",
    Quality.FAULT: "fault",
    Quality.OVERLOAD: "overload",
    Quality.UNDERLOAD: "underload",
    Quality.NO_VALUE: "no value",
    Quality.OUT_OF_RANGE: "out of range",
    Quality.TOO_FAST: "jumps",
    Quality.STUCK: "stuck",
    Quality.STALE: "silent",
    Quality.POSSIBLY_STORED: "maybe old",
    Quality.MALFORMED: "unreadable",
}
STATE = {
    AlertState.NORMAL: "normal",
    AlertState.UNACKNOWLEDGED: "waits for a hand",
    AlertState.ACKNOWLEDGED: "seen",
    AlertState.RETURNED_UNACKNOWLEDGED: "over, not seen yet",
    AlertState.LATCHED_UNACKNOWLEDGED: "over, not seen yet, to be settled",
    AlertState.LATCHED_ACKNOWLEDGED: "over, to be settled",
    AlertState.SHELVED: "muted",
    AlertState.SUPPRESSED: "does not count in this stage",
    AlertState.OUT_OF_SERVICE: "out of service",
}
_ACTED = {
    "acknowledge": "Seen",
    "shelve": "Muted",
    "unshelve": "No longer muted",
    "reset": "Settled",
    "remove": "Out of service",
    "return": "Back in service",
}


def stage_label(stage: Stage) -> str:
    """Return what a stage is called on screen."""
    if stage is Stage.CARVED:
        return "sliced or shredded"
    return STAGE_LABEL.get(stage, stage.value)


def kind_label(kind: str) -> str:
    """Return what a kind of alert is called on screen."""
    return _KIND.get(kind, kind.replace("-", " "))


def checkpoint_label(checkpoint: str) -> str:
    """Return what a weighing is called on screen."""
    return CHECKPOINT.get(checkpoint, checkpoint)


def said(daemon: Daemon, entry: Entry, shown: Shown) -> str:
    """Return one sentence that tells a person what their tap did."""
    match entry.body:
        case StageSet(piece=piece, stage=stage):
            return f"{piece}: {stage_label(stage)}."
        case Weighed() as body:
            text = f"Kept {shown.mass(body.net_mg)} for {body.piece}, " + checkpoint_label(
                body.checkpoint
            )
            doubts = [doubt["message"] for doubt in daemon.doubts_of(body.piece)]
            return ". ".join([text, *doubts]).rstrip(".") + "."
        case Tared() as body:
            return f"{body.channel}: {shown.mass(body.tare_mg)} counts as container."
        case SpotRead() as body:
            where = body.piece or SITE[body.site]
            return f"{where}: {shown.temperature(body.value_mc, 1)} by hand."
        case Noted():
            return "Note written."
        case CookStarted(cook=cook):
            return f"{cook.name} has begun."
        case CookFinished(name=name):
            return f"{name} is finished."
        case Undone():
            return "Taken back; the record keeps both."
        case Corrected():
            return "Corrected; the old line stays visible."
        case AlertActed() as body:
            if body.action == "answer":
                return f"Answered: {body.reason}."
            return f"{_ACTED[body.action]}: {body.alert.partition('/')[0].replace('-', ' ')}."
        case ChannelAssigned(channel=channel):
            where = f"{channel.piece} {SITE[channel.site]}" if channel.piece else SITE[channel.site]
            return f"{channel.id} sits at {where}."
        case ProbeMoved(channel=channel_id):
            return f"{channel_id}: moved; its trend starts anew."
        case PieceAdded(piece=piece):
            return f"{piece.id} added."
        case PieceSplit(piece=parent, children=children):
            return f"{parent} split into {' and '.join(child.id for child in children)}."
        case PiecesMerged(pieces=pieces, child=child):
            return f"{' and '.join(pieces)} put together as {child.id}."
        case TargetSet(piece=piece):
            return f"{piece}: targets changed."
        case CorrectiveTaken() as body:
            return f"{body.piece}: corrective action written, {body.disposition}."
        case MealTold():
            return "Written down; the next plan knows of it."
        case SignedOff(entries=entries):
            return f"Signed by {entry.by}: {entries} entries."
        case _:
            return "Done."


def undoable(entry: Entry) -> bool:
    """Return whether what was just done can be taken back by one tap."""
    return isinstance(
        entry.body,
        StageSet | Weighed | SpotRead | Noted | ChannelAssigned | PieceAdded | TargetSet
        | PieceSplit | PiecesMerged | Undone | Corrected | CookFinished,
    )  # fmt: skip
