"""The one table of plain words: what each id is called on the page, in commands and on paper.

Written in English; ``stage``, ``checkpoint`` and the like return a word in the language spoken.
"""

from __future__ import annotations

from typing import NamedTuple

from pitlogger.model.alerts import AlertState
from pitlogger.model.cooks import Stage
from pitlogger.model.readings import Quality, Site
from pitlogger.views.language import mark, tr


class Word(NamedTuple):
    """A name; a short form where there is little room; and what the key says that does it."""

    name: str
    short: str = ""
    act: str = ""


STAGES: dict[str, Word] = {
    Stage.RAW: Word(mark("raw")),
    Stage.THAWING: Word(mark("thawing"), mark("thaw")),
    Stage.BRINING: Word(mark("brining"), mark("brine")),
    Stage.TRIMMED: Word(mark("trimmed"), mark("trim")),
    Stage.SEASONED: Word(mark("seasoned"), mark("rub")),
    Stage.SMOKING: Word(mark("on the pit"), mark("on")),
    Stage.WRAPPED: Word(mark("wrapped"), mark("wrap")),
    Stage.RESTING: Word(mark("off the pit, resting"), mark("rest"), mark("Off the pit")),
    Stage.HOLDING: Word(mark("holding"), mark("hold")),
    Stage.IN_TRANSIT: Word(mark("in transit"), mark("road")),
    Stage.SERVING: Word(mark("serving")),
    Stage.CARVED: Word(mark("carved"), mark("carve")),
    Stage.SERVED: Word(mark("served")),
    Stage.COOLING: Word(mark("cooling"), mark("cool")),
    Stage.CHILLED: Word(mark("chilled"), mark("cold")),
    Stage.REHEATING: Word(mark("reheating"), mark("reheat")),
    Stage.DISCARDED: Word(mark("discarded"), mark("out")),
}
# Checkpoints, by-products, and what was put on.
CHECKPOINTS: dict[str, Word] = {
    "label": Word(mark("on the label")),
    "purchased": Word(mark("purchased"), mark("bought")),
    "thawed": Word(mark("thawed")),
    "brined": Word(mark("brined")),
    "trimmed": Word(mark("trimmed")),
    "seasoned": Word(mark("seasoned")),
    "on-pit": Word(mark("on the pit"), mark("on")),
    "at-wrap": Word(mark("at the wrap"), mark("wrap")),
    "unwrapped": Word(mark("unwrapped")),
    "off-pit": Word(mark("off the pit"), mark("off")),
    "rested": Word(mark("rested")),
    "out-of-hold": Word(mark("out of the hold"), mark("held")),
    "carved": Word(mark("carved")),
    "sauced": Word(mark("sauced")),
    "served": Word(mark("served")),
    "leftover": Word(mark("left over"), mark("left")),
    "purge": Word(mark("purge")),
    "trim-fat": Word(mark("fat trimmed off")),
    "trim-lean": Word(mark("lean trimmed off")),
    "bone": Word(mark("bone")),
    "skin": Word(mark("skin")),
    "drippings": Word(mark("drippings")),
    "tallow": Word(mark("tallow")),
    "tasting": Word(mark("tasting")),
    "waste": Word(mark("waste")),
    "rub": Word(mark("rub put on")),
    "brine": Word(mark("brine taken up")),
    "spritz": Word(mark("spritz put on")),
    "sauce": Word(mark("sauce put on")),
    "tallow-on": Word(mark("tallow put on")),
}
CUTS: dict[str, str] = {
    "brisket-packer": mark("whole brisket"),
    "brisket-flat": mark("brisket flat"),
    "brisket-point": mark("brisket point"),
    "burnt-ends": mark("burnt ends"),
    "pork-butt": mark("pork butt"),
    "pork-picnic": mark("pork picnic"),
    "pork-belly": mark("pork belly"),
    "pork-spareribs": mark("pork spareribs"),
    "pork-st-louis": mark("St. Louis ribs"),
    "pork-baby-back": mark("baby back ribs"),
    "beef-ribs": mark("beef ribs"),
    "beef-chuck": mark("beef chuck"),
    "tri-tip": mark("tri-tip"),
    "chicken-whole": mark("whole chicken"),
    "chicken-half": mark("half chicken"),
    "chicken-quarter": mark("chicken quarter"),
    "chicken-thigh": mark("chicken thigh"),
    "turkey-whole": mark("whole turkey"),
    "turkey-breast": mark("turkey breast"),
    "lamb-shoulder": mark("lamb shoulder"),
    "sausage": mark("sausage"),
    "other": mark("other"),
}
SITES: dict[str, str] = {
    Site.PIT: mark("pit"),
    Site.CORE: mark("core"),
    Site.SURFACE: mark("surface"),
    Site.HOLD: mark("hold"),
    Site.TRANSPORT: mark("transport"),
    Site.LINE: mark("serving line"),
    Site.COLD: mark("cold store"),
    Site.ROOM: mark("room"),
    Site.BENCH: mark("scale"),
    Site.GRATE: mark("load cell"),
    Site.SPOT: mark("hand probe"),
    Site.NONE: mark("not assigned"),
}
ALERTS: dict[str, str] = {
    "wrap-due": mark("time to wrap"),
    "tender-check-due": mark("check for tender"),
    "pull-due": mark("take off the pit"),
    "rest-done": mark("rested"),
    "check-due": mark("have a look"),
    "weigh-due": mark("weigh it"),
    "sanitize-due": mark("clean and sanitize"),
    "hot-hold-near": mark("hold near its limit"),
    "discard-near": mark("discard time near"),
    "date-mark-due": mark("mark the date"),
    "stall-began": mark("stall began"),
    "stall-ended": mark("stall ended"),
    "lid-open": mark("lid open"),
    "finish-late": mark("late for service"),
    "finish-early": mark("early for service"),
    "short-of-meat": mark("short of meat"),
    "check-overdue": mark("check of an instrument overdue"),
    "stage-likely": mark("looks like another stage"),
    "weight-likely": mark("what lies on the scale"),
    "weight-kept": mark("weight kept by itself"),
    "pit-low": mark("pit too cold"),
    "pit-high": mark("pit too hot"),
    "pit-falling": mark("pit falling"),
    "flare-up": mark("flare-up"),
    "hot-hold-low": mark("hold too cold"),
    "cold-hold-high": mark("cold store too warm"),
    "cooling-stage-1-late": mark("cooling late, first stage"),
    "cooling-stage-2-late": mark("cooling late, second stage"),
    "cooling-will-miss": mark("cooling will be late"),
    "come-up-slow": mark("slow to heat up"),
    "time-limit": mark("time limit"),
    "discard-due": mark("throw it away"),
    "reheat-late": mark("reheating late"),
    "lethality-not-met": mark("not cooked enough"),
    "probe-fault": mark("probe at fault"),
    "channel-stale": mark("no reading"),
    "device-lost": mark("device lost"),
    "battery-low": mark("battery low"),
    "clock-unset": mark("clock not set"),
    "disk-low": mark("disk nearly full"),
    "store-failing": mark("record cannot be written"),
    "notify-failing": mark("messages not sent"),
    "uplink-behind": mark("hub not reached"),
    "node-slow": mark("computer too slow"),
}
QUALITIES: dict[str, str] = {
    Quality.GOOD: mark("good"),
    Quality.OPEN: mark("unplugged"),
    Quality.SHORTED: mark("shorted"),
    Quality.FAULT: mark("fault"),
    Quality.OVERLOAD: mark("overload"),
    Quality.UNDERLOAD: mark("underload"),
    Quality.NO_VALUE: mark("no value"),
    Quality.OUT_OF_RANGE: mark("out of range"),
    Quality.TOO_FAST: mark("jumps"),
    Quality.STUCK: mark("stuck"),
    Quality.STALE: mark("silent"),
    Quality.POSSIBLY_STORED: mark("maybe old"),
    Quality.MALFORMED: mark("unreadable"),
}
STATES: dict[str, str] = {
    AlertState.NORMAL: mark("normal"),
    AlertState.UNACKNOWLEDGED: mark("waits for a hand"),
    AlertState.ACKNOWLEDGED: mark("seen"),
    AlertState.RETURNED_UNACKNOWLEDGED: mark("over, not seen yet"),
    AlertState.LATCHED_UNACKNOWLEDGED: mark("over, not seen yet, to be settled"),
    AlertState.LATCHED_ACKNOWLEDGED: mark("over, to be settled"),
    AlertState.SHELVED: mark("muted"),
    AlertState.SUPPRESSED: mark("does not count in this stage"),
    AlertState.OUT_OF_SERVICE: mark("out of service"),
}
# What a forecast is about.
TARGETS: dict[str, str] = {
    "wrap": mark("wrap"),
    "pull": mark("take off"),
    "rest": mark("rest"),
}
PRIORITIES: dict[str, str] = {
    "high": mark("high"),
    "medium": mark("medium"),
    "low": mark("low"),
}
# How an instrument was checked.
CHECKS: dict[str, str] = {
    "ice": mark("ice point"),
    "boil": mark("boiling point"),
    "scale": mark("scale"),
}
# What a person did to an alert.
ALERT_ACTS: dict[str, str] = {
    "acknowledge": mark("seen"),
    "unacknowledge": mark("not seen after all"),
    "shelve": mark("muted"),
    "unshelve": mark("no longer muted"),
    "remove": mark("out of service"),
    "return": mark("back in service"),
    "reset": mark("settled"),
    "answer": mark("answered"),
}


def became(disposition: str, reason: str) -> str:
    """Return what became of food, with the reason where it was kept."""
    return f"{disposition} ({reason})" if reason else disposition


def stage(of: str) -> str:
    """Return what a stage is called."""
    return tr(STAGES[of].name)


def stage_act(of: str) -> str:
    """Return what the key says that sets a stage."""
    word = STAGES[of]
    return tr(word.act) if word.act else capital(tr(word.name))


def stage_flag(of: str) -> str:
    """Return a stage in the little room that a chart has."""
    return tr(STAGES[of].short or STAGES[of].name)


def checkpoint(of: str) -> str:
    """Return what a weighing is called."""
    return tr(CHECKPOINTS[of].name) if of in CHECKPOINTS else of


def checkpoint_flag(of: str) -> str:
    """Return a weighing in the little room of a step of the stair."""
    return tr(CHECKPOINTS[of].short or CHECKPOINTS[of].name) if of in CHECKPOINTS else of


def cut(of: str) -> str:
    """Return what a cut is called."""
    return tr(CUTS.get(of, of))


def site(of: str) -> str:
    """Return what a place is called."""
    return tr(SITES[of])


def alert(kind: str) -> str:
    """Return the title of a kind of alert."""
    return tr(ALERTS.get(kind, kind))


def alert_named(key: str) -> str:
    """Return an alert of a ``kind/subject`` by its title and subject."""
    kind, _, subject = key.partition("/")
    return alert(kind) if subject in ("", "node") else f"{alert(kind)}, {subject}"


def quality(of: str) -> str:
    """Return what is wrong with a reading."""
    return tr(QUALITIES[of])


def state(of: str) -> str:
    """Return how an alert stands."""
    return tr(STATES[of])


def capital(text: str) -> str:
    """Return a text that begins with a capital letter."""
    return text[:1].upper() + text[1:]
